package retest

import (
	"math"
	"math/rand/v2"
	"slices"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture/simboard"
	"boardproof/cmd/trial/internal/randombench"
)

// retest draws a board and measures it on b, and again, on later if it is
// calibrated anew in between.
func (p plan) retest(rng *rand.Rand, b, later *randombench.Bench, recalibrated bool) (s sittings, err error) {
	cfg := randombench.BoardOn(rng, b.Config)
	profile, err := b.Calibrate(b.DrawErrors(rng))
	if err != nil {
		return sittings{}, err
	}
	addUnseen(rng, &cfg.Interface, profile)
	before, err := p.sitting(cfg, profile)
	if err != nil {
		return sittings{}, err
	}
	if recalibrated {
		if profile, err = later.Calibrate(later.DrawErrors(rng)); err != nil {
			return sittings{}, err
		}
	}
	after, err := p.sitting(another(rng, cfg), profile)
	return sittings{Before: before, After: after}, err
}

// addUnseen gives the inputs the hum lines that their calibration could not see, as
// it states them: none, within an uncertainty. Simulated benches have but five.
func addUnseen(rng *rand.Rand, f *simboard.Interface, profile *calibration.Profile) {
	f.Inputs = slices.Clone(f.Inputs)
	for _, known := range profile.Inputs {
		in := &f.Inputs[known.Channel-1]
		in.Hum = slices.Clone(in.Hum)
		for i, floor := range known.Floor.Harmonics {
			has := func(h simboard.Harmonic) bool { return h.N == i+1 }
			if floor.Value == 0 && !slices.ContainsFunc(in.Hum, has) {
				volts := floor.Std * math.Hypot(rng.NormFloat64(), rng.NormFloat64()) / math.Sqrt2
				in.Hum = append(in.Hum, simboard.Harmonic{N: i + 1, VoltsRMS: volts, PhaseRad: 2 * math.Pi * rng.Float64()})
			}
		}
	}
}

// another sitting has other noise, and leads laid anew. The mains starts at the
// frequency it had: what hum does when the mains changes is a change.
func another(rng *rand.Rand, cfg simboard.Config) simboard.Config {
	cfg.Seed = rng.Uint64()
	cfg.Interface.Inputs = slices.Clone(cfg.Interface.Inputs)
	for i := range cfg.Interface.Inputs {
		in := &cfg.Interface.Inputs[i]
		in.Hum = slices.Clone(in.Hum)
		for h := range in.Hum {
			in.Hum[h].PhaseRad = 2 * math.Pi * rng.Float64()
		}
	}
	return cfg
}

func (p plan) sitting(cfg simboard.Config, profile *calibration.Profile) (change.Side, error) {
	sim, err := simboard.New(cfg)
	if err != nil {
		return change.Side{}, err
	}
	sweep, err := randombench.ReadSweep(sim, profile, p.sweepS)
	if err != nil {
		return change.Side{}, err
	}
	quiet, _, err := randombench.ReadSilence(sim, profile, p.silenceS)
	if err != nil {
		return change.Side{}, err
	}
	tone, err := randombench.ReadTone(sim, profile, p.toneS)
	if err != nil {
		return change.Side{}, err
	}
	var s change.Side
	for step, res := range map[string]analysis.Result{"sweep": sweep, "silence": quiet, "tone": tone} {
		for _, r := range res.Readings {
			s.Readings = append(s.Readings, verdict.Judged{Reading: r, Step: step})
		}
		for _, c := range res.Curves {
			c.Fine = nil // it holds the spectra, and nothing here asks it
			s.Curves = append(s.Curves, c)
		}
		s.Refused = append(s.Refused, res.Refused...)
	}
	return s, nil
}
