package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Boards and converters answer after what they hear. A lossy codec rounds block by
// block of 10 to 50 ms, and what it rounds off is spread over all of a block, ahead
// of the sound too (pre-echo: Painter & Spanias, Proc. IEEE 88, 2000; from memory). Behind,
// a board may ring; ahead of the response there is nothing but the noise of the record.
//
// A weak direct way beside a board that is late comes ahead too, but at one moment, an
// unsteady gain at some frequencies: so what counts is the median over both.
const (
	// aheadFromS to aheadToS is where it is looked for, every aheadStepS: within
	// the shortest block, and clear of a resampler's own ringing.
	aheadFromS, aheadToS, aheadStepS = -0.024, -0.004, 0.002
	aheadGateS                       = 0.001
	// aheadReachHz makes edges of 1.4 ms.
	aheadReachHz = 2000.0
	aheadLowHz   = 1000.0
	// aheadOver the noise, in power, it is no chance, nor what a board that bends makes
	// of sweep and pilots: of such the median was 8 dB at most, of codecs 27 dB.
	aheadOver = 30.0
	// aheadLeast, relative to the response, is more than what a converter's clock that
	// is unsteady by 0.5 ns within 1 kHz does at 8 kHz: 2π·f·σ, of which a gate sees
	// the share that the sweep passes in it, 10 Hz in 1 kHz.
	aheadLeast = 3e-6
)

// checkAhead returns why there is no response where sound comes ahead of it.
func (r *Raw) checkAhead(g *Gated) string {
	strongest := 0.0
	for _, h := range g.H {
		strongest = math.Max(strongest, cmplx.Abs(h))
	}
	var over, level []float64
	for i := 0; i < len(g.FrequencyHz); i += momentStep {
		f, gain := g.FrequencyHz[i], cmplx.Abs(g.H[i])
		if f < aheadLowHz || f > momentHighHz || gain < strongest/10 {
			continue
		}
		ahead, noise := r.aheadOf(f)
		over = append(over, ahead/noise)
		level = append(level, math.Sqrt(ahead)/gain)
	}
	if len(over) == 0 || !(medianOf(over) > aheadOver && medianOf(level) > aheadLeast) {
		return ""
	}
	return fmt.Sprintf("lossy recording: sound comes before what makes it, %.0f dB down, which no board and no converter does; "+
		"it went through a lossy codec (as MP3, AAC, Opus, Vorbis): record and keep it as WAV or FLAC", DB(medianOf(level)))
}

// aheadOf is the power at f ahead of the response, and that of the noise far from it;
// both the median over moments.
func (r *Raw) aheadOf(f float64) (ahead, noise float64) {
	reach := math.Min(reachShare*f, aheadReachHz)
	w := gate{-aheadGateS / 2, aheadGateS / 2, quietTaper}
	edge := w.edge(reach)
	var shifts []float64
	for t := aheadFromS; t+edge < aheadToS+1.5e-3; t += aheadStepS {
		shifts = append(shifts, t)
	}
	n := len(shifts)
	shifts = append(shifts, spread(r.quietShifts(w, reach), 2*noiseGates)...)
	z := make([]complex128, len(shifts))
	r.read(z, w, f, w.weighting(r.played.binHz, f, reach), shifts)
	power := make([]float64, len(z))
	for i, v := range z {
		power[i] = sqAbs(v)
	}
	return medianOf(power[:n]), medianOf(power[n:])
}
