//go:build !windows

package db

import (
	"errors"
	"fmt"
)

// syncDirs puts the names in folders on the disk: without it a file that is
// there can lose its name when the power goes.
func syncDirs(files fileSystem, paths ...string) error {
	for _, path := range paths {
		dir, err := files.Open(path)
		if err == nil {
			err = errors.Join(dir.Sync(), dir.Close())
		}
		if err != nil {
			return fmt.Errorf("putting the names in %s on the disk: %w", path, fileFault(err, "the folder cannot be read (%v)"))
		}
	}
	return nil
}
