package workshop

import (
	"context"
	"fmt"
	"io"

	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// working tells what is being done that takes long, until end is called.
func (w *Workshop) working(ctx context.Context, doing string) (progress db.Progress, end func()) {
	tell := func(doing string, done, of int64) {
		w.Person.Tell(ctx, talk.Working{Doing: doing, Done: done, Of: of})
	}
	tell(doing, 0, 0)
	return tell, func() { w.Person.Tell(ctx, talk.Working{Doing: doing, Ended: true}) }
}

// Export writes a board's whole life as an archive.
func (w *Workshop) Export(ctx context.Context, b db.Board, to io.Writer) (db.Manifest, error) {
	_, end := w.working(ctx, "exporting")
	defer end()
	return w.Store.Export(ctx, b.ID, to)
}

// Import takes a board's life in that Export wrote, whole or not at all.
func (w *Workshop) Import(ctx context.Context, from io.ReadSeeker) (db.Imported, error) {
	_, end := w.working(ctx, "importing")
	defer end()
	return w.Store.Import(ctx, from)
}

// Backup copies the whole store to path.
func (w *Workshop) Backup(ctx context.Context, path string) (db.BackedUp, error) {
	progress, end := w.working(ctx, "backing up")
	defer end()
	return w.Store.Backup(ctx, path, progress)
}

// Restore makes the store, at Path, of a backup, and verifies it. Store is nil.
func (w *Workshop) Restore(ctx context.Context, backup string) (db.BackedUp, db.Verified, error) {
	progress, end := w.working(ctx, "restoring")
	defer end()
	done, found, err := db.Restore(ctx, backup, w.Path, progress)
	if err != nil {
		err = invalid(fmt.Errorf("restoring %s: %w", backup, err))
	}
	return done, found, err
}

// Verify holds everything in the store against its digest.
func (w *Workshop) Verify(ctx context.Context) (db.Verified, error) {
	progress, end := w.working(ctx, "verifying")
	defer end()
	return w.Store.Verify(ctx, progress)
}

// Tidiable is what may be thrown away: recordings that no run names, and, with
// years above 0, those of runs that ended more than so many years ago.
func (w *Workshop) Tidiable(ctx context.Context, years int) (db.Tidying, error) {
	if years < 0 {
		return db.Tidying{}, fieldf("older-than", " %d: a number of years above 0", years)
	}
	before := w.Now().AddDate(-years, 0, 0)
	if years == 0 {
		before = before.AddDate(-10000, 0, 0)
	}
	_, end := w.working(ctx, "looking for what to tidy")
	defer end()
	return w.Store.Tidiable(ctx, before)
}

// Tidy throws away what was found, but for what is needed by now, and returns
// what is gone.
func (w *Workshop) Tidy(ctx context.Context, found db.Tidying) (db.Tidying, error) {
	return w.Store.Tidy(ctx, found)
}
