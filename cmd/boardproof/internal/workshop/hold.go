package workshop

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"time"

	"github.com/gofrs/flock"

	"boardproof/db"
)

// Holder says who holds a bench.
type Holder struct {
	PID   int       `json:"pid"`
	User  string    `json:"user,omitempty"`
	Doing string    `json:"doing,omitempty"`
	Since time.Time `json:"since"`
}

// String names the holder, who may not be known.
func (h Holder) String() string {
	if h.PID == 0 {
		return "another program"
	}
	text := fmt.Sprintf("process %d", h.PID)
	if h.User != "" {
		text += " of " + h.User
	}
	if h.Doing != "" {
		text += fmt.Sprintf(", 'boardproof %.60s'", h.Doing)
	}
	return text + ", since " + local(h.Since)
}

// hold takes a bench for this program alone. The lock is the system's, so that
// it ends with the program however that ends; the file beside it only says who
// has it. The error names the holder.
func (w *Workshop) hold(b db.Bench) (release func() error, err error) {
	path := lockFile(w.benchKey(b))
	// In a folder that all may write to, the system does not let one user make
	// what another has.
	flags := os.O_RDONLY
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		flags |= os.O_CREATE
	}
	lock := flock.New(path, flock.SetFlag(flags), flock.SetPermissions(0o644))
	got, err := lock.TryLock()
	if err != nil {
		return nil, unmeasured(fmt.Errorf("finding out whether bench %q is in use: %w", b.Name, err))
	}
	if !got {
		return nil, unmeasured(&InUse{Bench: b.Name, By: holderOf(path)})
	}
	me := Holder{PID: os.Getpid(), Doing: w.Doing, Since: time.Now().UTC()}
	if u, err := user.Current(); err == nil {
		me.User = u.Username
	}
	if text, err := json.Marshal(me); err == nil {
		// Another user's file stays as it is: who holds it is then not known.
		os.WriteFile(path, text, 0o644) //nolint:errcheck // as above
	}
	return lock.Unlock, nil
}

// InUse is that somebody else holds a bench.
type InUse struct {
	Bench string
	By    Holder
}

func (e *InUse) Error() string {
	return fmt.Sprintf("bench %q is in use by %s: wait until that ends, or end it", e.Bench, e.By)
}

// holderOf reads who holds a lock.
func holderOf(path string) (h Holder) {
	text, err := os.ReadFile(path)
	if err != nil || json.Unmarshal(text, &h) != nil {
		return Holder{}
	}
	return h
}

// benchKey is what two programs must not use at once: an interface, or a
// simulated bench of one store.
func (w *Workshop) benchKey(b db.Bench) string {
	if b.Kind == Simulated {
		path, err := filepath.Abs(w.Path)
		if err != nil {
			path = w.Path
		}
		return "simulated\n" + path + "\n" + b.Name
	}
	// Two JACK servers may have devices of one name.
	return b.Host + "\n" + b.Device + "\n" + os.Getenv("JACK_DEFAULT_SERVER")
}

func lockFile(key string) string {
	sum := sha256.Sum256([]byte(key))
	return filepath.Join(os.TempDir(), fmt.Sprintf("boardproof-%x.lock", sum[:8]))
}
