package db

import (
	"io"
	"io/fs"
	"os"
	"time"
)

// fileSystem is all file calls that a store makes beside those of SQLite, in one
// place so that a test can let each of them fail.
type fileSystem interface {
	Open(name string) (file, error)
	// Create makes a file that is not there yet.
	Create(name string) (file, error)
	CreateTemp(dir, pattern string) (file, error)
	Stat(name string) (fs.FileInfo, error)
	// Lstat is Stat that does not follow a link.
	Lstat(name string) (fs.FileInfo, error)
	ReadDir(name string) ([]fs.DirEntry, error)
	MkdirAll(name string) error
	Rename(from, to string) error
	Remove(name string) error
	// Touch makes a file as young as one that was written at t.
	Touch(name string, t time.Time) error
}

// file is an open file or folder.
type file interface {
	io.ReadWriteCloser
	Name() string
	Stat() (fs.FileInfo, error)
	Chmod(fs.FileMode) error
	Sync() error
}

// osFiles are those of the system.
type osFiles struct{}

func (osFiles) Open(name string) (file, error) { return opened(os.Open(name)) }

func (osFiles) Create(name string) (file, error) {
	return opened(os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644))
}

func (osFiles) CreateTemp(dir, pattern string) (file, error) {
	return opened(os.CreateTemp(dir, pattern))
}

// opened keeps a nil *os.File out of the interface.
func opened(f *os.File, err error) (file, error) {
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (osFiles) Stat(name string) (fs.FileInfo, error)      { return os.Stat(name) }
func (osFiles) Lstat(name string) (fs.FileInfo, error)     { return os.Lstat(name) }
func (osFiles) ReadDir(name string) ([]fs.DirEntry, error) { return os.ReadDir(name) }
func (osFiles) MkdirAll(name string) error                 { return os.MkdirAll(name, 0o755) }
func (osFiles) Rename(from, to string) error               { return os.Rename(from, to) }
func (osFiles) Remove(name string) error                   { return os.Remove(name) }
func (osFiles) Touch(name string, t time.Time) error       { return os.Chtimes(name, t, t) }
