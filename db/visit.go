package db

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Visit is a board's time in the workshop, from coming in to going out. Before
// the first going out it was built, and did not come in.
type Visit struct {
	CameIn  *time.Time `json:"came_in,omitempty"`
	WentOut *time.Time `json:"went_out,omitempty"` // nil: it is here still
	// Events are those of the visit that stand, in order.
	Events []Event `json:"events"`
	// Runs are those that were finished in the visit and those that its events
	// name, in order.
	Runs []string `json:"runs"`
	// Delivered is the run that the board left with, "" where none.
	Delivered string `json:"delivered,omitempty"`
}

// Life is a board's whole history.
type Life struct {
	Board  Board   `json:"board"`
	Runs   []Run   `json:"runs"`
	Events []Event `json:"events"`
	Hunts  []Hunt  `json:"hunts"`
	Visits []Visit `json:"visits"`
	// Corrected says by which event one was corrected.
	Corrected map[string]string `json:"corrected,omitempty"`
}

// Life gathers a board's history; its runs and hunts are as in a list.
func (s *Store) Life(ctx context.Context, boardID int64) (Life, error) {
	b, err := s.Board(ctx, boardID)
	if err != nil {
		return Life{}, err
	}
	h, err := historyOf(ctx, s.db, boardID)
	if err != nil {
		return Life{}, fmt.Errorf("reading the life of board %q: %w", b.Label, storeFault(s.path, err))
	}
	hunts, err := s.Hunts(ctx, boardID)
	if err != nil {
		return Life{}, err
	}
	return Life{Board: b, Runs: h.runs, Events: h.events, Hunts: hunts, Visits: h.visits(), Corrected: h.corrected}, nil
}

// Deliveries are the runs that a board left with, the first time first. Where
// such a run was corrected by another it is that one. A board that never went
// out, or without a run, has none: then no error either.
func (s *Store) Deliveries(ctx context.Context, boardID int64) ([]string, error) {
	ids, err := deliveriesOf(ctx, s.db, boardID)
	if err != nil {
		return nil, fmt.Errorf("finding what board %d was delivered with: %w", boardID, storeFault(s.path, err))
	}
	return ids, nil
}

func deliveriesOf(ctx context.Context, q querier, boardID int64) (ids []string, err error) {
	h, err := historyOf(ctx, q, boardID)
	if err != nil {
		return nil, err
	}
	for _, v := range h.visits() {
		if v.Delivered != "" {
			ids = append(ids, v.Delivered)
		}
	}
	return ids, nil
}

// DeliveredRun is the run that a board was first delivered with; ok is false
// where there is none.
func (s *Store) DeliveredRun(ctx context.Context, boardID int64) (id string, ok bool, err error) {
	ids, err := s.Deliveries(ctx, boardID)
	if err != nil || len(ids) == 0 {
		return "", false, err
	}
	return ids[0], true, nil
}

// LastDeliveredRun is the run that a board was delivered with the last time,
// after its latest service; ok is false where there is none.
func (s *Store) LastDeliveredRun(ctx context.Context, boardID int64) (id string, ok bool, err error) {
	ids, err := s.Deliveries(ctx, boardID)
	if err != nil || len(ids) == 0 {
		return "", false, err
	}
	return ids[len(ids)-1], true, nil
}

// history is what happened to a board, as far as visits go.
type history struct {
	events    []Event
	runs      []Run
	corrected map[string]string // event to the one that corrects it
	rerun     map[string]string // run to the one that corrects it
}

func historyOf(ctx context.Context, q querier, boardID int64) (history, error) {
	events, err1 := collect(ctx, q, scanEvent, sqlEventsOfBoard, boardID)
	runs, err2 := collect(ctx, q, scanRun, sqlRunsOfBoard, boardID)
	h := history{events: events, runs: runs, corrected: map[string]string{}, rerun: map[string]string{}}
	for _, e := range events {
		if e.Corrects != "" {
			h.corrected[e.Corrects] = e.ID
		}
	}
	for _, r := range runs {
		if r.Corrects != "" {
			h.rerun[r.Corrects] = r.ID
		}
	}
	return h, errors.Join(err1, err2)
}

