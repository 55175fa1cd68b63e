package procedure

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/testsignals"
)

// banged is an instrument on a bench that somebody bangs on: in the midst of
// the takes of a kind, counted from 1, that are listed.
type banged struct {
	capture.Instrument
	kind  testsignals.Kind
	takes []int
	count int
}

func (b *banged) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	take, err := b.Instrument.Record(ctx, req)
	if err != nil || req.Signal.Kind != b.kind || req.Signal.Body.Len() < req.Signal.RateHz {
		return take, err
	}
	b.count++
	if !slices.Contains(b.takes, b.count) {
		return take, nil
	}
	rng := rand.New(rand.NewPCG(uint64(b.count), 5))
	at := req.Signal.Body.Start + req.Signal.Body.Len()/2
	for _, x := range take.Samples {
		for i := range take.RateHz / 10 {
			x[at+i] += 0.003 * rng.NormFloat64() * math.Exp(-30*float64(i)/float64(take.RateHz))
		}
	}
	return take, nil
}

func repeatedPlan(kind testsignals.Kind, repeats int) verdict.Plan {
	step := verdict.Step{Name: "path", Patch: string(capture.ToBoard), Signals: []testsignals.Kind{kind}, LevelDBu: -12, DurationS: 1, Repeats: repeats}
	return verdict.Plan{Rule: verdict.Guarded, Steps: []verdict.Step{step}}
}

func acceptOnce(t *testing.T, s *Sitting, plan verdict.Plan) (*Accepted, *ear) {
	t.Helper()
	ear := newEar("")
	s.Person = ear
	got, err := s.Accept(context.Background(), plan)
	if err != nil || len(got.Refused) > 0 {
		t.Fatalf("%v, refused %v", err, got.Refused)
	}
	return got, ear
}

func readingOf(t *testing.T, got *Accepted, quantity, output string) analysis.Reading {
	t.Helper()
	for _, j := range got.Readings {
		if j.Quantity == quantity && j.Output == output {
			return j.Reading
		}
	}
	t.Fatalf("there is no %s of output %s", quantity, output)
	return analysis.Reading{}
}

func stdA(r analysis.Reading) float64 {
	var a analysis.Budget
	for _, c := range r.Budget {
		if c.Kind == "A" {
			a = append(a, c)
		}
	}
	return a.Std()
}

// goodProfile is that of the good bench: calibrating takes seconds.
var goodProfile *calibration.Profile

// goodBench is calibrated, and has noise of its own.
func goodBench(t *testing.T) (*Sitting, *simboard.Simboard) {
	t.Helper()
	cfg, err := simboard.Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	if goodProfile == nil {
		s, _ := bench(t, cfg)
		goodProfile = s.Profile
	}
	cfg.Seed += 1000
	s, sim := uncalibrated(t, cfg)
	profile := *goodProfile
	s.Profile = &profile
	return s, sim
}

// What repeating is for, through the whole of a sitting: four takes halve what
// comes of the noise, and leave the rest.
func TestRepeatsHalveTheNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("takes ten times")
	}
	cfg, err := simboard.Ready("good")
	if err != nil {
		t.Fatal(err)
	}
	s, _ := bench(t, cfg)
	for _, c := range []struct {
		kind      testsignals.Kind
		quantity  string
		tolerance float64 // of the noise, as it is itself read from a record
	}{{testsignals.Sweep, analysis.LevelMatch, 0.25}, {testsignals.Silence, analysis.Hiss, 0.05}} {
		one, _ := acceptOnce(t, s, repeatedPlan(c.kind, 0))
		four, ear := acceptOnce(t, s, repeatedPlan(c.kind, 4))
		if len(one.Takes) != 1 || len(four.Takes) != 4 || ear.heard("left out") {
			t.Fatalf("%s: %d and %d takes, said %q", c.kind, len(one.Takes), len(four.Takes), ear.said())
		}
		a, b := readingOf(t, one, c.quantity, "B"), readingOf(t, four, c.quantity, "B")
		if r := 2 * stdA(b) / stdA(a); math.Abs(r-1) > c.tolerance {
			t.Errorf("%s: type A of %s is %.3f of a half of that of one", c.kind, c.quantity, r)
		}
		all := func(r analysis.Reading) float64 { return math.Sqrt(math.Pow(r.Budget.Std(), 2) - math.Pow(stdA(r), 2)) }
		if r := all(b) / all(a); math.Abs(r-1) > 0.01 {
			t.Errorf("%s: type B of %s is %.4f of that of one", c.kind, c.quantity, r)
		}
	}
}

func TestBangIsLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	s, _ := goodBench(t)
	sim := s.Instrument
	for kind, quantity := range map[testsignals.Kind]string{
		testsignals.Sweep: analysis.Gain, testsignals.Tone: analysis.THDN, testsignals.Silence: analysis.Noise,
	} {
		s.Instrument = sim
		clean, _ := acceptOnce(t, s, repeatedPlan(kind, 1))
		s.Instrument = &banged{Instrument: sim, kind: kind, takes: []int{2}}
		got, ear := acceptOnce(t, s, repeatedPlan(kind, 3))
		if len(got.Takes) != 3 || got.Takes[1].LeftOut == "" || got.Takes[0].LeftOut+got.Takes[2].LeftOut != "" {
			t.Fatalf("%s: want take 2 of 3 left out, said %q", kind, ear.said())
		}
		if !ear.heard(string(kind) + " 2 of 3 is left out: ") {
			t.Errorf("%s: the operator was told %q", kind, ear.said())
		}
		a, b := readingOf(t, clean, quantity, "A"), readingOf(t, got, quantity, "A")
		if off := math.Abs(a.Value - b.Value); off > 3*analysis.Hypot(stdA(a), stdA(b)) {
			t.Errorf("%s: %s is %g with the bang left out, %g without one", kind, quantity, b.Value, a.Value)
		}
	}
}

func TestBangAmongTwoIsTakenAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	s, _ := goodBench(t)
	s.Instrument = &banged{Instrument: s.Instrument, kind: testsignals.Silence, takes: []int{1}}
	got, ear := acceptOnce(t, s, repeatedPlan(testsignals.Silence, 2))
	if len(got.Takes) != 3 || got.Takes[0].LeftOut == "" || got.Takes[1].LeftOut+got.Takes[2].LeftOut != "" {
		t.Errorf("%d takes, the first left out %q; want it taken again", len(got.Takes), got.Takes[0].LeftOut)
	}
	if !ear.heard("silence 1 of 2 is left out: the hiss") || !ear.heard("taking it again") {
		t.Errorf("the operator was told %q", ear.said())
	}
}

// The sitting's own figure goes before the plan's, but joints are flexed once.
func TestRepeatsOfASitting(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board")
	}
	flex := repeatedPlan(testsignals.Tone, 0).Steps[0]
	none := 0.0
	flex.Limits = []verdict.PlanLimit{{Quantity: analysis.DropOuts, Max: &none}}
	for _, c := range []struct {
		sitting int
		step    verdict.Step
		want    int
	}{
		{0, verdict.Step{}, 1}, {0, verdict.Step{Repeats: 5}, 5}, {3, verdict.Step{Repeats: 5}, 3}, {3, verdict.Step{}, 3}, {3, flex, 1},
	} {
		s := &Sitting{Repeats: c.sitting}
		if got := s.repeats(c.step); got != c.want {
			t.Errorf("sitting %d, plan %d: %d takes, want %d", c.sitting, c.step.Repeats, got, c.want)
		}
	}
}
