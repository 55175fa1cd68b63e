package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/db"
)

// AcceptRequest asks for a board's plan to be carried out.
type AcceptRequest struct {
	Use
	Again
	// Board is its label or serial.
	Board string
	// Operator is who measures.
	Operator string
	Notes    string
	// Corrects is the run that this one supersedes, "" for none.
	Corrects string
	// Ready, where not nil, is what the face wants to be sure of before anything is
	// played.
	Ready func() error
}

// Acceptance is a plan that was carried out.
type Acceptance struct {
	// Run has no ID where it could not be kept.
	Run     db.Run
	Plan    verdict.Plan
	Profile *calibration.Profile
}

// Accept carries a board's plan out, judges it and keeps the run. Where it was
// measured but could not be kept there is both a result and an error.
func (w *Workshop) Accept(ctx context.Context, r AcceptRequest) (*Acceptance, error) {
	job, err := w.prepareAccept(ctx, &r)
	if err != nil {
		return nil, err
	}
	in, closeDevice, err := w.open(job.bench, r.Simulation)
	if err != nil {
		return nil, err
	}
	defer closeDevice() //nolint:errcheck // the takes are in by then
	sit, err := w.sitting(ctx, job.bench, in, job.board.Outputs, job.profile)
	if err != nil {
		return nil, err
	}
	sit.Repeats, sit.BoardIn = r.Repeats, r.BoardIn
	meet := acceptanceMeets{job.kept.ID, job.profile.ID, job.bench, job.board.Outputs, r.Simulate, r.Knobs, r.Repeats}
	of := db.Sitting{Kind: db.Acceptance, BoardID: job.board.ID, Bench: job.bench.Name}
	book, err := w.openBook(ctx, of, meet, setup{Notes: r.Notes, Corrects: r.Corrects}, r.Again, job.board.Label)
	if err != nil {
		return nil, err
	}
	run := db.Run{
		BoardID: job.board.ID, BoardAsWas: job.board, Bench: job.bench.Name, ProfileID: job.profile.ID, PlanID: job.kept.ID, Simulated: in.Describe().Simulated,
		Operator: r.Operator, Started: w.Now(), MethodVersion: analysis.MethodVersion, Corrects: book.setup.Corrects, Notes: book.setup.Notes,
	}
	got, note, err := w.sit(ctx, sit, book, job.plan, r.Use)
	if err != nil {
		return nil, book.left(ctx, err)
	}
	if len(book.past) > 0 {
		note = joinNotes(note, fmt.Sprintf("the sitting of %s was left and gone on with", book.sitting.Started.Format("2006-01-02 15:04 UTC")))
		run.Started = book.sitting.Started
	}
	run.Finished, run.Notes = w.Now(), joinNotes(run.Notes, note)
	run.Readings, run.Curves, run.Refused = got.Readings, got.Curves, got.Refused
	done := &Acceptance{Run: run, Plan: job.plan, Profile: job.profile}
	kept, err := w.keepRun(ctx, run, got.Takes, book)
	if err != nil {
		// What was measured is shown whatever the store does.
		done.Run.Verdict = verdict.Overall(run.Readings)
		return done, book.left(ctx, fmt.Errorf("the run was NOT KEPT: %w", err))
	}
	book.forget(ctx)
	done.Run = kept
	return done, nil
}

// accepting is what an acceptance needs.
type accepting struct {
	board   db.Board
	bench   db.Bench
	kept    db.Plan
	plan    verdict.Plan
	profile *calibration.Profile
}

// prepareAccept finds before anything is played what would only come out after
// minutes at the bench.
func (w *Workshop) prepareAccept(ctx context.Context, r *AcceptRequest) (*accepting, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	var a accepting
	var err error
	if a.board, a.kept, err = w.Plan(ctx, r.Board); err != nil {
		return nil, err
	}
	if a.plan, err = verdict.ParsePlan([]byte(a.kept.Text)); err != nil {
		return nil, invalidf("the plan of %s: %w", a.board.Label, err)
	}
	if err := procedure.CheckPlanWords(a.plan); err != nil {
		return nil, err
	}
	if a.bench, err = w.ChooseBench(ctx, r.Bench); err != nil {
		return nil, err
	}
	if a.profile, err = w.LatestProfile(ctx, a.bench.Name); err != nil {
		return nil, err
	}
	if a.profile == nil {
		return nil, invalidf("bench %s is not calibrated, a plan needs levels in dBu: 'boardproof calibrate --bench %q'", a.bench.Name, a.bench.Name)
	}
	if r.Corrects, err = w.runOf(ctx, a.board, r.Corrects); err != nil {
		return nil, err
	}
	if r.Ready != nil {
		err = r.Ready()
	}
	return &a, err
}

