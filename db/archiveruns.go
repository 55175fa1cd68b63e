package db

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
)

// keepPlans takes in the versions that are not there. A version that is
// another here is kept under the next free number, and the newest of here
// after it once more: importing does not change what a board is held against.
func (im *importing) keepPlans(ctx context.Context, tx *sql.Tx) error {
	here, err := collect(ctx, tx, scanPlan, sqlPlansOfBoard, im.done.Board.ID)
	if err != nil {
		return err
	}
	newest, clashed := Plan{}, false
	if len(here) > 0 {
		newest = here[len(here)-1]
	}
	last := newest.Version
	for _, r := range im.plans {
		have := func(p Plan) bool { return p.Text == r.Text && p.Version == r.Version }
		if !slices.ContainsFunc(here, have) {
			have = func(p Plan) bool { return p.Text == r.Text }
		}
		if i := slices.IndexFunc(here, have); i >= 0 {
			im.planIDs[r.Digest] = here[i].ID
			continue
		}
		version := r.Version
		if slices.ContainsFunc(here, func(p Plan) bool { return p.Version == version }) {
			version, clashed = last+1, true
		}
		p, err := im.addPlan(ctx, tx, version, r.Text, r.Created)
		if err != nil {
			return err
		}
		here, last = append(here, p), max(last, version)
		im.planIDs[r.Digest] = p.ID
		im.done.Plans++
	}
	if clashed {
		_, err = im.addPlan(ctx, tx, last+1, newest.Text, timeText(newest.Created))
	} else if last > newest.Version && !im.done.New {
		im.done.NewestPlan = last
	}
	return err
}

func (im *importing) addPlan(ctx context.Context, tx *sql.Tx, version int, text, created string) (Plan, error) {
	at, err := parseTime(created)
	if err != nil {
		return Plan{}, err
	}
	p := Plan{BoardID: im.done.Board.ID, Version: version, Text: text, Created: at}
	if err := p.insert(ctx, tx); err != nil {
		return Plan{}, fmt.Errorf("version %d of the plan: %w", version, err)
	}
	return p, nil
}

// keepRuns takes in the runs that are not there, those first that others name.
func (im *importing) keepRuns(ctx context.Context, tx *sql.Tx) error {
	im.runIDs[runKey{}] = ""
	for left := im.runs; len(left) > 0; {
		var later []archivedRun
		for _, r := range left {
			corrects, ok := im.runIDs[runKey{r.Corrects, r.run.Named.Corrects}]
			recomputes, ok2 := im.runIDs[runKey{r.Recomputes, r.run.Named.Recomputes}]
			if !ok || !ok2 {
				later = append(later, r)
				continue
			}
			r.run.Corrects, r.run.Recomputes = corrects, recomputes
			id, err := im.keepRun(ctx, tx, r)
			if err != nil {
				return fmt.Errorf("run %s: %w", r.ID, err)
			}
			im.runIDs[r.key()] = id
		}
		if len(later) == len(left) {
			return badArchive("run %s names a run that names it", later[0].ID)
		}
		left = later
	}
	return nil
}

func (im *importing) keepRun(ctx context.Context, tx *sql.Tx, a archivedRun) (id string, err error) {
	// Runs that were kept before digests were are found by what they hold.
	known, err := collect(ctx, tx, scanRun, sqlRunsByOrigin, im.done.Board.ID, a.ID)
	if err != nil {
		return "", err
	}
	for _, k := range known {
		if err := k.load(ctx, tx); err != nil {
			return "", err
		}
		if k.orDigest() == a.Digest {
			im.done.Had++
			return k.ID, nil
		}
	}
	r := a.run
	if r.ID, err = im.freeID(ctx, tx, a.ID, sqlRun, sqlLastRunOfDay); err != nil {
		return "", err
	}
	r.BoardID, r.BoardAsWas.ID = im.done.Board.ID, im.done.Board.ID
	r.ProfileID, r.PlanID = im.profileIDs[r.Named.Profile], im.planIDs[r.Named.Plan]
	if err := r.insert(ctx, tx); err != nil {
		return "", err
	}
	im.done.Runs = append(im.done.Runs, r.ID)
	return r.ID, sameInStore(ctx, tx, r)
}

// sameInStore makes sure that nothing of a run was lost on its way.
func sameInStore(ctx context.Context, tx *sql.Tx, want Run) error {
	r, err := scanRun(tx.QueryRowContext(ctx, sqlRun, want.ID))
	if err == nil {
		err = r.load(ctx, tx)
	}
	if err != nil {
		return err
	}
	if Digest(r) != want.Digest {
		return badArchive("this store cannot keep all that run %s holds: update boardproof", want.OriginID)
	}
	return nil
}
