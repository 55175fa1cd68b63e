package workshop

import (
	"context"
	"fmt"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/db"
)

// Run is a run that is kept, with the plan that it followed, if any, and the
// profile that it was measured with.
func (w *Workshop) Run(ctx context.Context, name string) (*Acceptance, error) {
	run, err := w.Store.FindRun(ctx, name)
	if err != nil {
		return nil, err
	}
	plan, err := w.planOfRun(ctx, run)
	if err != nil {
		return nil, err
	}
	profile, err := w.Store.Profile(ctx, run.ProfileID)
	if err != nil {
		return nil, err
	}
	return &Acceptance{Run: run, Plan: plan, Profile: &profile}, nil
}

// RunWithPlan is a run that is kept and the plan that it followed, none where it
// followed none.
func (w *Workshop) RunWithPlan(ctx context.Context, name string) (db.Run, verdict.Plan, error) {
	run, err := w.Store.FindRun(ctx, name)
	if err != nil {
		return run, verdict.Plan{}, err
	}
	plan, err := w.planOfRun(ctx, run)
	return run, plan, err
}

// Paper is all that the papers of a run are made from.
type Paper struct {
	// Run has with each conditional verdict what would settle it.
	Run         db.Run
	Digest      string
	Plan        verdict.Plan
	PlanVersion int
	// Profile is nil where there was none.
	Profile *calibration.Profile
}

// Paper is that of a run by its name.
func (w *Workshop) Paper(ctx context.Context, name string) (Paper, error) {
	run, err := w.Store.FindRun(ctx, name)
	if err != nil {
		return Paper{}, err
	}
	p := Paper{}
	if p.Digest, err = w.Store.RunDigest(ctx, run.ID); err != nil {
		return Paper{}, err
	}
	if run.PlanID != 0 {
		kept, err := w.Store.Plan(ctx, run.PlanID)
		if err != nil {
			return Paper{}, err
		}
		if p.Plan, err = verdict.ParsePlan([]byte(kept.Text)); err != nil {
			return Paper{}, fmt.Errorf("the plan of run %s: %w", run.ID, err)
		}
		p.PlanVersion = kept.Version
	}
	if run.ProfileID != "" {
		profile, err := w.Store.Profile(ctx, run.ProfileID)
		if err != nil {
			return Paper{}, err
		}
		p.Profile = &profile
	}
	run.Readings = Settled(run, p.Plan)
	p.Run = run
	return p, nil
}

// Corrections are the runs that are to be read instead of run.
func (w *Workshop) Corrections(ctx context.Context, run db.Run) ([]string, error) {
	all, err := w.Store.Runs(ctx, run.BoardID)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, r := range all {
		if r.Corrects == run.ID {
			ids = append(ids, r.ID)
		}
	}
	return ids, nil
}

// TakesTidied counts the takes of a run that were thrown away.
func (w *Workshop) TakesTidied(ctx context.Context, run db.Run) (int, error) {
	return w.Store.TakesTidied(ctx, run)
}
