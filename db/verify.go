package db

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
)

// Verified is what came of looking through a whole store.
type Verified struct {
	Runs     int   `json:"runs"`
	Profiles int   `json:"profiles"`
	Plans    int   `json:"plans"` // versions
	Events   int   `json:"events"`
	Hunts    int   `json:"hunts"`
	Takes    int   `json:"takes"` // files that were hashed
	Bytes    int64 `json:"bytes"` // of them
	// Undigested counts what was kept before there were digests: nothing can tell whether they were changed.
	Undigested int `json:"undigested,omitempty"`
	// Tidied counts takes that were thrown away on purpose.
	Tidied int      `json:"tidied,omitempty"`
	Damage []Damage `json:"damage"`
}

// Damage is one thing that is not as it was kept.
type Damage struct {
	// What is "database", "row", "profile", "plan", "event", "hunt", "run" or "take".
	What string `json:"what"`
	Name string `json:"name,omitempty"`
	// How says what is wrong, and Of which run, hunt or bench it matters to.
	How string `json:"how"`
	Of  string `json:"of,omitempty"`
}

// Progress is told what is being done and how much of all is, in units of its
// own; of is 0 where that is not known. It may be nil.
type Progress func(doing string, done, of int64)

func (p Progress) tell(doing string, done, of int64) {
	if p != nil {
		p(doing, done, of)
	}
}

// Verify holds everything in the store against the digest that was kept with
// it: the database's own pages and references, every profile, version of a
// plan, event, hunt and run, the file of every take. What is damaged is in the result; the error is for a store that cannot
// be looked through.
func (s *Store) Verify(ctx context.Context, progress Progress) (Verified, error) {
	v := &verifying{Store: s, progress: progress, spoilt: map[string]bool{}, out: Verified{Damage: []Damage{}}}
	for _, part := range []func(context.Context) error{v.database, v.plan, v.rows, v.seals, v.takes} {
		if err := part(ctx); err != nil {
			return v.out, fmt.Errorf("verifying: %w", storeFault(s.path, err))
		}
	}
	return v.out, nil
}

type verifying struct {
	*Store
	progress Progress
	// done and of are in bytes of takes; a run counts as runBytes.
	done, of int64
	uses     []takeUse
	// spoilt are rows that were found damaged, as "plan 3".
	spoilt map[string]bool
	out    Verified
}

// runBytes is about how many bytes of takes can be hashed in the time that
// one run takes.
const runBytes = 10 << 20

func (v *verifying) damaged(what, name, of, format string, args ...any) {
	v.spoilt[what+" "+name] = true
	v.out.Damage = append(v.out.Damage, Damage{What: what, Name: name, How: fmt.Sprintf(format, args...), Of: of})
}

func (v *verifying) step(n int64) {
	v.done += n
	v.progress.tell("verifying", v.done, v.of)
}

// database asks SQLite itself.
func (v *verifying) database(ctx context.Context) error {
	v.progress.tell("verifying the database file", 0, 0)
	lines, err := collect(ctx, v.db, scanText, sqlIntegrity)
	if err != nil {
		return err
	}
	for _, line := range lines {
		if line != "ok" {
			v.damaged("database", "", "", "%s", strings.TrimSpace(line))
		}
	}
	if lines, err = collect(ctx, v.db, scanText, sqlForeignKeys); err != nil {
		return err
	}
	for _, line := range lines {
		v.damaged("row", "", "", "%s", line)
	}
	return nil
}

// plan finds how much there is to do.
func (v *verifying) plan(ctx context.Context) (err error) {
	if v.uses, err = takeUses(ctx, v.db); err != nil {
		return err
	}
	runs, err := collect(ctx, v.db, scanText, sqlAllRuns)
	v.of = int64(len(runs)) * runBytes
	for _, u := range firstUses(v.uses) {
		v.of += v.takeBytes(u.sha)
	}
	return err
}

