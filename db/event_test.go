package db

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// later sets the store's clock some days on from noon.
func (s sitting) later(days float64) time.Time {
	at := noon.Add(time.Duration(days * 24 * float64(time.Hour)))
	s.Now = func() time.Time { return at }
	s.Store.Now = s.Now
	return at
}

// runAt keeps a run that was finished so many days on.
func (s sitting) runAt(t *testing.T, days float64, change func(*Run)) Run {
	t.Helper()
	r := s.run()
	r.Finished = s.later(days)
	r.Started = r.Finished.Add(-time.Minute)
	if change != nil {
		change(&r)
	}
	r, err := s.SaveRun(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (s sitting) event(t *testing.T, days float64, e Event) Event {
	t.Helper()
	s.later(days)
	e.BoardID = s.board.ID
	e, err := s.AddEvent(t.Context(), e)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// service is a board that was built, delivered, came back and went out again.
func service(t *testing.T) (s sitting, runs []Run, events []Event) {
	s = sit(t)
	trial := s.runAt(t, 0.5, nil)
	first := s.runAt(t, 1, nil)
	out := s.event(t, 2, Event{Kind: WentOut, Who: "Ida"})
	stray := s.runAt(t, 3, nil)
	in := s.event(t, 400, Event{Kind: CameIn})
	complaint := s.event(t, 401, Event{Kind: Complaint, Text: "crackles", Who: "the player"})
	found := s.runAt(t, 402, nil)
	parts := s.event(t, 403, Event{Kind: Parts, EventDetail: EventDetail{Parts: []string{"2 jacks"}}})
	after := s.runAt(t, 404, nil)
	again := s.event(t, 405, Event{Kind: WentOut})
	s.runAt(t, 406, nil)
	return s, []Run{first, stray, found, after, trial}, []Event{out, in, complaint, parts, again}
}

func TestVisits(t *testing.T) {
	s, runs, events := service(t)
	l, err := s.Life(t.Context(), s.board.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(events, l.Events); diff != "" {
		t.Errorf("events (-kept +read):\n%s", diff)
	}
	at := func(i int) *time.Time { return &events[i].Happened }
	want := []Visit{
		{WentOut: at(0), Events: events[:1], Runs: []string{runs[4].ID, runs[0].ID}, Delivered: runs[0].ID},
		{CameIn: at(1), WentOut: at(4), Events: events[1:], Runs: []string{runs[2].ID, runs[3].ID}, Delivered: runs[3].ID},
	}
	if diff := cmp.Diff(want, l.Visits); diff != "" {
		t.Errorf("visits (-want +got):\n%s", diff)
	}
	first, ok, err := s.DeliveredRun(t.Context(), s.board.ID)
	if first != runs[0].ID || !ok || err != nil {
		t.Errorf("first delivered with %q, %v, %v", first, ok, err)
	}
	last, ok, err := s.LastDeliveredRun(t.Context(), s.board.ID)
	if last != runs[3].ID || !ok || err != nil {
		t.Errorf("last delivered with %q, %v, %v", last, ok, err)
	}
	if id, ok, err := s.DeliveredRun(t.Context(), addBoard(t, s.Store, "Stay").ID); id != "" || ok || err != nil {
		t.Errorf("a board that never went out was delivered with %q, %v, %v", id, ok, err)
	}
}

func TestDeliveredFollowsCorrections(t *testing.T) {
	s, runs, events := service(t)
	right := s.runAt(t, 500, func(r *Run) { r.Corrects = runs[0].ID })
	right = s.runAt(t, 501, func(r *Run) { r.Corrects = right.ID })
	if id, _, err := s.DeliveredRun(t.Context(), s.board.ID); id != right.ID || err != nil {
		t.Errorf("delivered with %q, %v, want the correction %s", id, err, right.ID)
	}
	// The second going out is corrected to name another run, then withdrawn.
	again := s.event(t, 502, Event{Kind: WentOut, RunID: runs[2].ID, Corrects: events[4].ID, Happened: events[4].Happened})
	if id, _, err := s.LastDeliveredRun(t.Context(), s.board.ID); id != runs[2].ID || err != nil {
		t.Errorf("delivered with %q, %v, want %s", id, err, runs[2].ID)
	}
	s.event(t, 503, Event{Kind: WentOut, Corrects: again.ID, EventDetail: EventDetail{Withdrawn: true}})
	if id, _, err := s.LastDeliveredRun(t.Context(), s.board.ID); id != right.ID || err != nil {
		t.Errorf("after the withdrawal delivered with %q, %v, want %s", id, err, right.ID)
	}
	l, err := s.Life(t.Context(), s.board.ID)
	if err != nil || len(l.Visits) != 2 || l.Visits[1].WentOut != nil {
		t.Errorf("visits after the withdrawal: %+v, %v", l.Visits, err)
	}
}

func TestLeavesWith(t *testing.T) {
	s := sit(t)
	old := s.runAt(t, 1, nil)
	s.event(t, 2, Event{Kind: WentOut})
	s.event(t, 10, Event{Kind: CameIn})
	if e := s.event(t, 11, Event{Kind: WentOut}); e.RunID != "" {
		t.Errorf("a visit without a run goes out with %s", e.RunID)
	}
	s.event(t, 20, Event{Kind: CameIn})
	real := s.runAt(t, 21, func(r *Run) { r.Simulated, r.ProfileID = false, "" })
	wrong := s.runAt(t, 22, func(r *Run) { r.Simulated, r.ProfileID = false, "" })
	right := s.runAt(t, 21.8, func(r *Run) { r.Simulated, r.ProfileID, r.Corrects = false, "", wrong.ID })
	s.runAt(t, 23, nil) // simulated
	s.runAt(t, 24, func(r *Run) { r.Simulated, r.ProfileID, r.Recomputes = false, "", old.ID })
	if e := s.event(t, 25, Event{Kind: WentOut}); e.RunID != right.ID {
		t.Errorf("goes out with %s, want %s, not %s", e.RunID, right.ID, real.ID)
	}
}

func TestEventsAreRefused(t *testing.T) {
	s, runs, events := service(t)
	other := addBoard(t, s.Store, "Other")
	now := s.later(600)
	for name, c := range map[string]struct {
		e    Event
		kind error
		want string
	}{
		"out twice":       {Event{Kind: WentOut}, ErrInvalid, `board "Night Train" went out on 2028-01-04`},
		"no words":        {Event{Kind: Complaint, Text: " "}, ErrInvalid, "say in words"},
		"no work":         {Event{Kind: WorkDone}, ErrInvalid, "say in words"},
		"no parts":        {Event{Kind: Parts}, ErrInvalid, "at least one part"},
		"to come":         {Event{Kind: CameIn, Happened: now.Add(time.Hour)}, ErrInvalid, "has not come yet"},
		"no kind":         {Event{Kind: ChainChanged}, ErrInvalid, "is no service event"},
		"no run":          {Event{Kind: CameIn, RunID: "r20200101-0001"}, ErrNotFound, "r20200101-0001"},
		"no event":        {Event{Kind: CameIn, Corrects: "e20200101-0001"}, ErrNotFound, "e20200101-0001"},
		"another kind":    {Event{Kind: CameIn, Corrects: events[0].ID}, ErrInvalid, "withdraw it"},
		"nothing to undo": {Event{Kind: CameIn, EventDetail: EventDetail{Withdrawn: true}}, ErrInvalid, "name the event"},
		"another board's": {Event{Kind: CameIn, BoardID: other.ID, RunID: runs[0].ID}, ErrNotFound, runs[0].ID},
	} {
		if c.e.BoardID == 0 {
			c.e.BoardID = s.board.ID
		}
		_, err := s.AddEvent(t.Context(), c.e)
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want %q", name, err, c.want)
		}
	}
	s.event(t, 601, Event{Kind: CameIn})
	if _, err := s.AddEvent(t.Context(), Event{BoardID: s.board.ID, Kind: CameIn}); !errors.Is(err, ErrInvalid) {
		t.Errorf("in twice: %v", err)
	}
	s.event(t, 602, Event{Kind: Complaint, Text: "hums", Corrects: events[2].ID})
	if _, err := s.AddEvent(t.Context(), Event{BoardID: s.board.ID, Kind: Complaint, Text: "x", Corrects: events[2].ID}); !errors.Is(err, ErrInvalid) {
		t.Errorf("corrected twice: %v", err)
	}
	if n := count(t, s.Store, "events"); n != len(events)+2 {
		t.Errorf("%d events are kept, want %d", n, len(events)+2)
	}
	for _, query := range []string{"UPDATE events SET text = 'x'", "DELETE FROM events", "INSERT OR REPLACE INTO events SELECT * FROM events"} {
		if err := alter(t, s.Store, query); err == nil || !strings.Contains(err.Error(), "an event is never changed") {
			t.Errorf("%s: %v", query, err)
		}
	}
	if e, err := s.FindEvent(t.Context(), strings.ToUpper(events[3].ID)); err != nil || e.ID != events[3].ID {
		t.Errorf("found %+v, %v", e, err)
	}
	if _, err := s.FindEvent(t.Context(), "e2"); !errors.Is(err, ErrAmbiguous) {
		t.Errorf("several events begin so: %v", err)
	}
	if _, err := s.FindEvent(t.Context(), "x"); !errors.Is(err, ErrNotFound) {
		t.Errorf("no event begins so: %v", err)
	}
}

// TestArchiveOfEvents takes a life with a visit, a correction and a changed
// chain to another store and back.
func TestArchiveOfEvents(t *testing.T) {
	s, _, events := service(t)
	export := func(s *Store, id int64) []byte {
		t.Helper()
		var out bytes.Buffer
		if _, err := s.Export(t.Context(), id, &out); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	old := export(s.Store, s.board.ID)
	s.event(t, 500, Event{Kind: Complaint, Text: "hums", Corrects: events[2].ID})
	chain := slices.Clone(s.board.Chain[:2])
	if _, _, err := s.EditBoard(t.Context(), s.board.ID, BoardEdit{Chain: chain, Reason: "worn"}); err != nil {
		t.Fatal(err)
	}
	first := export(s.Store, s.board.ID)
	far := newStore(t)
	// The board had been there before, as it was then.
	for range 2 {
		for _, archive := range [][]byte{old, first} {
			if _, err := far.Import(t.Context(), bytes.NewReader(archive)); err != nil {
				t.Fatal(err)
			}
		}
	}
	b, err := far.FindBoard(t.Context(), "night")
	if diff := cmp.Diff(chain, b.Chain); err != nil || diff != "" {
		t.Errorf("the changed chain: %v\n%s", err, diff)
	}
	if !bytes.Equal(first, export(far, b.ID)) {
		t.Error("the life that came out again is another")
	}
	want, err1 := s.Life(t.Context(), s.board.ID)
	got, err2 := far.Life(t.Context(), b.ID)
	if err1 != nil || err2 != nil || len(got.Visits) != 2 || len(got.Events) != len(want.Events) || got.Visits[1].Events[1].Text != "hums" {
		t.Errorf("visits there: %v %v\n%+v", err1, err2, got.Visits)
	}
	for i, v := range got.Visits {
		if v.Delivered == "" || !slices.Equal(v.Runs, want.Visits[i].Runs) {
			t.Errorf("visit %d there: %+v", i+1, v)
		}
	}
}
