//go:build unix

package soundcard

import (
	"os"
	"runtime/debug"

	"golang.org/x/sys/unix"
)

// hushed runs f with the process's standard error led away, because ALSA and
// JACK write there whatever they come across while they look for devices.
// What this program writes there meanwhile is lost, so f must be short; a
// crash still shows, as Go's crash output goes to the real one. Where
// standard error cannot be led away, f runs all the same.
func hushed(f func() error) error {
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		return f()
	}
	defer null.Close()
	fd, err := unix.FcntlInt(2, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return f()
	}
	kept := os.NewFile(uintptr(fd), "standard error")
	defer kept.Close()
	if err := debug.SetCrashOutput(kept, debug.CrashOptions{}); err != nil {
		return f()
	}
	defer debug.SetCrashOutput(nil, debug.CrashOptions{})
	if err := unix.Dup2(int(null.Fd()), 2); err != nil {
		return f()
	}
	defer unix.Dup2(fd, 2)
	return f()
}