// rows looks through all that has a digest.
func (v *verifying) rows(ctx context.Context) error {
	counts := map[string]*int{"profile": &v.out.Profiles, "plan": &v.out.Plans, "event": &v.out.Events, "hunt": &v.out.Hunts, "run": &v.out.Runs}
	for _, d := range rowDigests {
		all, err := collect(ctx, v.db, scanDigestedRow, d.all, 0)
		if err != nil {
			return err
		}
		for _, r := range all {
			*counts[d.what]++
			how := d.wrong(ctx, v.db, r)
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if how != "" && v.spoilt["plan "+r.plan] {
				how = "the plan that it followed is not as it was kept"
			}
			v.row(d.what, r, how)
			if d.what == "run" {
				v.step(runBytes)
			}
		}
	}
	return nil
}

// row notes how a row was found.
func (v *verifying) row(what string, r digestedRow, how string) {
	of := ""
	if r.board != "" {
		of = "board " + r.board
	}
	switch {
	case how != "":
		v.damaged(what, r.name, of, "%s", how)
		v.spoilt[what+" "+r.id] = true
	case r.digest == "":
		v.out.Undigested++
	}
}

// takes hashes every take's file once.
func (v *verifying) takes(ctx context.Context) error {
	tidied, err := v.tidied(ctx)
	if err != nil {
		return err
	}
	for _, u := range firstUses(v.uses) {
		if err := ctx.Err(); err != nil {
			return err
		}
		size := v.takeBytes(u.sha)
		now, err := v.takeSHA(u.sha)
		switch {
		case errors.Is(err, fs.ErrNotExist) && tidied[u.sha]:
			v.out.Tidied++
		case errors.Is(err, fs.ErrNotExist):
			v.damaged("take", u.sha, u.of, "its file is gone from %s", filepath.Base(v.takesDir()))
		case err != nil:
			v.damaged("take", u.sha, u.of, "its file cannot be read: %v", err)
		case now != u.sha:
			v.damaged("take", u.sha, u.of, "its file is not the one that was kept")
		}
		if err == nil {
			v.out.Takes++
			v.out.Bytes += size
		}
		v.step(size)
	}
	return nil
}

// takeUse is a run or hunt that names a take.
type takeUse struct {
	sha      string
	of       string // "run r20261125-0001"
	id       string
	boardID  int64
	finished string
}

// takeUses lists every take that is named, by runs, hunts and open sittings.
func takeUses(ctx context.Context, q querier) (all []takeUse, err error) {
	for _, from := range []struct{ what, query string }{{"run ", sqlTakesOfRuns}, {"hunt ", sqlTakesOfHunts}, {"sitting ", sqlTakesOfSittings}} {
		uses, err := collect(ctx, q, func(row scanner) (u takeUse, err error) {
			err = row.Scan(&u.sha, &u.id, &u.boardID, &u.finished)
			u.of = from.what + u.id
			return u, err
		}, from.query)
		if err != nil {
			return nil, err
		}
		all = append(all, uses...)
	}
	return all, nil
}

// firstUses are the uses with each take once.
func firstUses(uses []takeUse) (first []takeUse) {
	seen := map[string]bool{}
	for _, u := range uses {
		if !seen[u.sha] {
			seen[u.sha] = true
			first = append(first, u)
		}
	}
	return first
}

// takeBytes is the size of a take's file, 0 where it is gone.
func (s *Store) takeBytes(sha string) int64 {
	info, err := s.files.Stat(s.takeFile(sha))
	if err != nil {
		return 0
	}
	return info.Size()
}

// tidied are the takes that were thrown away on purpose.
func (s *Store) tidied(ctx context.Context) (map[string]bool, error) {
	shas, err := collect(ctx, s.db, scanText, sqlTidiedTakes)
	gone := map[string]bool{}
	for _, sha := range shas {
		gone[sha] = true
	}
	return gone, err
}
