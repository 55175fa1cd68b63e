package db

import (
	"bytes"
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis/hunt"
	"boardproof/analysis/verdict"
)

// lived is a store whose board has two benches, two plans, four runs of which
// one corrects and one recomputes another, and a hunt.
func lived(t *testing.T) sitting {
	t.Helper()
	s := sit(t)
	if err := s.SetBench(t.Context(), bench("bench one")); err != nil {
		t.Fatal(err)
	}
	first := s.save(t)
	s.save(t) // the same once more
	again := s.run()
	again.Corrects, again.Started, again.Finished = first.ID, noon.Add(time.Hour), noon.Add(2*time.Hour)
	second, err := s.SaveRun(t.Context(), again)
	if err != nil {
		t.Fatal(err)
	}
	other := again
	other.Corrects, other.Recomputes, other.PlanID, other.ProfileID = "", second.ID, 0, ""
	if _, err := s.SaveRun(t.Context(), other); err != nil {
		t.Fatal(err)
	}
	plan := strings.Replace(string(verdict.DefaultPlanTOML), "\n", "\n# changed <&> \u2028\n", 1)
	if _, err := s.SavePlan(t.Context(), s.board.ID, []byte(plan)); err != nil {
		t.Fatal(err)
	}
	s.keepHunt(t)
	return s
}

