package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// A lone line at 300 Hz is the sixth of 50 Hz as well as the fifth of 60 Hz: a board on a
// mains of 60 Hz has it in its fifth, and nothing in its sixth.
func TestLineOfTheBenchByItsFrequency(t *testing.T) {
	f := &Floor{MainsHz: 50.038, Harmonics: make([]Estimate, 40)}
	for i := range f.Harmonics {
		f.Harmonics[i] = Estimate{0, 1e-8}
	}
	f.Harmonics[5] = Estimate{3e-7, 2e-8}
	for _, c := range []struct {
		h     int
		mains float64
		want  Estimate
	}{
		{5, 60.04, Estimate{3e-7, 2e-8}}, {6, 60.04, Estimate{0, 2e-8}}, {1, 60.04, Estimate{0, 1e-8}},
		{6, 49.9, Estimate{3e-7, 2e-8}}, {5, 49.9, Estimate{0, 1e-8}}, {6, 0, Estimate{3e-7, 2e-8}}, {60, 60, Estimate{}},
	} {
		if got := f.line(c.h, c.mains); got != c.want {
			t.Errorf("harmonic %d of %g Hz: %+v, want %+v", c.h, c.mains, got, c.want)
		}
	}
	if got := (*Floor)(nil).line(1, 50); got != (Estimate{}) {
		t.Errorf("no floor: %+v", got)
	}
}

// Lines of the bench that hide in its hiss make noise that is mostly hum scatter
// as they make hum scatter: by drawing the phases (JCGM 101:2008).
func TestUnseenLinesOfTheBenchAreInNoise(t *testing.T) {
	const board, unseen, draws = 5e-6, 4e-8, 4000
	rng := rand.New(rand.NewPCG(2, 1))
	floor := &Floor{MainsHz: 50, Harmonics: []Estimate{{0, unseen}}}
	var power []float64
	s := &Silence{Mains: &Comb{Found: true, FrequencyHz: Estimate{Value: 50}}, Harmonics: []MainsHarmonic{{Harmonic: 1, RMS: Estimate{Value: board}}}}
	for range draws {
		re, im := unseen/math.Sqrt2*rng.NormFloat64(), unseen/math.Sqrt2*rng.NormFloat64()
		power = append(power, sq(board+re)+im*im)
	}
	if ratio := math.Sqrt(floor.crossVariance(s, Unweighted)) / scatterOf(power); math.Abs(ratio-1) > 0.06 {
		t.Errorf("stated over drawn uncertainty is %.3f", ratio)
	}
}

// wandering is the phase in cycles of a mains whose frequency walks by so many hertz in √s.
func wandering(hz, perRootS float64, frames int, rateHz float64, rng *rand.Rand) []float64 {
	cycles := make([]float64, frames)
	at := rng.Float64()
	for i := range cycles {
		cycles[i] = at
		at += hz / rateHz
		hz += perRootS / math.Sqrt(rateHz) * rng.NormFloat64()
	}
	return cycles
}

// The 20th of a mains of 50.01 Hz lies beside a tone of 1 kHz. What its fit in
// half a second of silence leaves of it is in the level's uncertainty.
func TestHumBesideATone(t *testing.T) {
	const rateHz, trials = 48000, 24
	sig := mustSignal(t, testsignals.New(testsignals.Tone, rateHz, -20, 1))
	rng := rand.New(rand.NewPCG(7, 1))
	var values, gains []float64
	stated, statedGain := 0.0, 0.0
	for range trials {
		rec := &Recording{Signal: sig, RateHz: rateHz, OffsetFrames: 300, Outputs: []string{"A", "B"}}
		// The board's noise is common to both outputs, so that it cancels in their match.
		common := padded(sig, 300, 3000)
		mains := wandering(50.01, math.Sqrt(mainsWander), len(common), rateHz, rng)
		addNoise(common, 1e-5, rng)
		for i, hum := range []float64{1e-3, 0} {
			x := append([]float64(nil), common...)
			addNoise(x, 1e-6, rng)
			if i == 0 {
				for k, cycles := range mains {
					x[k] += hum*math.Sin(2*math.Pi*cycles) + hum/100*math.Sin(2*math.Pi*20*cycles)
				}
			}
			rec.Samples = append(rec.Samples, x)
		}
		res, err := ToneResult(rec)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range res.Readings {
			switch {
			case r.Quantity == LevelMatch:
				values, stated = append(values, r.Value), stated+sq(r.Budget.typeAStd())/trials
			case r.Quantity == Gain && r.Output == "A":
				gains, statedGain = append(gains, r.Value), statedGain+sq(r.Budget.typeAStd())/trials
			}
		}
	}
	match, gain := math.Sqrt(stated)/scatterOf(values), math.Sqrt(statedGain)/scatterOf(gains)
	t.Logf("stated over actual: match %.2f, scatter %.2g dB; gain %.2f", match, scatterOf(values), gain)
	if match < 0.7 || match > 1.5 || gain < 0.7 || gain > 1.5 {
		t.Errorf("stated over actual uncertainty: match %.2f, gain %.2f", match, gain)
	}
}
