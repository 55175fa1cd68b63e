package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

func (a *app) recomputeCommand() *cobra.Command {
	var always, all bool
	cmd := &cobra.Command{
		Use:   "recompute RUN | recompute BOARD",
		Short: "Read old runs again from their recordings with today's methods",
		Long: "Read the recordings of a run again, with the plan and the profile of then and the methods of\n" +
			"today, and show what comes out otherwise. Where something does, it is kept as a new run that\n" +
			"names the old one; the old one stays as it is. With a board: each of its runs that was\n" +
			"measured, oldest first.",
		Args: exactArgs("a run's name or a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.readStore(cmd.Context(), func(s *db.Store) error {
				return a.recompute(cmd.Context(), s, args[0], always, all)
			})
		},
	}
	cmd.Flags().BoolVar(&always, "always", false, "keep a new run also where nothing comes out otherwise")
	cmd.Flags().BoolVar(&all, "all", false, "print also the readings that come out the same")
	return cmd
}

func (a *app) recompute(ctx context.Context, s *db.Store, name string, always, all bool) error {
	runs, err := runsToRecompute(ctx, s, name)
	if err != nil {
		return err
	}
	docs := []recomputed{}
	var failed error
	for _, run := range runs {
		doc, err := a.recomputeRun(ctx, s, run, always)
		if err != nil {
			err = fmt.Errorf("computing run %s again: %w", run.ID, err)
			if len(runs) == 1 || ctx.Err() != nil {
				if doc.Readings != nil && !a.json {
					// What came out is shown where only the keeping of it failed.
					a.printRecomputed(doc, all)
				}
				return err
			}
			doc.Failed, failed = err.Error(), &limitFailed{exitUnmeasured}
		}
		docs = append(docs, doc)
		if !a.json {
			a.printRecomputed(doc, all)
		}
	}
	if a.json {
		return errors.Join(a.printJSON(docs), failed)
	}
	return failed
}

// runsToRecompute is the run of a name, or what was measured of a board.
func runsToRecompute(ctx context.Context, s *db.Store, name string) ([]db.Run, error) {
	run, runErr := s.FindRun(ctx, name)
	if runErr == nil && strings.EqualFold(run.ID, name) {
		return []db.Run{run}, nil
	}
	board, err := s.FindBoard(ctx, name)
	switch {
	case err != nil && runErr == nil:
		return []db.Run{run}, nil
	case errors.Is(err, db.ErrNotFound) && !errors.Is(runErr, db.ErrNotFound):
		return nil, runErr
	case err != nil:
		return nil, err
	}
	list, err := s.Runs(ctx, board.ID)
	if err != nil {
		return nil, err
	}
	var runs []db.Run
	for _, r := range measuredRuns(list) {
		if r.PlanID == 0 {
			continue
		}
		if r, err = s.FindRun(ctx, r.ID); err != nil {
			return nil, err
		}
		runs = append(runs, r)
	}
	if len(runs) == 0 {
		return nil, wrongUsef("board %s has no run that followed a plan", board.Label)
	}
	return runs, nil
}

// recomputeRun reads one run again and keeps what comes out otherwise.
func (a *app) recomputeRun(ctx context.Context, s *db.Store, old db.Run, always bool) (recomputed, error) {
	doc := recomputed{Of: old.ID, Board: old.BoardAsWas.Label, Simulated: old.Simulated, MethodThen: old.MethodVersion, MethodNow: analysis.MethodVersion}
	if old.PlanID == 0 {
		return doc, wrongUsef("it followed no plan: what was read in which step is not known")
	}
	if _, err := s.RunDigest(ctx, old.ID); err != nil {
		return doc, err
	}
	plan, err := planOfRun(ctx, s, old)
	if err != nil {
		return doc, err
	}
	takes, refs, err := keptTakes(s, old)
	if err != nil {
		return doc, err
	}
	sit, err := a.sittingOf(ctx, s, old, takes)
	if err != nil {
		return doc, err
	}
	got, err := sit.Recompute(ctx, plan, takes, old.Refused)
	if err != nil {
		return doc, err
	}
	run := old
	run.MethodVersion, run.Corrects, run.Recomputes = analysis.MethodVersion, "", old.ID
	run.Notes = joinNotes(old.Notes, fmt.Sprintf("computed again on %s from the recordings of run %s", a.now().UTC().Format(time.DateOnly), old.ID))
	run.Readings, run.Curves, run.Refused, run.Takes = got.Readings, got.Curves, got.Refused, nil
	for _, t := range got.Takes {
		ref := refs[t.Take]
		ref.LeftOut, ref.Again = t.LeftOut, t.Again
		run.Takes = append(run.Takes, ref)
	}
	doc.compare(old, run)
	if !always && !doc.otherwise() && old.MethodVersion == run.MethodVersion {
		return doc, nil
	}
	if run, err = s.SaveRun(context.WithoutCancel(ctx), run); err != nil {
		return doc, err
	}
	doc.Kept, doc.Verdict = run.ID, run.Verdict
	return doc, nil
}

// keptTakes are the takes of a run, to be loaded one by one.
func keptTakes(s *db.Store, run db.Run) (takes []procedure.KeptTake, refs map[*capture.Take]db.TakeRef, err error) {
	if len(run.Takes) == 0 {
		return nil, nil, unmeasured(errors.New("it has no recordings"))
	}
	if err := s.TakesThere(run.Takes); err != nil {
		return nil, nil, unmeasured(err)
	}
	refs = map[*capture.Take]db.TakeRef{}
	for _, ref := range run.Takes {
		take := ref.Take
		load := func() (*capture.Take, error) {
			whole, err := s.LoadTake(ref)
			return whole, unmeasured(err)
		}
		takes = append(takes, procedure.KeptTake{Step: ref.Step, Take: &take, Load: load, Attempt: ref.Attempt, Again: ref.Again})
		refs[&take] = ref
	}
	return takes, refs, nil
}

// sittingOf is the bench as it was when a run was made.
func (a *app) sittingOf(ctx context.Context, s *db.Store, run db.Run, takes []procedure.KeptTake) (*procedure.Sitting, error) {
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
	p, err := s.Profile(ctx, run.ProfileID)
	if err != nil {
		return nil, err
	}
	sit.Profile, sit.Output = &p, p.Output
	return sit, nil
}

// wasThere is an instrument of which only the description is left.
type wasThere struct{ capture.Description }

func (w wasThere) Describe() capture.Description { return w.Description }

func (w wasThere) Record(context.Context, capture.Request) (*capture.Take, error) {
	return nil, errors.New("an earlier run is read again: nothing can be recorded")
}

// measuredRuns leaves out what was only computed again: it is of the same day as
// the run that it names.
func measuredRuns(runs []db.Run) []db.Run {
	return slices.DeleteFunc(slices.Clone(runs), func(r db.Run) bool { return r.Recomputes != "" })
}
