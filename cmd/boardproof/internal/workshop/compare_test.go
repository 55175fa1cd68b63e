package workshop

import (
	"strings"
	"testing"
	"time"

	"boardproof/db"
)

// A board goes out with the run that its service event names, whatever passed
// before.
func TestDeliveredIsWhatWentOut(t *testing.T) {
	ctx, now := t.Context(), time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	store, err := db.Open(ctx, t.TempDir()+"/s.db")
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close() //nolint:errcheck // a test's own store
	w := &Workshop{Store: store}
	board, err := store.AddBoard(ctx, db.Board{Label: "Tin Heron", Outputs: []string{"A"}})
	if err != nil {
		t.Fatal(err)
	}
	var runs []db.Run
	for i := range 2 {
		r, err := store.SaveRun(ctx, db.Run{BoardID: board.ID, Bench: "main", MethodVersion: "1", Started: now.Add(time.Duration(i) * time.Hour), Finished: now.Add(time.Duration(i) * time.Hour)})
		if err != nil {
			t.Fatal(err)
		}
		runs = append(runs, r)
	}
	if got, _, err := w.asDelivered(ctx, board.ID, runs, FirstDelivery); got != nil || err != nil {
		t.Errorf("nothing passed and nothing went out: %+v, %v", got, err)
	}
	if _, err := store.AddEvent(ctx, db.Event{BoardID: board.ID, Kind: db.WentOut, RunID: runs[1].ID, Happened: now.Add(2 * time.Hour)}); err != nil {
		t.Fatal(err)
	}
	got, how, err := w.asDelivered(ctx, board.ID, runs, FirstDelivery)
	if err != nil || got == nil || got.ID != runs[1].ID || !strings.Contains(how, "went out") {
		t.Errorf("%+v, %q, %v", got, how, err)
	}
}
