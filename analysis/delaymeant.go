package analysis

import (
	"math"
	"math/cmplx"

	"boardproof/testsignals"
)

// Where outputs differ by more than a delay, what their delay is hangs on how it is
// meant: by which weights a straight phase is fitted, through 0 Hz or not, at 1 kHz
// alone, by the peak of a pulse or by its rise. The reading is the first of these;
// how far the others lie from it is in its uncertainty.

// straightened is a response on the fine grid from 100 Hz to 10 kHz with the
// straight phase taken out that was fitted to it: what is left is what the
// definitions differ by.
type straightened struct {
	f     []float64
	z     []complex128
	phase []float64
	// stepHz is how much of the band a point stands for, std the standard uncertainty
	// of its phase, cell how many points hold the same noise.
	stepHz, std, cell []float64
}

func (g *Gated) straightened(line straightPhase) straightened {
	var s straightened
	n := len(g.FrequencyHz)
	for i, f := range g.FrequencyHz {
		if f < delayLowHz || f > delayHighHz || i == 0 || i == n-1 || g.H[i] == 0 {
			continue
		}
		z := scale(float64(line.polarity), g.H[i]*cis(2*math.Pi*f*line.delayS))
		step := (g.FrequencyHz[i+1] - g.FrequencyHz[i-1]) / 2
		w, _ := gateFor(f)
		s.f, s.z, s.phase = append(s.f, f), append(s.z, z), append(s.phase, cmplx.Phase(z))
		s.stepHz = append(s.stepHz, step)
		s.std = append(s.std, g.noiseRelStd(i))
		s.cell = append(s.cell, math.Max(1, 1/(step*w.length())))
	}
	unwrap(s.phase)
	if at := NearestIndex(s.f, gridReferenceHz); at >= 0 {
		turns := 2 * math.Pi * math.Round(s.phase[at]/(2*math.Pi))
		for i := range s.phase {
			s.phase[i] -= turns
		}
	}
	return s
}

// slope is the delay in seconds by which a straight line fits the phase best, with
// weights by frequency; free has it pass 0 Hz anywhere.
func (s straightened) slope(weight func(f float64) float64, free bool) Estimate {
	var sum, mean, meanPhase float64
	w := make([]float64, len(s.f))
	for i, f := range s.f {
		w[i] = weight(f) * s.stepHz[i]
		sum += w[i]
		mean += w[i] * f
		meanPhase += w[i] * s.phase[i]
	}
	if !free {
		mean, meanPhase = 0, 0
	} else {
		mean, meanPhase = mean/sum, meanPhase/sum
	}
	num, den, noise := 0.0, 0.0, 0.0
	for i, f := range s.f {
		num += w[i] * (f - mean) * (s.phase[i] - meanPhase)
		den += w[i] * sq(f-mean)
		noise += sq(w[i]*(f-mean)*s.std[i]) * s.cell[i]
	}
	if den == 0 {
		return Estimate{}
	}
	return Estimate{-num / den / (2 * math.Pi), math.Sqrt(noise) / den / (2 * math.Pi)}
}

const (
	// pulseSpanS each way is where a pulse is looked at, pulseSteps how many steps there
	// are to the period of its highest frequency.
	pulseSpanS = 8e-3
	pulseSteps = 4
	// pulseStride is how many points of the fine grid are one step of a pulse's: it may
	// be longer than a gate before it is folded upon itself.
	pulseStride = 4
)

// pulse is the answer to a pulse of all that was measured, with edges of an octave:
// of a ratio, the first output's against the reference's, each as it passes the
// band. A response of 1 gives a peak of 1.
type pulse struct {
	x     []float64
	stepS float64
}

// pulseOf is the pulse of g on the fine grid with the straight phase taken out; even
// gives that of a response that has no phase at all.
func (g *Gated) pulseOf(line straightPhase, even bool) pulse {
	n := len(g.FrequencyHz)
	low, high := g.FrequencyHz[0], g.FrequencyHz[n-1]
	p := pulse{stepS: 1 / (pulseSteps * high)}
	p.x = make([]float64, 2*int(pulseSpanS/p.stepS)+1)
	sum := 0.0
	for i := pulseStride; i < n-pulseStride; i += pulseStride {
		f := g.FrequencyHz[i]
		w := (g.FrequencyHz[i+pulseStride] - g.FrequencyHz[i-pulseStride]) / 2 * testsignals.RaisedCosine(math.Log2(f/low)) * testsignals.RaisedCosine(math.Log2(high/f))
		if g.reference != nil {
			w *= g.reference[i]
		}
		z := scale(float64(line.polarity), g.H[i]*cis(2*math.Pi*f*line.delayS))
		if even {
			z = complex(cmplx.Abs(z), 0)
		}
		sum += w * cmplx.Abs(z)
		z, step := scale(w, z*cis(-2*math.Pi*f*pulseSpanS)), cis(2*math.Pi*f*p.stepS)
		for k := range p.x {
			p.x[k] += real(z)
			z *= step
		}
	}
	for k := range p.x {
		p.x[k] /= sum
	}
	return p
}

