//go:build unix

package bigstore

import (
	"syscall"
	"time"
)

// ownTime is how long this program has been computing, in itself and in the
// system for it: what other programs take from the machine is not in it.
func ownTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