// stands says whether e is neither corrected nor a withdrawal.
func (h history) stands(e Event) bool { return h.corrected[e.ID] == "" && !e.Withdrawn }

func (h history) run(id string) *Run {
	for i := range h.runs {
		if h.runs[i].ID == id {
			return &h.runs[i]
		}
	}
	return nil
}

// lastDoor is the latest coming in or going out up to a time, nil for none.
func (h history) lastDoor(until time.Time) *Event {
	var last *Event
	for i, e := range h.events {
		if h.stands(e) && (e.Kind == CameIn || e.Kind == WentOut) && !e.Happened.After(until) {
			last = &h.events[i]
		}
	}
	return last
}

// LeavesWith is the run with which the board of e, which went out, leaves where e
// names none; "" where there is none. Nothing is kept.
func (s *Store) LeavesWith(ctx context.Context, e Event) (string, error) {
	h, err := historyOf(ctx, s.db, e.BoardID)
	if err != nil {
		return "", err
	}
	if e.Happened.IsZero() {
		e.Happened = s.Now()
	}
	return h.leavesWith(e), nil
}

// leavesWith is the latest run of the visit that e ends; a run that was
// corrected or only computed again is none, nor is a simulated one where real
// ones are. It is "" for none.
func (h history) leavesWith(e Event) string {
	var from time.Time
	for _, o := range h.events {
		if o.Kind == CameIn && h.stands(o) && !o.Happened.After(e.Happened) {
			from = o.Happened
		}
	}
	var latest *Run
	for i, r := range h.runs {
		if r.Finished.Before(from) || r.Finished.After(e.Happened) || r.Recomputes != "" || h.rerun[r.ID] != "" {
			continue
		}
		if latest == nil || latest.Simulated && !r.Simulated || latest.Simulated == r.Simulated && !r.Finished.Before(latest.Finished) {
			latest = &h.runs[i]
		}
	}
	if latest == nil {
		return ""
	}
	return latest.ID
}

// lastOf follows the corrections of a run.
func (h history) lastOf(id string) string {
	for range h.runs {
		if h.rerun[id] == "" {
			break
		}
		id = h.rerun[id]
	}
	return id
}

// visits cuts the history at each going out, and at each coming in that
// follows no going out.
func (h history) visits() []Visit {
	var all []Visit
	open := false
	begin := func() {
		all, open = append(all, Visit{Events: []Event{}, Runs: []string{}}), true
	}
	for _, e := range h.events {
		if !h.stands(e) || e.Kind == ChainChanged || e.Kind == Edited {
			continue
		}
		if !open || e.Kind == CameIn && len(all[len(all)-1].Events) > 0 {
			begin()
		}
		v := &all[len(all)-1]
		v.Events = append(v.Events, e)
		switch at := e.Happened; e.Kind {
		case CameIn:
			v.CameIn = &at
		case WentOut:
			v.WentOut, v.Delivered, open = &at, h.lastOf(e.RunID), false
		}
	}
	for _, r := range h.runs {
		i := slices.IndexFunc(all, func(v Visit) bool { return v.names(r.ID) })
		if i < 0 {
			i = slices.IndexFunc(all, func(v Visit) bool { return v.covers(r) })
		}
		// The board was built before it first went out.
		if i < 0 && len(all) > 0 && all[0].CameIn == nil && all[0].WentOut != nil && !r.Finished.After(*all[0].WentOut) {
			i = 0
		}
		if i >= 0 {
			all[i].Runs = append(all[i].Runs, r.ID)
		}
	}
	return all
}

// names says whether an event of the visit names the run.
func (v Visit) names(run string) bool {
	return slices.ContainsFunc(v.Events, func(e Event) bool { return e.RunID == run })
}

// covers says whether r was finished between coming in and going out.
func (v Visit) covers(r Run) bool {
	return v.CameIn != nil && !r.Finished.Before(*v.CameIn) && (v.WentOut == nil || !r.Finished.After(*v.WentOut))
}
