package db

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/analysis/verdict"
)

// fixedRun is one with every field that a digest sees set.
func fixedRun() Run {
	b := board("Night Train")
	b.ID, b.Created = 7, noon
	r := sitting{board: b}.run()
	r.ID, r.BoardAsWas, r.Verdict = "r20261125-0007", b, verdict.NotMeasured
	r.Named = Named{Profile: strings.Repeat("a", 64), Plan: strings.Repeat("b", 64), Corrects: strings.Repeat("c", 64), Recomputes: strings.Repeat("d", 64)}
	ref := TakeRef{SHA256: strings.Repeat("e", 64), Step: "tone", Attempt: 2, LeftOut: "a bang", Take: *take()}
	ref.Take.Samples = nil
	r.Takes = []TakeRef{ref}
	return r
}

// The digest of a run is printed on paper and carried between stores: it must
// be the same in every later version of the program.
func TestDigestStays(t *testing.T) {
	const want = "f59bded3bcf481d3cf336ba8fb321b929ada2c76fe46c43890aa9d89eb377e6f"
	if got := Digest(fixedRun()); got != want {
		text, err := fixedRun().canonical()
		t.Errorf("digest %s, want %s: the digests of the runs that are kept would change (%v)\n%s", got, want, err, text)
	}
}

// Python reads the line, sorts and writes it by itself, and hashes it: only
// its way of writing a float is replaced by ECMAScript's, from ECMA-262,
// Number::toString (from memory).
func TestDigestIsWhatPythonMakesOfIt(t *testing.T) {
	const program = `
import hashlib, json, sys
def number(x):
    if x == 0: return "0"
    sign = "-" if x < 0 else ""
    digits, exponent = ("%r" % abs(x)).lower(), 0
    mantissa, _, e = digits.partition("e")
    whole, _, part = mantissa.partition(".")
    if part == "0": part = ""
    n = len(whole) + int(e or 0)
    k = (whole + part)
    stripped = k.lstrip("0"); n -= len(k) - len(stripped); k = stripped
    k = k.rstrip("0")
    if len(k) <= n <= 21: return sign + k + "0" * (n - len(k))
    if 0 < n <= 21: return sign + k[:n] + "." + k[n:]
    if -6 < n <= 0: return sign + "0." + "0" * -n + k
    e = n - 1
    return sign + k[0] + ("." + k[1:] if len(k) > 1 else "") + "e" + ("+" if e >= 0 else "-") + str(abs(e))
def write(v):
    if isinstance(v, dict): return "{" + ",".join(write(k) + ":" + write(v[k]) for k in sorted(v)) + "}"
    if isinstance(v, list): return "[" + ",".join(map(write, v)) + "]"
    if isinstance(v, bool) or v is None or isinstance(v, str): return json.dumps(v, ensure_ascii=False)
    return number(float(v))
print(hashlib.sha256(write(json.load(sys.stdin)).encode()).hexdigest())
`
	text, err := fixedRun().canonical()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/usr/bin/python3", "-c", program)
	cmd.Stdin = strings.NewReader(string(text))
	out, err := cmd.Output()
	if err != nil {
		if _, missing := os.Stat("/usr/bin/python3"); missing != nil && os.Getenv("CI") != "true" {
			t.Skip("python3 is not here")
		}
		t.Fatal(err)
	}
	if got := strings.TrimSpace(string(out)); got != Digest(fixedRun()) {
		t.Errorf("Python makes %s of it, we %s", got, Digest(fixedRun()))
	}
}

