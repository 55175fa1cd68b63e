package report

import (
	"errors"
	"io/fs"
	"os"
)

// Replace writes all files, or none, each whole and synced: under a passing name,
// which then takes its place. What was at a path is gone; a
// link there is replaced, not followed.
//
// github.com/google/renameio would do for one file, but leaves Windows out.
func Replace(paths []string, data [][]byte) (err error) {
	passing := make([]string, len(paths))
	defer func() {
		for _, p := range passing {
			if p != "" {
				os.Remove(p) //nolint:errcheck // it has gone to its place, or there is an error to tell already
			}
		}
	}()
	for i, p := range paths {
		if passing[i], err = writeBeside(p, data[i]); err != nil {
			return err
		}
	}
	for i, p := range paths {
		if err := os.Rename(passing[i], p); err != nil {
			return err
		}
	}
	return nil
}

func writeBeside(path string, data []byte) (name string, err error) {
	f, err := CreateUnfinished(path)
	if err != nil {
		return "", err
	}
	if _, err = f.Write(data); err != nil {
		return "", errors.Join(err, f.GiveUp())
	}
	return f.Name(), f.Finish()
}

// mayReplace says whether a plot may be written to path: where nothing is, or
// a plot that this program drew.
func mayReplace(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() || !drawnHere(path) {
		return &fs.PathError{Op: "write", Path: path, Err: errForeign}
	}
	return nil
}

var errForeign = errors.New("is there already and is no plot of this program: name another folder with --plots")
