//go:build unix

package terminal

import (
	"context"
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// waitReadable waits until f can be read without waiting, or has ended, or ctx
// is done, whose error it returns.
func waitReadable(ctx context.Context, f *os.File) error {
	done, end, err := os.Pipe()
	if err != nil {
		return fmt.Errorf("waiting for an answer: %w", err)
	}
	defer done.Close()
	stop := context.AfterFunc(ctx, func() { end.Close() })
	defer func() {
		if stop() {
			end.Close()
		}
	}()
	fds := []unix.PollFd{{Fd: int32(f.Fd()), Events: unix.POLLIN}, {Fd: int32(done.Fd()), Events: unix.POLLIN}}
	for {
		_, err := unix.Poll(fds, -1)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, unix.EINTR):
		case err != nil:
			return fmt.Errorf("waiting for an answer: %w", err)
		case fds[0].Revents != 0:
			return nil
		}
	}
}

// isReadable says whether f can be read without waiting.
func isReadable(f *os.File) bool {
	fds := []unix.PollFd{{Fd: int32(f.Fd()), Events: unix.POLLIN}}
	n, err := unix.Poll(fds, 0)
	return err == nil && n > 0
}
