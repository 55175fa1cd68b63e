package coverage

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"

	"boardproof/analysis"
	"boardproof/capture/simboard"
	"boardproof/cmd/trial/internal/randombench"
)

const (
	// clockPPM is the limit that the interface's clock is stated to keep.
	clockPPM = 50.0
	// curveStdDB is how well a weighting's curve is stated to be defined.
	curveStdDB = 0.01
)

// responseHz are the frequencies at which the response is looked at.
var responseHz = []float64{40, 200, 2000, 8000, 16000}

// leastVolts stands for nothing at all, so that it has a level.
const leastVolts = 1e-12

// seen is one reading and what it should have been.
type seen struct {
	name  string
	value float64
	truth float64
	// std is the standard uncertainty, expanded the half width of the stated
	// interval.
	std, expanded float64
	// bound is true where value is only stated not to be exceeded.
	bound bool
}

// measureBoard draws a board, puts it on the bench and reads it.
func measureBoard(b *randombench.Bench, rng *rand.Rand, p plan) ([]seen, error) {
	cfg := randombench.BoardOn(rng, b.Config)
	sim, err := simboard.New(cfg)
	if err != nil {
		return nil, err
	}
	profile, err := b.Calibrate(b.DrawErrors(rng))
	if err != nil {
		return nil, err
	}
	sweep, err := randombench.ReadSweep(sim, profile, p.sweepS)
	if err != nil {
		return nil, err
	}
	quiet, span, err := randombench.ReadSilence(sim, profile, p.silenceS)
	if err != nil {
		return nil, err
	}
	// The simulation counts time by the interface's clock. One that is off
	// makes each true frequency this much larger than what was counted.
	clock := 1 + randombench.Evenly(rng, clockPPM)*1e-6
	mainsHz := clock * meanMains(sim.LastTake(), span)
	t := &boardTruth{Truth: sim.Truth(), mainsHz: mainsHz, nominalHz: cfg.Mains.StartHz, curveDB: curveStdDB * rng.NormFloat64()}
	sweep.Add(quiet)
	return t.compare(sweep), nil
}

// meanMains is the slope of the straight line that fits the mains phase best,
// which is how the mains frequency of a record is defined here.
func meanMains(t simboard.TakeTruth, span [2]float64) float64 {
	const steps = 400
	half := (span[1] - span[0]) / 2
	num, den := 0.0, 0.0
	for i := range steps {
		u := -1 + (2*float64(i)+1)/steps
		num += u * t.MainsCycles((span[0]+span[1])/2+u*half)
		den += u * u * half
	}
	return num / den
}

// boardTruth is what a perfect measurement would find.
type boardTruth struct {
	*simboard.Truth
	mainsHz float64
	// nominalHz is the mains frequency that the board's hum was made for.
	nominalHz float64
	// curveDB is by how much the weighting that is meant differs from the one
	// in use.
	curveDB float64
}

func (t *boardTruth) compare(res analysis.Result) []seen {
	var all []seen
	for _, r := range res.Readings {
		name, truth, ok := t.of(r)
		if ok {
			b := defined(r.Budget)
			expanded := r.Uncertainty
			if len(b) < len(r.Budget) {
				expanded = b.Expanded()
			}
			all = append(all, seen{name, r.Value, truth, b.Std(), expanded, r.UpperBound})
		}
	}
	for _, c := range res.Curves {
		if c.Quantity != analysis.Response {
			continue
		}
		for _, hz := range responseHz {
			i := analysis.NearestIndex(c.FrequencyHz, hz)
			truth := analysis.DB(cmplx.Abs(t.Response(c.Output, c.FrequencyHz[i])))
			all = append(all, seen{nameOfResponse(hz), c.Value[i], truth, c.Uncertainty[i] / analysis.CoverageK, c.Uncertainty[i], len(c.UpperBound) > 0 && c.UpperBound[i]})
		}
	}
	return all
}

// defined is b without what the definition of a delay leaves open: here it is known
// which one the reading follows.
func defined(b analysis.Budget) analysis.Budget {
	return slices.DeleteFunc(slices.Clone(b), func(c analysis.Contribution) bool { return c.Source == "what is meant by a delay" })
}

// of returns the truth of a reading, ok only for those that are looked at.
func (t *boardTruth) of(r analysis.Reading) (name string, truth float64, ok bool) {
	switch {
	case r.Quantity == analysis.Gain:
		return "gain", t.GainDB(r.Output), true
	case r.Quantity == analysis.LevelMatch:
		return "level match", t.LevelMatchDB(r.Output, r.Reference, 1000), true
	case r.Quantity == analysis.DelayMatch:
		return "delay match", 1e6 * t.delayMatchS(r.Output, r.Reference), true
	case r.Quantity == analysis.MainsFrequency:
		return "mains frequency", t.mainsHz, true
	case r.Quantity == analysis.Noise && r.Weighting == analysis.WeightA:
		return "noise, A-weighted", analysis.DBu(t.noiseVolts(r.Output, r.Weighting)) + t.curveDB, true
	case r.Quantity == analysis.Hiss && r.Weighting == analysis.WeightA:
		weight := func(f float64) float64 { return analysis.WeightingGain(r.Weighting, f) }
		return "hiss, A-weighted", analysis.DBu(t.NoiseVolts(r.Output, weight)) + t.curveDB, true
	case r.Quantity == analysis.Hum:
		return "hum, total", analysis.DBu(math.Max(t.HumTotalVolts(r.Output, int(analysis.NoiseHighHz/t.nominalHz)), leastVolts)), true
	case r.Quantity == analysis.HumHarmonic && r.Harmonic <= 3:
		v := t.HumVolts(r.Output, r.Harmonic)
		return nameOfHarmonic(r.Harmonic), analysis.DBu(math.Max(v, leastVolts)), true
	}
	return "", 0, false
}

// noiseVolts is all that is there in silence: hiss, hum and tones.
func (t *boardTruth) noiseVolts(output, weighting string) float64 {
	gain := func(f float64) float64 { return analysis.WeightingGain(weighting, f) }
	hiss := t.NoiseVolts(output, gain)
	power := hiss * hiss
	add := func(f, volts float64) {
		if f >= analysis.NoiseLowHz && f <= analysis.NoiseHighHz {
			power += volts * volts * gain(f) * gain(f)
		}
	}
	for n, v := range t.HumComb(output) {
		add(float64(n)*t.nominalHz, v)
	}
	for _, tone := range t.Tones(output) {
		add(tone.FrequencyHz, tone.VoltsRMS)
	}
	return math.Sqrt(power)
}

// delayMatchS is the delay as analysis defines it: the slope, through 0 Hz,
// that fits the phase from 100 Hz to 10 kHz best with weights of 1/f.
func (t *boardTruth) delayMatchS(output, reference string) float64 {
	sign := complex(float64(t.Polarity(output)*t.Polarity(reference)), 0)
	return delayOfPhase(func(f float64) float64 {
		return cmplx.Phase(sign * t.Response(output, f) / t.Response(reference, f))
	})
}

// delayOfPhase is the delay in seconds of a phase in radians against frequency.
func delayOfPhase(phase func(hz float64) float64) float64 {
	const lowHz, highHz, points = 100.0, 10000.0, 1000
	sum, den := 0.0, 0.0
	for i := range points {
		f := lowHz + (highHz-lowHz)*(float64(i)+0.5)/points
		sum += phase(f)
		den += f
	}
	return -sum / den / (2 * math.Pi)
}
