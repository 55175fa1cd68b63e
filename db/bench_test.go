package db

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture"
)

func bench(name string) Bench {
	return Bench{Name: name, Kind: "simboard", Device: "good", Host: "none", RateHz: 48000, Output: 1, Inputs: map[string]int{"A": 1, "B": 2}}
}

func TestBenchIsKeptAndReplaced(t *testing.T) {
	s := newStore(t)
	for _, b := range []Bench{bench("Window"), bench("Cellar")} {
		if err := s.SetBench(t.Context(), b); err != nil {
			t.Fatal(err)
		}
	}
	changed := Bench{Name: "WINDOW", Kind: "soundcard", Device: "two in", Host: "jack", RateHz: 96000, Output: 2, Inputs: map[string]int{"left": 3}, MainsHz: 60}
	if err := s.SetBench(t.Context(), changed); err != nil {
		t.Fatal(err)
	}
	got, err := s.Bench(t.Context(), "window")
	if diff := cmp.Diff(changed, got); err != nil || diff != "" {
		t.Errorf("bench: %v\n%s", err, diff)
	}
	all, err := s.Benches(t.Context())
	if diff := cmp.Diff([]Bench{bench("Cellar"), changed}, all); err != nil || diff != "" {
		t.Errorf("list: %v\n%s", err, diff)
	}
	if _, err := s.Bench(t.Context(), "windw"); !errors.Is(err, ErrNotFound) || err.Error() != `bench "windw" is not in the store: did you mean "WINDOW"` {
		t.Errorf("a slip: %v", err)
	}
}

func TestSetBenchRefuses(t *testing.T) {
	s := newStore(t)
	for want, change := range map[string]func(*Bench){
		"it has no name":                                  func(b *Bench) { b.Name = " " },
		"it has no kind":                                  func(b *Bench) { b.Kind = "" },
		"rate 0 Hz and output channel 1":                  func(b *Bench) { b.RateHz = 0 },
		"output channel 0":                                func(b *Bench) { b.Output = 0 },
		"it has no inputs":                                func(b *Bench) { b.Inputs = nil },
		"mains of 55 Hz is neither":                       func(b *Bench) { b.MainsHz = 55 },
		"channels count from 1":                           func(b *Bench) { b.Inputs["A"] = 0 },
		`input channel 2 is given to outputs "A" and "B"`: func(b *Bench) { b.Inputs["A"] = 2 },
	} {
		b := bench("Window")
		change(&b)
		if err := s.SetBench(t.Context(), b); !errors.Is(err, ErrInvalid) || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %q", err, want)
		}
	}
	if n := count(t, s, "benches"); n != 0 {
		t.Errorf("%d benches were kept", n)
	}
}

func profile(bench string) calibration.Profile {
	warm := 21.5
	return calibration.Profile{
		Bench: bench, Created: noon, ValidUntil: noon.AddDate(0, 1, 0), TemperatureC: &warm, Simulated: true, Method: "1", Output: 1,
		Instrument:         capture.Description{Kind: "simboard", Device: "good", RateHz: 48000, Inputs: 2, Outputs: 2, Simulated: true},
		OutputFullScaleDBu: analysis.Estimate{Value: 4.013, Std: 0.021},
		Inputs: []calibration.Input{{
			Channel:      1,
			FullScaleDBu: analysis.Estimate{Value: 12.2, Std: 1.0 / 3},
			Loopback:     analysis.Transfer{FrequencyHz: []float64{10, 20}, Re: []float64{1, 0.9}, Im: []float64{0, -0.1}, RelStd: []float64{1e-5, 1e-6}},
			Floor:        analysis.Floor{Noise: map[string]analysis.Estimate{"A": {Value: 1e-6, Std: 1e-8}}},
		}},
	}
}