// acceptanceMeets is what must be the same for an acceptance to be gone on with.
type acceptanceMeets struct {
	Plan     int64    `json:"plan"`
	Profile  string   `json:"profile"`
	Bench    db.Bench `json:"bench"`
	Outputs  []string `json:"outputs"`
	Simulate string   `json:"simulate"`
	Knobs    []string `json:"knobs"`
	Repeats  int      `json:"repeats"`
}

// sit checks the bench and carries the plan out, as far as book does not hold
// that already.
func (w *Workshop) sit(ctx context.Context, sit *procedure.Sitting, book *book, plan verdict.Plan, u Use) (*procedure.Accepted, string, error) {
	check, note, err := w.checkOrPast(ctx, sit, book, u)
	if err != nil {
		return nil, "", err
	}
	done := procedure.Done(book.past)
	sit.Keep(book, book.past)
	if check.Taken != nil && !done {
		if err := sit.Note(ctx, procedure.Entry{What: procedure.CheckStep, Take: check.Taken.Take, Attempt: check.Taken.Attempt}); err != nil {
			return nil, "", err
		}
	}
	got, err := sit.Accept(ctx, plan)
	if err != nil {
		return nil, "", err
	}
	got.AddCheck(check)
	return got, joinNotes(note, sit.LikeLead()), nil
}

// checkOrPast is checkBench, but that a sitting which took all it takes has its
// own check.
func (w *Workshop) checkOrPast(ctx context.Context, sit *procedure.Sitting, book *book, u Use) (*procedure.BenchCheck, string, error) {
	if procedure.Done(book.past) {
		for _, e := range slices.Backward(book.past) {
			if e.What == procedure.CheckStep && e.Load != nil {
				check, err := sit.PastCheck(e)
				return check, "", err
			}
		}
	}
	return w.checkBench(ctx, sit, u)
}

// runOf returns the whole name of a run of board that id begins, "" for "".
func (w *Workshop) runOf(ctx context.Context, board db.Board, id string) (string, error) {
	if id == "" {
		return "", nil
	}
	run, err := w.Store.FindRun(ctx, id)
	if err != nil {
		return "", fieldf("corrects", ": %w", err)
	}
	if run.BoardID != board.ID {
		return "", fieldf("corrects", ": run %s is of board %s: name one of 'boardproof runs %q'", run.ID, run.BoardAsWas.Label, board.Label)
	}
	return run.ID, nil
}

// keepRun puts the takes on the disk, but for those that the sitting has put
// there already, and then the run that names them. It can be interrupted only
// while it waits for the store.
func (w *Workshop) keepRun(ctx context.Context, run db.Run, takes []procedure.StepTake, b *book) (db.Run, error) {
	if err := ctx.Err(); err != nil {
		return db.Run{}, err
	}
	for again := false; ; again = true {
		run.Takes = nil
		for _, t := range takes {
			ref, had := b.ref(t.Take)
			if !had || again {
				var err error
				if ref, err = w.Store.SaveTake(t.Take, t.Step, t.Attempt); err != nil {
					return db.Run{}, err
				}
			}
			ref.Step, ref.Attempt, ref.LeftOut, ref.Again = t.Step, t.Attempt, t.LeftOut, t.Again
			run.Takes = append(run.Takes, ref)
		}
		kept, err := w.Store.SaveRun(ctx, run, b.closes()...)
		// A file may have gone meanwhile; its samples may still be here.
		if gone := func(t procedure.StepTake) bool { return t.Take.Samples == nil }; !errors.Is(err, db.ErrTakeDamaged) || again || slices.ContainsFunc(takes, gone) {
			return kept, err
		}
	}
}
