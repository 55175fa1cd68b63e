package capture

import (
	"fmt"
	"math"

	"boardproof/testsignals"
)

const (
	// coarseStep is the least step between codes that is looked at: half of
	// that of 16 bits. Under it no analogue noise hides.
	coarseStep = 1.0 / (1 << 16)
	// decorrelatedCodes is the RMS of the noise, in steps, from which rounding
	// makes noise and no harmonics: at 0.35 the mean of what is rounded is off
	// by at most 3 % of a step, exp(-2·(π·0.35)²)/π. Widrow & Kollár,
	// Quantization Noise (2008), on Gaussian dither, from memory.
	decorrelatedCodes = 0.35
)

// stepOf returns the step between the codes of x where it is a coarse one, 0
// otherwise.
func stepOf(x []float64) float64 {
	if _, _, code := extent(x); code >= coarseStep && !math.IsInf(code, 0) {
		return code
	}
	return 0
}

// checkToggles refuses a silence that stays within one step of its codes.
func (c *ChannelProof) checkToggles(silence []float64, step float64) {
	if step == 0 || len(silence) == 0 || allEqual(silence) {
		return
	}
	if lo, hi, _ := extent(silence); hi-lo < 1.5*step {
		c.fail(TooCoarse, fmt.Sprintf("too coarse: the silence only toggles the last bit, in steps of %.0f dBFS, and its noise is less than those; record with 24 bits, or with more gain", dbfs(step)))
	}
}

// checkSteps refuses tones in coarse steps without noise: rounding then makes
// harmonics that read as the board's distortion. Slow hum is no such noise, so
// the steps from frame to frame are looked at.
func (p *Proof) checkSteps(take *Take, sig *testsignals.Signal) {
	if sig.Kind != testsignals.Tone {
		return
	}
	for c, x := range take.Samples {
		ch := &p.Channels[c]
		step := stepOf(x)
		if step == 0 || ch.Problem != "" {
			continue
		}
		start := int(p.offset(c))
		clear := take.RateHz / 50
		lead := part(x, start+sig.Lead.Start+clear, start+sig.Lead.End-clear)
		if noise := rmsStep(lead) / math.Sqrt2 / step; noise < decorrelatedCodes {
			ch.fail(TooCoarse, fmt.Sprintf("too coarse: a tone in steps of %.0f dBFS without dither, whose rounding reads as distortion; record with 24 bits, or keep it with dither", dbfs(step)))
		}
	}
}