// Whatever a run says, saying it otherwise changes its digest; what a store
// calls it does not.
func TestDigestSeesEverything(t *testing.T) {
	whole := Digest(fixedRun())
	for name, change := range map[string]func(*Run){
		"board":        func(r *Run) { r.BoardAsWas.Owner += "x" },
		"bench":        func(r *Run) { r.Bench += "x" },
		"profile":      func(r *Run) { r.Named.Profile = "" },
		"plan":         func(r *Run) { r.Named.Plan = "" },
		"simulated":    func(r *Run) { r.Simulated = false },
		"operator":     func(r *Run) { r.Operator = "" },
		"started":      func(r *Run) { r.Started = r.Started.Add(1) },
		"finished":     func(r *Run) { r.Finished = r.Finished.Add(1) },
		"method":       func(r *Run) { r.MethodVersion = "2" },
		"corrects":     func(r *Run) { r.Named.Corrects = "" },
		"recomputes":   func(r *Run) { r.Named.Recomputes = "" },
		"verdict":      func(r *Run) { r.Verdict = verdict.Pass },
		"notes":        func(r *Run) { r.Notes = "" },
		"last digit":   func(r *Run) { r.Readings[0].Value = -0.17300000000000001 - 3e-17 },
		"uncertainty":  func(r *Run) { r.Readings[1].Uncertainty = 1e-300 },
		"limit":        func(r *Run) { r.Readings[2].Limit.Min = nil },
		"absent":       func(r *Run) { r.Readings[4].Absent = false },
		"order":        func(r *Run) { r.Readings[0], r.Readings[1] = r.Readings[1], r.Readings[0] },
		"budget":       func(r *Run) { r.Readings[0].Budget[0].Std *= 2 },
		"chance":       func(r *Run) { r.Readings[2].ChanceWrong = at(0.13) },
		"curve":        func(r *Run) { r.Curves[0].Value[0] *= 2 },
		"refusal":      func(r *Run) { r.Refused[0].Reason += "." },
		"no refusals":  func(r *Run) { r.Refused = nil },
		"take":         func(r *Run) { r.Takes[0].SHA256 = strings.Repeat("f", 64) },
		"take's words": func(r *Run) { r.Takes[0].Take.State = "fuzz on" },
		"left out":     func(r *Run) { r.Takes[0].LeftOut = "" },
	} {
		r := fixedRun()
		change(&r)
		if got := Digest(r); got == whole || got == "" {
			t.Errorf("%s: changed, and the digest is %q", name, got)
		}
	}
	for name, change := range map[string]func(*Run){
		"id":       func(r *Run) { r.ID = "r20270101-0001" },
		"board id": func(r *Run) { r.BoardID, r.BoardAsWas.ID = 99, 99 },
		"ids":      func(r *Run) { r.ProfileID, r.PlanID, r.Corrects, r.OriginID = "p1", 99, "r1", "r2" },
		"settles":  func(r *Run) { r.Readings[2].Settles = "8 more" },
		"minus 0":  func(r *Run) { r.Readings[3].Value *= -1 },
	} {
		r := fixedRun()
		change(&r)
		if got := Digest(r); got != whole {
			t.Errorf("%s: the digest is not to see it, and changed", name)
		}
	}
}

func TestRunDigest(t *testing.T) {
	s := sit(t)
	first := s.save(t)
	again := s.run()
	again.Corrects, again.Recomputes = first.ID, first.ID
	kept, err := s.SaveRun(t.Context(), again)
	if err != nil {
		t.Fatal(err)
	}
	if kept.Named.Corrects != first.Digest || kept.Named.Recomputes != first.Digest {
		t.Errorf("the run it corrects has digest %s, named %+v", first.Digest, kept.Named)
	}
	for _, r := range []Run{first, kept} {
		if got, err := s.RunDigest(t.Context(), r.ID); err != nil || got != r.Digest || len(got) != 64 {
			t.Errorf("digest of %s: %q, %v, kept %q", r.ID, got, err, r.Digest)
		}
	}
	if kept.Digest == first.Digest {
		t.Error("a correction has the digest of the run it corrects")
	}
	// Past the triggers, as somebody with another program could.
	for _, query := range []string{"DROP TRIGGER readings_no_update", fmt.Sprintf("UPDATE readings SET value = -0.172 WHERE run_id = '%s' AND position = 0", first.ID)} {
		if err := alter(t, s.Store, query); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.RunDigest(t.Context(), first.ID); !errors.Is(err, ErrChanged) || !strings.Contains(err.Error(), "run r20261125-0001 is not as it was kept") {
		t.Errorf("a changed reading: %v", err)
	}
	if _, err := s.RunDigest(t.Context(), kept.ID); err != nil {
		t.Errorf("the other run: %v", err)
	}
}

// A run that was kept before there were digests has the one it would have had.
func TestRunDigestOfAnOldStore(t *testing.T) {
	s := openAt(t, filepath.Join(filepath.Dir(storeOfVersion(t, 1)), "old.db"))
	got, err := s.RunDigest(t.Context(), "r20260102-0001")
	if err != nil || len(got) != 64 {
		t.Errorf("digest %q, %v", got, err)
	}
}
