//go:build unix

package jacktest

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// takeTurn waits until no other test on this machine has a server, and
// returns the server name to use; the turn ends with the test, or with the
// process. One at a time, because servers that share a busy machine lose
// blocks; one name, because JACK keeps the names of eight servers and
// forgets a dead one only when its name is used again.
func takeTurn(t testing.TB) string {
	t.Helper()
	name := fmt.Sprintf("boardproof-test-%d", os.Getuid())
	lock, err := os.OpenFile(filepath.Join(os.TempDir(), name+".lock"), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { lock.Close() })
	for {
		switch err := syscall.Flock(int(lock.Fd()), syscall.LOCK_EX); err {
		case nil:
			return name
		case syscall.EINTR:
		default:
			t.Fatalf("waiting for a turn at the JACK server: %v", err)
		}
	}
}
