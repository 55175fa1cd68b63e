package main

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// largestPlan and largestSheet are far above what any of them needs, in bytes.
const (
	largestPlan  = 1 << 20
	largestSheet = 64 << 20
)

// errNoFile is of what may never give anything, or never end.
var errNoFile = errors.New("it is a folder, a pipe or a device: name a file")

// openFile opens a plain file that the operator named. The error is wrong use.
func openFile(path string) (*os.File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, unreadable(path, errNoFile)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, unreadable(path, err)
	}
	return f, nil
}

// readFile reads a plain file of at most most bytes. The error is wrong use.
func readFile(path string, most int64) ([]byte, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := readAtMost(f, most)
	return text, unreadable(path, err)
}

func readAtMost(r io.Reader, most int64) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(r, most+1))
	if err == nil && int64(len(text)) > most {
		err = fmt.Errorf("it is larger than %d bytes, which no such file needs: is it the right one", most)
	}
	if err != nil {
		return nil, err
	}
	return text, nil
}