// peakOf is where |x| is largest, and rise where, on the way there, it passes half
// of that for the first time after it was last below, both in samples.
func peakOf(x []float64) (peak, rise float64, at int) {
	for k, v := range x {
		if math.Abs(v) > math.Abs(x[at]) {
			at = k
		}
	}
	peak = float64(at)
	if at > 0 && at < len(x)-1 {
		a, b, c := math.Abs(x[at-1]), math.Abs(x[at]), math.Abs(x[at+1])
		if bend := a - 2*b + c; bend < 0 {
			peak += (a - c) / (2 * bend)
		}
	}
	k := at
	half := math.Abs(x[at]) / 2
	for k > 0 && math.Abs(x[k]) > half {
		k--
	}
	rise = float64(k) + (half-math.Abs(x[k]))/(math.Abs(x[k+1])-math.Abs(x[k]))
	return peak, rise, at
}

// meant lists the delays of s by every definition but that of the reading. answer is
// its pulse, even that without any phase.
func (s straightened) meant(answer, even pulse) []Estimate {
	one := func(float64) float64 { return 1 }
	byLog := func(f float64) float64 { return 1 / f }
	near := func(octaves float64) func(f float64) float64 {
		return func(f float64) float64 {
			if math.Abs(math.Log2(f/gridReferenceHz)) > octaves {
				return 0
			}
			return 1
		}
	}
	all := []Estimate{
		s.slope(one, false), s.slope(func(f float64) float64 { return 1 / (f * f) }, false),
		s.slope(one, true), s.slope(byLog, true), s.slope(near(1.0/3), true), s.slope(near(1.0/24), true), s.slope(near(1.0/24), false),
	}
	peak, rise, _ := peakOf(answer.x)
	evenPeak, evenRise, _ := peakOf(even.x)
	// A pulse weighs all of the band alike.
	for _, d := range []float64{peak - evenPeak, rise - evenRise} {
		all = append(all, Estimate{d * answer.stepS, all[0].Std})
	}
	return all
}

// otherSign is by how much a straight phase of the other polarity is later or
// earlier, in seconds.
func (s straightened) otherSign() float64 {
	turned := s
	turned.phase = make([]float64, len(s.phase))
	least := math.Inf(1)
	for _, half := range []float64{math.Pi, -math.Pi} {
		for i, p := range s.phase {
			turned.phase[i] = p + half
		}
		least = math.Min(least, math.Abs(turned.slope(func(f float64) float64 { return 1 / f }, false).Value))
	}
	return least
}

// definitionStd is the standard uncertainty of an even spread whose expanded
// uncertainty reaches as far as the definitions of a delay lie from the reading,
// beyond what noise explains.
func definitionStd(meant []Estimate) float64 {
	most := 0.0
	for _, m := range meant {
		most = math.Max(most, math.Abs(m.Value)-CoverageK*m.Std)
	}
	return most / coverageFactor(1)
}

// meaning is what the definitions of delay and of polarity make of a response.
type meaning struct {
	// delayStdS is the standard uncertainty, evenly spread, of a delay for what is
	// meant by it, in seconds.
	delayStdS float64
	// sign is the polarity, or notDefined why there is none.
	sign       int
	notDefined string
}

// meaning reads g, which has a fine grid or is taken as it is.
func (g *Gated) meaning(line straightPhase) meaning {
	if g.fine == nil {
		return meaning{sign: line.polarity}
	}
	s := g.fine.straightened(line)
	answer := g.fine.pulseOf(line, false)
	m := meaning{delayStdS: definitionStd(s.meant(answer, g.fine.pulseOf(line, true)))}
	m.sign, m.notDefined = agreed(s.polarities(line.polarity, answer.x))
	if m.notDefined != "" {
		m.delayStdS = math.Max(m.delayStdS, s.otherSign()/coverageFactor(1))
	}
	return m
}

// polarity gives the polarity as a reading, or refuses it.
func (m meaning) polarity(quantity, output, reference string) (res Result) {
	if m.notDefined != "" {
		res.refuse(output, reference, m.notDefined, quantity)
		return res
	}
	r := reading(quantity, output, float64(m.sign), nil)
	r.Reference = reference
	res.Readings = append(res.Readings, r)
	return res
}
