package db

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

// life is all of a board but its takes.
type life struct {
	board   Board
	records []record
	// takes are the hashes of the takes that are named, sorted.
	takes []string
}

func (l *life) add(r record, body any, without ...string) error {
	if body != nil {
		text, err := canonicalJSON(body, without...)
		if err != nil {
			return fmt.Errorf("writing a %s: %w", r.Type, err)
		}
		r.Body = text
	}
	if r.Digest = hexSHA(r.Body); r.Text != "" {
		r.Digest = hexSHA([]byte(r.Text))
	}
	l.records = append(l.records, r)
	return nil
}

func (l *life) text() ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	for _, r := range l.records {
		if err := enc.Encode(r); err != nil {
			return nil, fmt.Errorf("writing a %s: %w", r.Type, err)
		}
	}
	return out.Bytes(), nil
}

// life gathers all of a board, in an order that is the same in every store.
func (s *Store) life(ctx context.Context, boardID int64) (*life, error) {
	b, err := s.Board(ctx, boardID)
	if err != nil {
		return nil, err
	}
	l := &life{board: b}
	if err := l.add(record{Type: "board"}, b, "id"); err != nil {
		return nil, err
	}
	if err := checkRows(ctx, s.db, boardID); err != nil {
		return nil, err
	}
	runs, err := s.wholeRuns(ctx, boardID)
	if err != nil {
		return nil, err
	}
	for _, part := range []func(context.Context, *Store, []Run) error{l.addBenches, l.addProfiles, l.addPlans, l.addRuns} {
		if err := part(ctx, s, runs); err != nil {
			return nil, err
		}
	}
	for _, p := range lifeParts {
		if err := p.gather(ctx, s, l); err != nil {
			return nil, fmt.Errorf("%ss: %w", p.name, err)
		}
	}
	slices.Sort(l.takes)
	l.takes = slices.Compact(l.takes)
	return l, nil
}

// origin is what r is called where it was made.
func (r Run) origin() string { return cmp.Or(r.OriginID, r.ID) }

// wholeRuns are the runs of a board in the order of life.jsonl.
func (s *Store) wholeRuns(ctx context.Context, boardID int64) ([]Run, error) {
	runs, err := s.Runs(ctx, boardID)
	if err != nil {
		return nil, err
	}
	for i := range runs {
		if runs[i], err = s.FindRun(ctx, runs[i].ID); err != nil {
			return nil, err
		}
		if runs[i].Digest, err = runs[i].checkedDigest(); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(runs, func(a, b Run) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(len(a.origin()), len(b.origin())),
			cmp.Compare(a.origin(), b.origin()), cmp.Compare(a.Digest, b.Digest))
	})
	return runs, nil
}

// addBenches adds the benches of this store that the board was measured on,
// as they are set up now, and those that came with an import.
func (l *life) addBenches(ctx context.Context, s *Store, runs []Run) error {
	bodies, err := collect(ctx, s.db, scanText, sqlArchivedBenches, l.board.ID)
	if err != nil {
		return err
	}
	for _, r := range runs {
		if r.OriginID != "" {
			continue
		}
		b, err := s.Bench(ctx, r.Bench)
		if errors.Is(err, ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		text, err := canonicalJSON(b)
		if err != nil {
			return err
		}
		bodies = append(bodies, string(text))
	}
	slices.Sort(bodies)
	for _, body := range slices.Compact(bodies) {
		if err := l.add(record{Type: "bench"}, json.RawMessage(body)); err != nil {
			return err
		}
	}
	return nil
}

type keptProfile struct{ id, origin, body, digest string }

func scanKeptProfile(row scanner) (p keptProfile, err error) {
	err = row.Scan(&p.id, &p.origin, &p.body, &p.digest)
	return p, err
}

// addProfiles adds the profiles that runs were made with.
func (l *life) addProfiles(ctx context.Context, s *Store, runs []Run) error {
	var all []record
	for _, r := range runs {
		if r.ProfileID == "" {
			continue
		}
		p, err := s.profileRecord(ctx, r.ProfileID)
		if err != nil {
			return err
		}
		all = append(all, p)
	}
	l.addSorted(all)
	return nil
}

func (s *Store) profileRecord(ctx context.Context, id string) (record, error) {
	p, err := scanKeptProfile(s.db.QueryRowContext(ctx, sqlKeptProfile, id))
	if err != nil {
		return record{}, fmt.Errorf("profile %s: %w", id, err)
	}
	text, err := profileText(p.body)
	if err != nil {
		return record{}, fmt.Errorf("profile %s: %w", id, err)
	}
	r := record{Type: "profile", ID: cmp.Or(p.origin, p.id), Digest: hexSHA(text), Body: text}
	if p.digest != "" && r.Digest != p.digest {
		return record{}, ofKind(ErrChanged, "profile %s is not as it was kept (%s): put back a copy of the store", id, changedWords(r.Digest, p.digest))
	}
	return r, nil
}

// addSorted adds each of all once that is not there, by digest and name.
func (l *life) addSorted(all []record) {
	slices.SortFunc(all, func(a, b record) int {
		return cmp.Or(cmp.Compare(len(a.ID), len(b.ID)), cmp.Compare(a.ID, b.ID), cmp.Compare(a.Digest, b.Digest))
	})
	for _, r := range all {
		same := func(o record) bool { return o.Type == r.Type && o.Digest == r.Digest && o.ID == r.ID }
		if !slices.ContainsFunc(l.records, same) {
			l.records = append(l.records, r)
		}
	}
}

// addPlans adds every version of the board's plan.
func (l *life) addPlans(ctx context.Context, s *Store, _ []Run) error {
	plans, err := collect(ctx, s.db, scanPlan, sqlPlansOfBoard, l.board.ID)
	if err != nil {
		return err
	}
	for _, p := range plans {
		if err := l.add(record{Type: "plan", Version: p.Version, Created: timeText(p.Created), Text: p.Text}, nil); err != nil {
			return err
		}
	}
	return nil
}

func (l *life) addRuns(_ context.Context, _ *Store, runs []Run) error {
	origins := map[string]string{}
	for _, r := range runs {
		origins[r.ID] = r.origin()
	}
	for _, r := range runs {
		text, err := r.canonical()
		if err != nil {
			return fmt.Errorf("run %s: %w", r.ID, err)
		}
		l.records = append(l.records, record{Type: "run", ID: r.origin(), Digest: r.Digest, Corrects: origins[r.Corrects],
			Recomputes: origins[r.Recomputes], Body: text})
		for _, t := range r.Takes {
			l.takes = append(l.takes, t.SHA256)
		}
	}
	return nil
}
