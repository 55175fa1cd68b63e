package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// RunsToRecompute is the run of a name, or what was measured of a board.
func (w *Workshop) RunsToRecompute(ctx context.Context, name string) ([]db.Run, error) {
	run, runErr := w.Store.FindRun(ctx, name)
	if runErr == nil && strings.EqualFold(run.ID, name) {
		return []db.Run{run}, nil
	}
	board, err := w.Store.FindBoard(ctx, name)
	switch {
	case err != nil && runErr == nil:
		return []db.Run{run}, nil
	case errors.Is(err, db.ErrNotFound) && !errors.Is(runErr, db.ErrNotFound):
		return nil, runErr
	case err != nil:
		return nil, err
	}
	list, err := w.Store.Runs(ctx, board.ID)
	if err != nil {
		return nil, err
	}
	var runs []db.Run
	for _, r := range measuredRuns(list) {
		if r.PlanID == 0 {
			continue
		}
		if r, err = w.Store.FindRun(ctx, r.ID); err != nil {
			return nil, err
		}
		runs = append(runs, r)
	}
	if len(runs) == 0 {
		return nil, invalidf("board %s has no run that followed a plan", board.Label)
	}
	return runs, nil
}

// Recompute reads one run again and keeps what comes out otherwise, or with
// always in any case.
func (w *Workshop) Recompute(ctx context.Context, old db.Run, always bool) (Recomputed, error) {
	doc := Recomputed{Of: old.ID, Board: old.BoardAsWas.Label, Simulated: old.Simulated, MethodThen: old.MethodVersion, MethodNow: analysis.MethodVersion}
	if old.PlanID == 0 {
		return doc, invalidf("it followed no plan: what was read in which step is not known")
	}
	if _, err := w.Store.RunDigest(ctx, old.ID); err != nil {
		return doc, err
	}
	plan, err := w.planOfRun(ctx, old)
	if err != nil {
		return doc, err
	}
	takes, refs, err := w.keptTakes(old)
	if err != nil {
		return doc, err
	}
	sit, err := w.sittingOf(ctx, old, takes)
	if err != nil {
		return doc, err
	}
	got, err := sit.Recompute(ctx, plan, takes, old.Refused)
	if err != nil {
		return doc, err
	}
	run := old
	run.MethodVersion, run.Corrects, run.Recomputes = analysis.MethodVersion, "", old.ID
	run.Notes = joinNotes(old.Notes, fmt.Sprintf("computed again on %s from the recordings of run %s", w.Now().UTC().Format(time.DateOnly), old.ID))
	run.Readings, run.Curves, run.Refused, run.Takes = got.Readings, got.Curves, got.Refused, nil
	for _, t := range got.Takes {
		ref := refs[t.Take]
		ref.LeftOut, ref.Again = t.LeftOut, t.Again
		run.Takes = append(run.Takes, ref)
	}
	doc.compare(old, run)
	if !always && !doc.Otherwise() && old.MethodVersion == run.MethodVersion {
		return doc, nil
	}
	if run, err = w.Store.SaveRun(context.WithoutCancel(ctx), run); err != nil {
		return doc, err
	}
	doc.Kept, doc.Verdict = run.ID, run.Verdict
	return doc, nil
}

// keptTakes are the takes of a run, to be loaded one by one.
func (w *Workshop) keptTakes(run db.Run) (takes []procedure.KeptTake, refs map[*capture.Take]db.TakeRef, err error) {
	if len(run.Takes) == 0 {
		return nil, nil, unmeasured(errors.New("it has no recordings"))
	}
	if err := w.Store.TakesThere(run.Takes); err != nil {
		return nil, nil, unmeasured(err)
	}
	refs = map[*capture.Take]db.TakeRef{}
	for _, ref := range run.Takes {
		take := ref.Take
		load := func() (*capture.Take, error) {
			whole, err := w.Store.LoadTake(ref)
			return whole, unmeasured(err)
		}
		takes = append(takes, procedure.KeptTake{Step: ref.Step, Take: &take, Load: load, Attempt: ref.Attempt, Again: ref.Again})
		refs[&take] = ref
	}
	return takes, refs, nil
}

// sittingOf is the bench as it was when a run was made.
func (w *Workshop) sittingOf(ctx context.Context, run db.Run, takes []procedure.KeptTake) (*procedure.Sitting, error) {
	first := takes[0].Take
	if len(first.Inputs) < len(run.BoardAsWas.Outputs) {
		return nil, unmeasured(fmt.Errorf("its recordings hold %d inputs for %d outputs", len(first.Inputs), len(run.BoardAsWas.Outputs)))
	}
	sit := &procedure.Sitting{Instrument: wasThere{first.Instrument}, Person: talk.Nobody{}, Now: func() time.Time { return run.Started }}
	for i, o := range run.BoardAsWas.Outputs {
		sit.Patching = append(sit.Patching, calibration.Patching{Output: o, Input: first.Inputs[i]})
	}
	if run.ProfileID == "" {
		return sit, nil
	}
	p, err := w.Store.Profile(ctx, run.ProfileID)
	if err != nil {
		return nil, err
	}
	sit.Profile, sit.Output = &p, p.Output
	return sit, nil
}

// wasThere is an instrument of which only the description is left.
type wasThere struct{ capture.Description }

func (t wasThere) Describe() capture.Description { return t.Description }

func (t wasThere) Record(context.Context, capture.Request) (*capture.Take, error) {
	return nil, errors.New("an earlier run is read again: nothing can be recorded")
}

// measuredRuns leaves out what was only computed again: it is of the same day as
// the run that it names.
func measuredRuns(runs []db.Run) []db.Run {
	return slices.DeleteFunc(slices.Clone(runs), func(r db.Run) bool { return r.Recomputes != "" })
}
