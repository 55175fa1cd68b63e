package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// calibratedStores are stores with the simulated bench sim, calibrated with the
// arguments that are their key: that takes seconds, and is done once for each.
var calibratedStores sync.Map

// calibratedAt is a store's database; the bench was calibrated at now.
func calibratedAt(now time.Time, args ...string) ([]byte, error) {
	key := fmt.Sprint(now, args)
	once, _ := calibratedStores.LoadOrStore(key, sync.OnceValues(func() ([]byte, error) { return calibrateStore(now, args) }))
	return once.(func() ([]byte, error))()
}

func calibrateStore(now time.Time, args []string) (raw []byte, err error) {
	dir, err := os.MkdirTemp("", "boardproof-test-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	store := filepath.Join(dir, "s.db")
	for _, line := range [][]string{{"bench", "set", "sim", "--simulated"}, append([]string{"calibrate", "--yes"}, args...)} {
		var said bytes.Buffer
		a := newApp(strings.NewReader(""), io.Discard, &said)
		a.now = func() time.Time { return now }
		if code := a.run(context.Background(), append(line, "--store", store)); code != exitPassed {
			return nil, fmt.Errorf("%v ended with %d: %s", line, code, said.String())
		}
	}
	return os.ReadFile(store)
}

// calibrated is a session whose bench sim is calibrated.
func calibrated(t *testing.T, args ...string) *session {
	t.Helper()
	s := newSession(t)
	raw, err := calibratedAt(s.now, args...)
	if err == nil {
		err = os.WriteFile(s.store, raw, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// scriptsStart is when the benches of the scripts are calibrated.
var scriptsStart = time.Now()

// calibrated STORE ARG...: a new store with the simulated bench sim, calibrated.
func calibratedIn(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 1 {
		ts.Fatalf("usage: calibrated STORE ARG...")
	}
	raw, err := calibratedAt(scriptsStart, args[1:]...)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), raw, 0o644))
}
