package db

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
)

// archive is one that was read whole and found in order.
type archive struct {
	manifest Manifest
	board    Board
	benches  []string // canonical JSON
	profiles []record
	plans    []record
	runs     []archivedRun
	parts    []record
}

// archivedRun is a run with its line in the archive.
type archivedRun struct {
	record
	run Run
}

// runKey tells runs apart: stores may have given one name to two runs, and one
// store may have kept the same twice.
type runKey struct{ origin, digest string }

func (r archivedRun) key() runKey { return runKey{r.ID, r.Digest} }

// parse reads life.jsonl and holds each record against its digest.
func (a *archive) parse(text []byte) error {
	if !bytes.HasSuffix(text, []byte("\n")) {
		return badArchive("%s does not end with a whole line", lifeName)
	}
	for i, line := range bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")) {
		var r record
		if err := json.Unmarshal(line, &r); err != nil {
			return badArchive("line %d of %s cannot be read (%v)", i+1, lifeName, err)
		}
		content := []byte(r.Body)
		if r.Type == "plan" {
			content = []byte(r.Text)
		}
		if hexSHA(content) != r.Digest {
			return badArchive("line %d of %s, a %.20s, is damaged: its digest is another", i+1, lifeName, r.Type)
		}
		if (i == 0) != (r.Type == "board") {
			return badArchive("line %d of %s is a %.20q, and a board is the first line and no other", i+1, lifeName, r.Type)
		}
		if err := a.take(r); err != nil {
			return badArchive("line %d of %s: %v", i+1, lifeName, err)
		}
	}
	if a.board.UID == "" || a.board.UID != a.manifest.Board.UID {
		return badArchive("its manifest is of the board %.60q, its life of %.60q", a.manifest.Board.UID, a.board.UID)
	}
	if err := a.checkNames(); err != nil {
		return err
	}
	return a.checkTakes()
}

// take files one record.
func (a *archive) take(r record) error {
	switch r.Type {
	case "board":
		if err := json.Unmarshal(r.Body, &a.board); err != nil {
			return err
		}
		a.board.ID = 0
		return a.board.check()
	case "bench":
		var b Bench
		if err := json.Unmarshal(r.Body, &b); err != nil {
			return err
		}
		a.benches = append(a.benches, string(r.Body))
		return b.check()
	case "profile":
		var p calibration.Profile
		if err := json.Unmarshal(r.Body, &p); err != nil {
			return err
		}
		if fold(p.Bench) == "" || p.ID != "" || !isID(r.ID, 'p') || same(a.profiles, r) {
			return fmt.Errorf("profile %.40q has no bench, no name or is there twice", r.ID)
		}
		a.profiles = append(a.profiles, r)
		return nil
	case "plan":
		a.plans = append(a.plans, r)
		if _, err := parseTime(r.Created); err != nil || r.Version < 1 {
			return fmt.Errorf("version %d of the plan has no date or number", r.Version)
		}
		parsed, err := verdict.ParsePlan([]byte(r.Text))
		if err == nil {
			err = parsed.CheckOutputs(a.board.Outputs)
		}
		return err
	case "run":
		run, err := parseRun(r)
		a.runs = append(a.runs, archivedRun{r, run})
		return err
	}
	if i := slices.IndexFunc(lifeParts, func(p lifePart) bool { return p.name == r.Type }); i >= 0 {
		a.parts = append(a.parts, r)
		return lifeParts[i].check(r)
	}
	return fmt.Errorf("a %.20q is not known: update boardproof", r.Type)
}

// isID says whether id is one that a store gives.
func isID(id string, letter byte) bool {
	if !idText.MatchString(id) || id[0] != letter {
		return false
	}
	_, err := dayOf(id)
	return err == nil
}

// dayOf is the day in an id as in r20261125-0001.
func dayOf(id string) (time.Time, error) { return time.Parse("20060102", id[1:9]) }

func same(all []record, r record) bool {
	return slices.ContainsFunc(all, func(o record) bool { return o.ID == r.ID && o.Digest == r.Digest })
}

// parseRun reads a run and makes sure that nothing of it was lost: a later
// program may have written what this one does not know.
func parseRun(r record) (Run, error) {
	var b runBody
	if err := json.Unmarshal(r.Body, &b); err != nil {
		return Run{}, err
	}
	run := Run{
		BoardAsWas: b.Board, Bench: b.Bench, Simulated: b.Simulated, Operator: b.Operator, Started: b.Started,
		Finished: b.Finished, MethodVersion: b.MethodVersion, Verdict: b.Verdict, Notes: b.Notes, Readings: b.Readings,
		Curves: b.Curves, Refused: b.Refused, Takes: b.Takes, Digest: r.Digest, OriginID: r.ID,
		Named: Named{Profile: b.Profile, Plan: b.Plan, Corrects: b.Corrects, Recomputes: b.Recomputes},
	}
	switch {
	case !isID(r.ID, 'r'):
		return Run{}, fmt.Errorf("%.40q is no name of a run", r.ID)
	case b.Format != runFormat || Digest(run) != r.Digest:
		return Run{}, fmt.Errorf("run %s is of a newer boardproof: update boardproof", r.ID)
	}
	for _, t := range run.Takes {
		if !shaText.MatchString(t.SHA256) {
			return Run{}, fmt.Errorf("run %s names the take %.80q, which is no SHA-256", r.ID, t.SHA256)
		}
	}
	return run, run.check()
}

// checkNames makes sure that what runs name is there.
func (a *archive) checkNames() error {
	has := map[string]bool{}
	for _, r := range append(slices.Clone(a.profiles), a.plans...) {
		has[r.Type+r.Digest] = true
	}
	runs := map[runKey]bool{{}: true}
	for _, r := range a.runs {
		if runs[r.key()] {
			return badArchive("it holds the run %s twice", r.ID)
		}
		runs[r.key()] = true
	}
	for _, r := range a.runs {
		n := r.run.Named
		switch {
		case n.Profile != "" && !has["profile"+n.Profile], n.Plan != "" && !has["plan"+n.Plan]:
			return badArchive("run %s names a profile or a plan that is not in it", r.ID)
		case !runs[runKey{r.Corrects, n.Corrects}], !runs[runKey{r.Recomputes, n.Recomputes}]:
			return badArchive("run %s names another run that is not in it", r.ID)
		case r.run.BoardAsWas.UID != "" && r.run.BoardAsWas.UID != a.board.UID:
			return badArchive("run %s is of another board", r.ID)
		}
	}
	return nil
}

// takes are the recordings that runs and hunts name, each with who does.
func (a *archive) takes() (map[string]string, error) {
	of := map[string]string{}
	for _, r := range a.runs {
		for _, t := range r.run.Takes {
			of[t.SHA256] = "run " + r.ID
		}
	}
	for _, r := range a.parts {
		if r.Type != "hunt" {
			continue
		}
		h, err := parseHunt(r)
		if err != nil {
			return nil, err
		}
		for _, c := range h.Conditions {
			of[c.Take.SHA256] = "hunt " + r.ID
		}
	}
	return of, nil
}

// checkTakes finds a recording that was cut out: one that is neither there nor
// said to be missing.
func (a *archive) checkTakes() error {
	of, err := a.takes()
	if err != nil {
		return badArchive("%v", err)
	}
	for _, f := range a.manifest.Files[1:] {
		delete(of, f.SHA256)
	}
	for _, sha := range a.manifest.Missing {
		delete(of, sha)
	}
	for sha, who := range of {
		return badArchive("recordings were cut out of it (%d), as take %s of %s: ask for the whole archive", len(of), sha, who)
	}
	return nil
}