func (s sitting) keepHunt(t *testing.T) Hunt {
	t.Helper()
	h, err := s.SaveHunt(t.Context(), Hunt{BoardID: s.board.ID, Name: "buzz", Bench: "bench one", ProfileID: s.profile.ID, Simulated: true,
		Started: noon, Finished: noon.Add(time.Minute), MethodVersion: "1",
		Conditions: []HuntCondition{{Condition: hunt.Condition{Change: hunt.SupplyOff}, Take: s.take}}})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func export(t *testing.T, s *Store, board int64) []byte {
	t.Helper()
	var out bytes.Buffer
	if _, err := s.Export(t.Context(), board, &out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func importInto(t *testing.T, s *Store, archive []byte) Imported {
	t.Helper()
	got, err := s.Import(t.Context(), bytes.NewReader(archive))
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// What went out and in goes out again, byte for byte, and is whole.
func TestArchiveComesBackTheSame(t *testing.T) {
	s := lived(t)
	first := export(t, s.Store, s.board.ID)
	if again := export(t, s.Store, s.board.ID); !bytes.Equal(first, again) {
		t.Fatal("two exports of one board differ")
	}
	empty := newStore(t)
	empty.Now = func() time.Time { return noon.Add(1000 * time.Hour) }
	got := importInto(t, empty, first)
	want := Imported{Board: got.Board, New: true, Label: "Night Train", Renamed: map[string]string{}, Plans: 2, Takes: 1,
		Runs: []string{"r20261125-0001", "r20261125-0002", "r20261125-0003", "r20261125-0004"}, Parts: map[string]int{"hunt": 1}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("import (-want +got):\n%s", diff)
	}
	if second := export(t, empty, got.Board.ID); hexSHA(second) != hexSHA(first) {
		t.Errorf("exported again: %s, first %s", hexSHA(second), hexSHA(first))
	}
	if p, err := empty.LatestProfile(t.Context(), "bench one"); !errors.Is(err, ErrNotFound) {
		t.Errorf("an imported profile counts as one of a bench here: %s, %v", p.ID, err)
	}
	for _, id := range want.Runs {
		was, err := s.FindRun(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		is, err := empty.FindRun(t.Context(), id)
		if err != nil || is.OriginID != id {
			t.Fatalf("run %s: %+v, %v", id, is, err)
		}
		was.OriginID, was.BoardID, was.PlanID, was.BoardAsWas.ID = id, is.BoardID, is.PlanID, is.BoardAsWas.ID
		if diff := cmp.Diff(was, is); diff != "" {
			t.Errorf("run %s (-was +is):\n%s", id, diff)
		}
		if _, err := empty.RunDigest(t.Context(), id); err != nil {
			t.Error(err)
		}
		if _, err := empty.LoadTake(is.Takes[0]); err != nil {
			t.Error(err)
		}
	}
}

func TestImportTwiceIsOnce(t *testing.T) {
	s := lived(t)
	archive := export(t, s.Store, s.board.ID)
	for _, to := range []*Store{newStore(t), s.Store} {
		importInto(t, to, archive)
		before := tableCounts(t, to)
		got := importInto(t, to, archive)
		if got.New || len(got.Runs) != 0 || got.Had != 4 || got.Plans != 0 || got.Takes != 0 || len(got.Parts) != 0 || len(got.Renamed) != 0 {
			t.Errorf("a second import did %+v", got)
		}
		if diff := cmp.Diff(before, tableCounts(t, to)); diff != "" {
			t.Errorf("rows were added:\n%s", diff)
		}
		if b, err := to.FindBoard(t.Context(), "night train"); err != nil || b.UID != s.board.UID {
			t.Errorf("board %+v, %v", b, err)
		}
	}
}

func tableCounts(t *testing.T, s *Store) map[string]int {
	t.Helper()
	n := map[string]int{}
	names, err := collect(t.Context(), s.db, scanText, "SELECT name FROM pragma_table_list WHERE schema = 'main' AND strict = 1")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		n[name] = count(t, s, name)
	}
	return n
}

// Two workshops gave the same names to different things.
func TestImportBesideOthersOfTheSameNames(t *testing.T) {
	a, b := lived(t), lived(t)
	b.profile.Operator = "Bo" // told apart from a's
	own := profile("bench one")
	own.Operator = "Bo"
	own, err := b.SaveProfile(t.Context(), own)
	if err != nil {
		t.Fatal(err)
	}
	archive := export(t, a.Store, a.board.ID)
	got := importInto(t, b.Store, archive)
	if !got.New || got.Board.Label != "Night Train (2)" || got.Label != "Night Train" || got.Board.UID != a.board.UID {
		t.Errorf("board %+v", got)
	}
	if got.Renamed["r20261125-0001"] != "r20261125-0005" || got.Renamed["r20261125-0004"] != "r20261125-0008" || got.Renamed["h20261125-0001"] != "h20261125-0002" {
		t.Errorf("renamed %v", got.Renamed)
	}
	// The labels differ now, and nothing else.
	back := export(t, b.Store, got.Board.ID)
	if bytes.Equal(back, archive) {
		t.Error("the board has another label and the same archive")
	}
	if err := alter(t, b.Store, "UPDATE boards SET label = 'Night Train', label_key = 'elsewhere' WHERE uid = $1", a.board.UID); err != nil {
		t.Fatal(err)
	}
	if back = export(t, b.Store, got.Board.ID); !bytes.Equal(back, archive) {
		t.Error("beside others, more than the label has changed")
	}
	// The bench of b is still calibrated as it was.
	if p, err := b.LatestProfile(t.Context(), "bench one"); err != nil || p.ID != own.ID {
		t.Errorf("the profile of b's own bench is %s, %v, want %s", p.ID, err, own.ID)
	}
	corrected, err := b.FindRun(t.Context(), "r20261125-0007")
	if err != nil || corrected.Corrects != "r20261125-0005" || corrected.OriginID != "r20261125-0003" {
		t.Errorf("the correction is %+v, %v", corrected, err)
	}
	// A run goes on being kept under a name of its own.
	if id := b.save(t).ID; id != "r20261125-0009" {
		t.Errorf("the next run is %s", id)
	}
}

// A board is measured elsewhere and comes home.
func TestArchiveComesHome(t *testing.T) {
	a := lived(t)
	b := sitting{Store: newStore(t), take: a.take}
	b.board = importInto(t, b.Store, export(t, a.Store, a.board.ID)).Board
	p, err := b.SaveProfile(t.Context(), profile("bench two"))
	if err != nil {
		t.Fatal(err)
	}
	theirs := strings.Replace(string(verdict.DefaultPlanTOML), "\n", "\n# b's own\n", 1)
	plan, err := b.SavePlan(t.Context(), b.board.ID, []byte(theirs))
	if err != nil || plan.Version != 3 {
		t.Fatalf("plan %+v, %v", plan, err)
	}
	// Meanwhile a's third version of the plan is another one.
	mine := strings.Replace(string(verdict.DefaultPlanTOML), "\n", "\n# a's own\n", 1)
	if _, err := a.SavePlan(t.Context(), a.board.ID, []byte(mine)); err != nil {
		t.Fatal(err)
	}
	r := b.run()
	r.Bench, r.ProfileID, r.PlanID, r.Started = "bench two", p.ID, plan.ID, noon.Add(30*time.Minute)
	r.Finished = r.Started
	there, err := b.SaveRun(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	if p.ID == a.profile.ID {
		t.Fatalf("both profiles are called %s", p.ID)
	}
	a.save(t) // takes the name that b gave
	got := importInto(t, a.Store, export(t, b.Store, b.board.ID))
	if got.New || got.Had != 4 || !slices.Equal(got.Runs, []string{"r20261125-0006"}) || got.Renamed[there.ID] != "r20261125-0006" {
		t.Errorf("came home as %+v", got)
	}
	home, err := a.FindRun(t.Context(), "r20261125-0006")
	if err != nil || home.Digest != there.Digest || home.OriginID != there.ID {
		t.Errorf("the run from elsewhere: %+v, %v", home, err)
	}
	latest, err := a.LatestPlan(t.Context(), a.board.ID)
	if err != nil || latest.Text != mine {
		t.Errorf("the import changed what the board is held against: version %d, %v", latest.Version, err)
	}
	if p, err := a.Plan(t.Context(), home.PlanID); err != nil || p.Text != theirs || p.Version != 4 {
		t.Errorf("the plan from elsewhere: version %d, %v", p.Version, err)
	}
	before := tableCounts(t, a.Store)
	importInto(t, a.Store, export(t, b.Store, b.board.ID))
	if diff := cmp.Diff(before, tableCounts(t, a.Store)); diff != "" {
		t.Errorf("coming home twice:\n%s", diff)
	}
	if n := count(t, a.Store, "benches"); n != 1 {
		t.Errorf("%d benches here, want the own one", n)
	}
}

func TestExportSaysWhatIsMissing(t *testing.T) {
	s := lived(t)
	spoils(s.path)
	path := s.takeFile(s.take.SHA256)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	m, err := s.Export(t.Context(), s.board.ID, &out)
	if err != nil || !slices.Equal(m.Missing, []string{s.take.SHA256}) {
		t.Errorf("missing %v, %v", m.Missing, err)
	}
	other := newStore(t)
	spoils(other.path)
	got := importInto(t, other, out.Bytes())
	if len(got.Missing) != 1 || got.Takes != 0 || len(got.Runs) != 4 {
		t.Errorf("imported %+v", got)
	}
	if err := os.WriteFile(path, append(whole, 0), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Export(t.Context(), s.board.ID, &out); !errors.Is(err, ErrTakeDamaged) {
		t.Errorf("a damaged take: %v", err)
	}
	if err := os.WriteFile(path, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	for _, query := range []string{"DROP TRIGGER runs_no_update", "UPDATE runs SET notes = 'x' WHERE id = 'r20261125-0003'"} {
		if err := alter(t, s.Store, query); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Export(t.Context(), s.board.ID, &out); !errors.Is(err, ErrChanged) {
		t.Errorf("a changed run: %v", err)
	}
}

// Nothing in an archive tells when it was written, where or by whom, and the
// takes come by name.
func TestArchiveIsInOrder(t *testing.T) {
	s := sit(t)
	r := s.run()
	for n := range 6 {
		tk := take()
		tk.Samples[0][0] = float64(n+1) / 16
		ref, err := s.SaveTake(tk, "tone", 1)
		if err != nil {
			t.Fatal(err)
		}
		r.Takes = append(r.Takes, ref)
	}
	if _, err := s.SaveRun(t.Context(), r); err != nil {
		t.Fatal(err)
	}
	archive := export(t, s.Store, s.board.ID)
	for i, e := range unpack(t, archive) {
		h := e.head
		if h.ModTime.Unix() != 0 || h.Uid != 0 || h.Gid != 0 || h.Uname != "" || h.Gname != "" || h.Mode != 0o644 {
			t.Errorf("entry %d says %+v", i, h)
		}
	}
	if got := importInto(t, newStore(t), archive); got.Takes != 7 {
		t.Errorf("imported %+v", got)
	}
}
