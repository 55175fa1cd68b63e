package analysis

import (
	"fmt"
	"math"
	"slices"
)

// Tone is a line above the noise that is not on the mains comb.
type Tone struct {
	FrequencyHz Estimate
	RMS         Estimate // volts
	// Family says in a few words what such a line commonly is, or nothing.
	Family string
}

const (
	// toneOdds is the chance that a record of noise alone shows a tone.
	toneOdds = 0.005
	// MostTones is how many tones are reported, the strongest.
	MostTones = 20
)

// tonePeak is a bin of a spectrum that stands out.
type tonePeak struct {
	hz, power float64 // power over noise
	noise     float64 // V²/Hz beneath it
}

// takeTones finds lines in x that are not on the comb, strongest first, and
// takes them off x.
func takeTones(x []float64, rateHz float64, mains *mainsLines) []Tone {
	psd, binHz := periodogram(x, rateHz)
	floor := newSpectrumFloor(psd, binHz, 1, math.Max(4, 60*binHz), math.Max(100, 60*binHz))
	peaks := tonePeaks(psd, binHz, floor, math.Min(NoiseHighHz, 0.45*rateHz))
	var tones []Tone
	for _, p := range distinctPeaks(peaks, binHz) {
		if mains.explains(p) {
			continue
		}
		// A peak that no steady sine fits is a burst or the edge of one.
		switch t := fitTone(x, rateHz, p); {
		case mains.interharmonic(p):
			mains.beside = append(mains.beside, t)
		case t.RMS.Value > combLevel*t.RMS.Std && len(tones) < MostTones:
			tones = append(tones, t)
		}
	}
	return tones
}

// tonePeaks returns the local maxima over the threshold that exponential
// noise passes by chance in one record in 1/toneOdds, all bins together. The
// floor is itself an estimate, so the variate is F-like:
// P(power > y) = (1+y/m)^−m for a floor worth m variates.
func tonePeaks(psd []float64, binHz float64, floor spectrumFloor, topHz float64) []tonePeak {
	lo, hi := max(2, int(NoiseLowHz/binHz)), min(int(topHz/binHz), len(psd)-2)
	bins := float64(max(hi-lo, 1))
	var peaks []tonePeak
	for k := lo; k <= hi; k++ {
		if psd[k] < psd[k-1] || psd[k] < psd[k+1] {
			continue
		}
		hz := float64(k) * binHz
		m, noise := floor.freedomAt(hz), floor.at(hz)
		if power := psd[k] / noise; power > m*(math.Pow(bins/toneOdds, 1/m)-1) {
			peaks = append(peaks, tonePeak{hz + binHz*hannOffset(psd[k-1], psd[k], psd[k+1]), power, noise})
		}
	}
	return peaks
}

// hannOffset is where between bins a tone under a Hann window is, from the
// ratio of the two strongest bins: ±(2r−1)/(r+1) with r their amplitude ratio.
func hannOffset(below, at, above float64) float64 {
	if above >= below {
		r := math.Sqrt(above / at)
		return (2*r - 1) / (r + 1)
	}
	r := math.Sqrt(below / at)
	return -(2*r - 1) / (r + 1)
}

// distinctPeaks sorts peaks by power and drops those that the skirt of a
// stronger one explains: the Hann window's own, sinc(d)/(1−d²) with d in
// bins, and half as far down again for a line that is not quite steady.
func distinctPeaks(peaks []tonePeak, binHz float64) []tonePeak {
	slices.SortFunc(peaks, func(a, b tonePeak) int {
		if a.power*a.noise > b.power*b.noise {
			return -1
		}
		return 1
	})
	var kept []tonePeak
	for _, p := range peaks {
		hidden := slices.ContainsFunc(kept, func(s tonePeak) bool {
			d := math.Abs(p.hz-s.hz) / binHz
			skirt := 1 / (math.Pi * d * (d*d - 1))
			return p.power*p.noise < 4*s.power*s.noise*skirt*skirt
		})
		if !hidden {
			kept = append(kept, p)
		}
		if len(kept) == 4*MostTones {
			break
		}
	}
	return kept
}

