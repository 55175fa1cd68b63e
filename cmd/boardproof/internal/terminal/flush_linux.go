package terminal

import "golang.org/x/sys/unix"

// flushTyped makes the terminal forget what was typed and not read.
func flushTyped(fd int) {
	unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH) //nolint:errcheck // a terminal that cannot has nothing typed ahead
}