func TestProfileComesBack(t *testing.T) {
	s := newStore(t)
	var kept []calibration.Profile
	for i, b := range []string{"Window", "window", "Cellar"} {
		p := profile(b)
		p.Created = noon.Add(time.Duration(i) * time.Hour)
		k, err := s.SaveProfile(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		p.ID = k.ID
		if diff := cmp.Diff(p, k); diff != "" {
			t.Errorf("as kept (-want +got):\n%s", diff)
		}
		kept = append(kept, k)
	}
	if kept[0].ID != "p20261125-0001" || kept[2].ID != "p20261125-0003" {
		t.Errorf("ids %s, %s", kept[0].ID, kept[2].ID)
	}
	got, err := s.Profile(t.Context(), "P20261125-0001")
	if diff := cmp.Diff(kept[0], got); err != nil || diff != "" {
		t.Errorf("by id: %v\n%s", err, diff)
	}
	latest, err := s.LatestProfile(t.Context(), "WINDOW")
	if diff := cmp.Diff(kept[1], latest); err != nil || diff != "" {
		t.Errorf("latest: %v\n%s", err, diff)
	}
	all, err := s.Profiles(t.Context(), "window")
	if diff := cmp.Diff([]calibration.Profile{kept[1], kept[0]}, all); err != nil || diff != "" {
		t.Errorf("list: %v\n%s", err, diff)
	}
	if _, err := s.LatestProfile(t.Context(), "attic"); !errors.Is(err, ErrNotFound) || err.Error() != `profile "of bench attic" is not in the store` {
		t.Errorf("a bench without a profile: %v", err)
	}
	bad := profile("Window")
	bad.OutputFullScaleDBu.Value = math.NaN()
	if _, err := s.SaveProfile(t.Context(), bad); !errors.Is(err, ErrInvalid) {
		t.Errorf("a profile of no figures: %v", err)
	}
	if _, err := s.SaveProfile(t.Context(), profile("")); !errors.Is(err, ErrInvalid) {
		t.Errorf("a profile of no bench: %v", err)
	}
	if n := count(t, s, "profiles"); n != 3 {
		t.Errorf("%d profiles kept, want 3", n)
	}
}

func TestPlanVersions(t *testing.T) {
	s := newStore(t)
	b := addBoard(t, s, "Night Train")
	if _, err := s.LatestPlan(t.Context(), b.ID); !errors.Is(err, ErrNotFound) {
		t.Errorf("a board without a plan: %v", err)
	}
	first := string(verdict.DefaultPlanTOML)
	second := strings.Replace(first, "max = 0.1\n", "max = 0.2\n", 1)
	for i, c := range []struct {
		text    string
		version int
	}{{first, 1}, {first, 1}, {second, 2}, {first, 3}} {
		p, err := s.SavePlan(t.Context(), b.ID, []byte(c.text))
		if err != nil || p.Version != c.version || p.Text != c.text || p.BoardID != b.ID || !p.Created.Equal(noon) {
			t.Errorf("edit %d: version %d, %v, want version %d", i+1, p.Version, err, c.version)
		}
	}
	latest, err := s.LatestPlan(t.Context(), b.ID)
	if err != nil || latest.Version != 3 || latest.Text != first {
		t.Errorf("latest is version %d, %v", latest.Version, err)
	}
	byID, err := s.Plan(t.Context(), latest.ID)
	if diff := cmp.Diff(latest, byID); err != nil || diff != "" {
		t.Errorf("by id: %v\n%s", err, diff)
	}
	for name, c := range map[string]struct {
		board int64
		text  string
		kind  error
		want  string
	}{
		"bad plan":       {b.ID, strings.Replace(first, "thd_n\"", "thdn\"", 1), ErrInvalid, `quantity "thdn" is not known`},
		"unknown output": {b.ID, strings.Replace(first, `quantity = "thd_n"`, "quantity = \"thd_n\"\noutput = \"C\"", 1), ErrInvalid, `the board has no output "C"`},
		"unknown board":  {99, first, ErrNotFound, `board "99"`},
	} {
		if _, err := s.SavePlan(t.Context(), c.board, []byte(c.text)); !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if n := count(t, s, "plans"); n != 3 {
		t.Errorf("%d versions kept, want 3", n)
	}
}