// fitTone fits one sine to x by least squares in frequency, amplitude and
// phase, starting from p, and takes it off x.
func fitTone(x []float64, rateHz float64, p tonePeak) Tone {
	n := float64(len(x))
	omega := 2 * math.Pi * p.hz / rateHz
	var amp complex128
	for range 2 {
		sum, moment := toneSums(x, omega)
		amp = sum * complex(2/n, 0)
		// moment ≈ amp/2·j·dω·Στ² for an error dω of the frequency.
		step := 2 * (imag(moment)*real(amp) - real(moment)*imag(amp)) / (sqAbs(amp) * n * (n*n - 1) / 12)
		// More than a bin away it would be another tone.
		if math.Abs(step) < 2*math.Pi/n {
			omega += step
		}
	}
	sum, _ := toneSums(x, omega)
	amp = sum * complex(2/n, 0)
	osc := newOscillator(omega, -float64(len(x)-1)/2)
	for i := range x {
		x[i] -= real(amp)*osc.cos - imag(amp)*osc.sin
		osc.next(i)
	}
	std := math.Sqrt(p.noise * rateHz / (2 * n))
	rms := math.Sqrt(math.Max(sqAbs(amp)/2-std*std, 0))
	// Rife & Boorstyn (1974), with the amplitude's own uncertainty in it.
	stdHz := math.Sqrt(12) * std / rms / (2 * math.Pi * n / rateHz)
	return Tone{FrequencyHz: Estimate{omega * rateHz / (2 * math.Pi), stdHz}, RMS: Estimate{rms, std}}
}

// toneSums returns Σ x·e^(−jωτ) and Σ x·τ·e^(−jωτ), τ from the middle of x.
func toneSums(x []float64, omega float64) (sum, moment complex128) {
	centre := float64(len(x)-1) / 2
	osc := newOscillator(omega, -centre)
	var re, im, mre, mim float64
	for i, v := range x {
		a, b, t := v*osc.cos, -v*osc.sin, float64(i)-centre
		re, im, mre, mim = re+a, im+b, mre+t*a, mim+t*b
		osc.next(i)
	}
	return complex(re, im), complex(mre, mim)
}

// nameFamilies says what the tones commonly are (common practice, no source).
func nameFamilies(tones []Tone, mains *mainsLines, lengthS float64) {
	for i := range tones {
		tones[i].Family = family(tones[:i], tones[i].FrequencyHz.Value, mains, lengthS)
	}
}

// family names the tone at hz, given the stronger ones.
func family(stronger []Tone, hz float64, mains *mainsLines, lengthS float64) string {
	near := func(target float64) bool { return math.Abs(hz-target) < 2/lengthS+1e-4*target }
	switch {
	case hz > 7900 && near(8000*math.Round(hz/8000)):
		return "8 kHz family, like USB microframes"
	case hz > 900 && near(1000*math.Round(hz/1000)):
		return "1 kHz family, like USB frames"
	}
	for _, s := range stronger {
		if name := relation(s.FrequencyHz.Value, hz, mains, lengthS); name != "" {
			return name
		}
	}
	switch {
	case near(15625) || near(15734.3):
		return "line rate of a picture tube"
	case hz > 2000:
		return "like the whine of a switching converter"
	}
	return ""
}

// relation says how the tone at hz hangs together with a stronger one.
func relation(strongHz, hz float64, mains *mainsLines, lengthS float64) string {
	tight := 2 / lengthS
	if n := math.Round(hz / strongHz); n >= 2 && n <= 10 && math.Abs(hz-n*strongHz) < tight+1e-5*hz {
		return fmt.Sprintf("harmonic %.0f of %.1f Hz", n, strongHz)
	}
	if mains.found() {
		beat := math.Abs(hz - strongHz)
		if n := math.Round(beat / mains.comb.FrequencyHz.Value); n >= 1 && n <= 4 && math.Abs(beat-n*mains.comb.FrequencyHz.Value) < tight {
			return fmt.Sprintf("mains sideband of %.1f Hz", strongHz)
		}
	}
	return ""
}
