package procedure

import (
	"context"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// uncalibrated is a simulated bench.
func uncalibrated(t testing.TB, cfg simboard.Config) (*Sitting, *simboard.Simboard) {
	t.Helper()
	sim, err := simboard.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	s := &Sitting{Instrument: sim, Output: 1, Person: talk.Nobody{}, Now: time.Now}
	for i, o := range cfg.Board.Outputs {
		s.Patching = append(s.Patching, calibration.Patching{Output: o.Name, Input: i + 1})
	}
	return s, sim
}

// bench is a simulated bench, calibrated with a meter that is right.
func bench(t testing.TB, cfg simboard.Config) (*Sitting, *simboard.Simboard) {
	t.Helper()
	s, sim := uncalibrated(t, cfg)
	const level, toneHz = -12.0, 185.0
	in := 0.0
	for _, i := range cfg.Interface.Inputs {
		in += 1 / i.Ohms
	}
	p, err := s.Calibrate(context.Background(), CalibrationPlan{
		Bench: "test", ToneHz: toneHz, LevelDBFS: level, OutputOhms: cfg.Interface.OutputOhms, InputsOhms: 1 / in, Validity: time.Hour,
		Meter: calibration.MeterReading{PercentOfReading: 0.1},
		SimulatedMeter: func() float64 {
			fs := math.Pow(10, level/20) * cmplx.Abs(sim.Truth().SampleResponse(capture.Loopback, 1, toneHz))
			return fs * analysis.VoltsFromDBu(sim.Truth().InputFullScaleDBu(1))
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	p.ID = "test"
	s.Profile = p
	return s, sim
}

func mustTake(t testing.TB, s *Sitting, kind testsignals.Kind, levelDBFS float64) *Taken {
	t.Helper()
	spec := testsignals.New(kind, s.Instrument.Describe().RateHz, levelDBFS, 0)
	taken, err := s.Take(context.Background(), string(kind), spec, capture.ToBoard, "")
	if err != nil {
		t.Fatal(err)
	}
	return taken
}

// read gives a take to its estimator.
func read(s *Sitting, t *Taken) (analysis.Result, error) {
	rec, err := s.Recording(t)
	if err != nil {
		return analysis.Result{}, err
	}
	return readKind(rec, nil, t.Signal.Kind)
}

// score counts how often the truth lies within k = 2 and keeps the spread of
// the deviations in standard uncertainties.
type score struct {
	inside, of int
	sumSq      float64
	worst      float64
}

func (s *score) add(value, truth, expanded float64) {
	s.of++
	z := (value - truth) / (expanded / 2)
	if math.Abs(z) <= 2 {
		s.inside++
	}
	s.sumSq += z * z
	s.worst = math.Max(s.worst, math.Abs(z))
}

// boards is how many random boards are measured: a few in the tests, more with
// 'make truth'.
func boards(t *testing.T) int {
	if n := os.Getenv("TRUTH_BOARDS"); n != "" {
		count, err := strconv.Atoi(n)
		if err != nil || count < 1 {
			t.Fatalf("TRUTH_BOARDS=%s is not a number of boards", n)
		}
		return count
	}
	return 2
}

type scores map[string]*score

func (s scores) at(name string) *score {
	if s[name] == nil {
		s[name] = &score{}
	}
	return s[name]
}

// Random simulated boards, of which the truth is known, measured through a
// whole calibration: the truth must lie in the stated interval about as often
// as it says. The deviations of a few boards are not independent, so a
// quantity fails when one lies five standard uncertainties off or, of ten or
// more, their spread is over 1.5 of the stated.
func TestReadingsHoldTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("calibrates and measures several boards")
	}
	all := scores{}
	for i := range boards(t) {
		s, sim := bench(t, simboard.Random(rand.New(rand.NewPCG(uint64(i), 77))))
		res, err := read(s, mustTake(t, s, testsignals.Sweep, -24))
		if err != nil {
			t.Fatal(err)
		}
		quiet, err := read(s, mustTake(t, s, testsignals.Silence, -24))
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range append(res.Readings, quiet.Readings...) {
			all.reading(r, sim)
		}
		for _, c := range res.Curves {
			all.curve(c, sim.Truth())
		}
	}
	for name, s := range all {
		spread := math.Sqrt(s.sumSq / float64(s.of))
		t.Logf("%-16s inside %5d of %5d (%.1f %%), spread %.2f of the stated, worst %.1f", name, s.inside, s.of, 100*float64(s.inside)/float64(s.of), spread, s.worst)
		if s.of >= 10 && spread > 1.5 || s.worst > 5 {
			t.Errorf("%s: the truth is further off than stated: spread %.2f, worst %.1f standard uncertainties", name, spread, s.worst)
		}
	}
	if len(all) < 8 {
		t.Errorf("only %d quantities were compared", len(all))
	}
}

func (s scores) reading(r analysis.Reading, sim *simboard.Simboard) {
	truth := sim.Truth()
	if r.UpperBound || r.LowerBound {
		return
	}
	dbu := func(volts float64) { s.at(r.Quantity).add(r.Value, analysis.DBu(volts), r.Uncertainty) }
	switch r.Quantity {
	case analysis.Gain:
		s.at(r.Quantity).add(r.Value, truth.GainDB(r.Output), r.Uncertainty)
	case analysis.LevelMatch:
		s.at(r.Quantity).add(r.Value, truth.LevelMatchDB(r.Output, r.Reference, 1000), r.Uncertainty)
	case analysis.MainsFrequency:
		s.at(r.Quantity).add(r.Value, sim.LastTake().MainsMeanHz, r.Uncertainty)
	case analysis.Hiss:
		if r.Weighting != analysis.WeightA {
			return // read from the same noise
		}
		dbu(truth.NoiseVolts(r.Output, func(f float64) float64 { return analysis.WeightingGain(r.Weighting, f) }))
	case analysis.HumHarmonic:
		dbu(truth.HumVolts(r.Output, r.Harmonic))
	case analysis.Hum:
		dbu(truth.HumTotalVolts(r.Output, 400))
	}
}

func (s scores) curve(c analysis.Curve, truth *simboard.Truth) {
	for j, f := range c.FrequencyHz {
		switch c.Quantity {
		case analysis.Response:
			s.at("response").add(c.Value[j], analysis.DB(cmplx.Abs(truth.Response(c.Output, f))), c.Uncertainty[j])
		case analysis.SplitDifference:
			s.at("split difference").add(c.Value[j], truth.LevelMatchDB(c.Output, c.Reference, f), c.Uncertainty[j])
			d := truth.Response(c.Output, f) / truth.Response(c.Reference, f)
			off := math.Remainder(c.PhaseDeg[j]-cmplx.Phase(d)*180/math.Pi, 360)
			s.at("split phase").add(off, 0, c.PhaseUncertaintyDeg[j])
		}
	}
}
