package analysis

import "sync"

// each does do for 0 to n−1, all at once, and returns the error of the first
// that failed.
func each(n int, do func(i int) error) error {
	errs := make([]error, n)
	var wait sync.WaitGroup
	for i := range n {
		wait.Go(func() { errs[i] = do(i) })
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
