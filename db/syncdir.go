//go:build !windows

package db

import (
	"errors"
	"fmt"
	"os"
)

// syncDirs puts the names in folders on the disk: without it a file that is
// there can lose its name when the power goes.
func syncDirs(paths ...string) error {
	for _, path := range paths {
		dir, err := os.Open(path)
		if err != nil {
			return fmt.Errorf("putting the names in %s on the disk: %w", path, err)
		}
		if err := errors.Join(dir.Sync(), dir.Close()); err != nil {
			return fmt.Errorf("putting the names in %s on the disk: %w", path, err)
		}
	}
	return nil
}
