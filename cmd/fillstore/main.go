// Command fillstore makes a large store of an invented workshop, and times what
// people do with one. Every board, owner and figure in it is made up by a
// random number generator of a fixed seed; no signal is simulated.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"

	"boardproof/db"
)

func main() {
	path := flag.String("store", "", "the store to make, or to time if it is there")
	boards := flag.Int("boards", 5000, "how many boards")
	runs := flag.Int("runs", 50000, "how many runs")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := work(ctx, *path, *boards, *runs); err != nil {
		fmt.Fprintf(os.Stderr, "error: %v\n", err)
		os.Exit(2) //nolint:gocritic // nothing is deferred that matters
	}
}

func work(ctx context.Context, path string, boards, runs int) (err error) {
	if path == "" || boards < 1 || runs < 1 {
		return errors.New("name a --store, and at least one board and one run")
	}
	_, missing := os.Stat(path)
	s, err := db.Open(ctx, path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if errors.Is(missing, os.ErrNotExist) {
		began := time.Now()
		if err := fill(ctx, s, boards, runs); err != nil {
			return err
		}
		fmt.Printf("made %d boards and %d runs in %.1f s\n", boards, runs, time.Since(began).Seconds())
	}
	return timeAll(ctx, s, os.Stdout)
}
