package analysis

import (
	"math"
	"math/cmplx"
)

// humHeard is how many times the noise, in power, must be seen of a line in the
// silences beside a tone: noise alone does that in one of a hundred.
const humHeard = 3.5

// heldTone of a tone, in the silences beside it, is the tone itself and no hum: a
// recording of a tone that goes on there.
const heldTone = 0.1

// humAt is what lines of the mains, and any others, have in the amplitude of each
// harmonic of channel j, as a standard uncertainty: what the comb left, or what is
// there in the silences beside the tone, past the comb's end too. Its phase against
// the harmonic is not known.
func (t *toneParts) humAt(rec *Recording, fit *ToneFit, j int) []float64 {
	std := make([]float64, len(fit.Channels[j].Amplitude))
	quiet := t.silences(rec, j)
	if lineIn(quiet, rec.RateHz, fit.FrequencyHz.Value) > heldTone*fit.Channels[j].Amplitude[0] {
		quiet = nil
	}
	for k := range std {
		hz := float64(k+1) * fit.FrequencyHz.Value
		left := t.hum[j].beside(hz, float64(len(t.quiet[j]))/t.rateHz)
		std[k] = math.Max(left, lineIn(quiet, rec.RateHz, hz)/math.Sqrt2)
	}
	return std
}

// silentPart is a silence and its one-sided density, units²/Hz.
type silentPart struct{ x, density []float64 }

// silences are the quiet parts beside a tone, without the hum that was taken off it.
func (t *toneParts) silences(rec *Recording, j int) []silentPart {
	i := t.names[j]
	var all []silentPart
	for _, span := range rec.quiet() {
		if span.Start < 0 || span.End > len(rec.Samples[i]) || span.Len() < int(toneSettleS*rec.RateHz) {
			continue
		}
		span.End = span.Start + quickLength(span.Len())
		x := append([]float64(nil), rec.Samples[i][span.Start:span.End]...)
		t.hum[j].addTo(x, span.Start, -1)
		all = append(all, silentPart{x, residualDensity(x, rec.RateHz)})
	}
	return all
}

// lineIn is the amplitude of a line at hz in parts, each of which has it at a phase of
// its own; 0 where it does not stand out of the noise beside it.
func lineIn(parts []silentPart, rateHz, hz float64) float64 {
	power, over := 0.0, 0.0
	for _, p := range parts {
		x := p.x
		window := periodicHann(len(x))
		var sum complex128
		weight, square := 0.0, 0.0
		osc := newOscillator(2*math.Pi*hz/rateHz, 0)
		for i, h := range window {
			sum += complex(h*x[i]*osc.cos, -h*x[i]*osc.sin)
			weight, square = weight+h, square+h*h
			osc.next(i)
		}
		at := int(math.Round(hz * float64(len(x)) / rateHz))
		a2 := sq(2 * cmplx.Abs(sum) / weight)
		noise := 2 * medianDensity(p.density, at) * rateHz * square / sq(weight)
		power += a2 / float64(len(parts))
		if noise > 0 {
			over += a2 / noise / float64(len(parts))
		}
	}
	if over < humHeard {
		return 0
	}
	return math.Sqrt(power)
}
