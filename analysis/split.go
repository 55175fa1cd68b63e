package analysis

import (
	"errors"
	"math"
)

// Split is one output over another, the reference: what differs between two
// outputs that should carry the same signal.
type Split struct {
	// Ratio is output over reference on the grid of curves.
	Ratio *Gated
	// bench is what the two inputs' profiles say of their ratio, nothing
	// without a profile.
	bench BenchInput
	// leadDelayStdS is that of each input's loopback lead.
	leadDelayStdS [2]float64
	line          straightPhase
	meant         meaning
}

// CompareOutputs divides output by reference, each with the response read from
// it. Both must come from one take. Noise that both carry alike cancels, as it
// does in the board.
func CompareOutputs(output, reference *Raw, outputResponse, referenceResponse *Gated, benchOut, benchRef BenchInput) (*Split, error) {
	ratio, err := outputResponse.ratio(referenceResponse)
	if err != nil {
		return nil, err
	}
	return newSplit(ratio, denseRatio(output, reference), benchOut, benchRef)
}

// newSplit takes the bench's own out of a ratio and of the same ratio read
// densely.
func newSplit(ratio *Gated, points []phasePoint, benchOut, benchRef BenchInput) (*Split, error) {
	var err error
	s := &Split{leadDelayStdS: [2]float64{benchOut.LeadDelayStdS, benchRef.LeadDelayStdS}}
	if benchOut.Loopback != nil && benchRef.Loopback != nil {
		if s.bench, err = benchRatio(benchOut, benchRef); err != nil {
			return nil, err
		}
		if ratio, err = ratio.over(*s.bench.Loopback); err != nil {
			return nil, err
		}
		for i := range points {
			points[i].z /= s.bench.Loopback.at(points[i].f)
		}
	}
	s.Ratio = ratio
	if s.line, err = fitDelay(points); err != nil {
		return nil, err
	}
	s.meant = ratio.meaning(s.line)
	return s, nil
}

// ratio is g over r with the noise of both: δ(g/r) = (δg − (g/r)·δr)/r.
func (g *Gated) ratio(r *Gated) (*Gated, error) {
	if err := sameGrid(g.FrequencyHz, r.FrequencyHz); err != nil {
		return nil, err
	}
	out := &Gated{FrequencyHz: g.FrequencyHz, H: make([]complex128, len(g.H)), noise: make([][]complex128, len(g.H)), long: eitherLong(g.long, r.long), pairs: g.pairWith(r)}
	if over, under := g.at, r.at; over != nil && under != nil {
		out.at = func(hz float64) complex128 { return over(hz) / under(hz) }
	}
	if g.fine != nil && r.fine != nil {
		var err error
		if out.fine, err = g.fine.ratio(r.fine); err != nil {
			return nil, err
		}
	}
	for i := range g.H {
		if r.H[i] == 0 {
			return nil, errors.New("there is no signal at the reference output")
		}
		d := g.H[i] / r.H[i]
		out.H[i] = d
		out.reference = append(out.reference, sqAbs(r.H[i]))
		if g.ripple != nil && r.ripple != nil {
			out.ripple = append(out.ripple, Hypot(g.ripple[i], r.ripple[i]))
		}
		out.disturbed = append(out.disturbed, Hypot(g.eventsRelStd(i), r.eventsRelStd(i)))
		out.noise[i] = make([]complex128, min(len(g.noise[i]), len(r.noise[i])))
		for j := range out.noise[i] {
			out.noise[i][j] = (g.noise[i][j] - d*r.noise[i][j]) / r.H[i]
		}
	}
	out.Noise = out.smoothNoise()
	out.note = g.note
	if g.at == nil {
		out.changesBetween(g, r)
	}
	if out.fine != nil {
		out.fine.changes = onGrid(out.fine.FrequencyHz, out.FrequencyHz, out.changes)
	}
	return out, nil
}

// eitherLong is where one of two responses was read through a long gate.
func eitherLong(a, b []bool) []bool {
	if a == nil || b == nil {
		return nil
	}
	out := make([]bool, len(a))
	for i := range out {
		out[i] = a[i] || b[i]
	}
	return out
}

// denseRatio reads the ratio at every independent frequency from 100 Hz to
// 10 kHz, for the delay to use all that the record holds. Weights are the
// sweep's own energy, 1/f: best for white noise. The noise of each point is read
// through two gates of its own: too few for one point, but a tone that lies
// between the points of the grid is in the sum of all.
func denseRatio(output, reference *Raw) []phasePoint {
	binHz := output.played.binHz
	step := max(1, int(math.Round(1/(shortGate.length()*binHz))))
	var points []phasePoint
	// At whole bins the weights are alike, so they are made once.
	w := shortGate.weighting(binHz, 0, reachShare*delayLowHz)
	shifts := append([]float64{0}, spread(output.quietShifts(shortGate, reachShare*delayLowHz), 2)...)
	out, ref := make([]complex128, len(shifts)), make([]complex128, len(shifts))
	for k := int(delayLowHz/binHz) + step; float64(k)*binHz < delayHighHz; k += step {
		f := float64(k) * binHz
		at := weighting{weights: w.weights, first: w.first + k}
		output.read(out, shortGate, f, at, shifts)
		reference.read(ref, shortGate, f, at, shifts)
		if out[0] == 0 || ref[0] == 0 {
			continue
		}
		noise := 0.0
		for j := 1; j < len(shifts); j++ {
			noise += sqAbs(out[j]/out[0]-ref[j]/ref[0]) / float64(len(shifts)-1)
		}
		points = append(points, phasePoint{f: f, z: out[0] / ref[0], weight: 1 / f, std: math.Sqrt(noise / 2)})
	}
	return points
}

// spread returns n of all, or all where they are no more, far apart.
func spread[T any](all []T, n int) []T {
	if len(all) <= n {
		return all
	}
	out := make([]T, n)
	for i := range out {
		out[i] = all[(2*i+1)*len(all)/(2*n)]
	}
	return out
}

// benchRatio is the ratio of two inputs, delays put back. What both share, as
// the output's level and loading, is not in it.
func benchRatio(a, b BenchInput) (BenchInput, error) {
	if err := sameGrid(a.Loopback.FrequencyHz, b.Loopback.FrequencyHz); err != nil {
		return BenchInput{}, err
	}
	n := len(a.Loopback.FrequencyHz)
	t := Transfer{FrequencyHz: a.Loopback.FrequencyHz, Re: make([]float64, n), Im: make([]float64, n), RelStd: make([]float64, n)}
	for i, f := range t.FrequencyHz {
		z := a.Loopback.point(i) / b.Loopback.point(i) * cis(-2*math.Pi*f*(a.LatencyS.Value-b.LatencyS.Value))
		t.Re[i], t.Im[i] = real(z), imag(z)
		t.RelStd[i] = Hypot(a.Loopback.RelStd[i], b.Loopback.RelStd[i])
	}
	return BenchInput{
		Loopback:      &t,
		LatencyS:      Estimate{Std: Hypot(a.LatencyS.Std, b.LatencyS.Std)},
		PlugRelStd:    Hypot(a.PlugRelStd, b.PlugRelStd),
		LeadDelayStdS: Hypot(a.LeadDelayStdS, b.LeadDelayStdS),
		loopbacks:     2,
	}, nil
}

func (t Transfer) point(i int) complex128 { return complex(t.Re[i], t.Im[i]) }

// at interpolates t.
func (t Transfer) at(f float64) complex128 {
	o := t.onto([]float64{f})
	return o.point(0)
}

// Level is the level of output over reference in dB at each grid point.
func (s *Split) Level() Magnitude { return s.bench.level(s.Ratio) }

// Delay is output minus reference in seconds.
func (s *Split) Delay() (seconds float64, b Budget) {
	return s.line.delayS, nonzero(typeA(sourceNoise, s.line.delayStd), typeB(sourceGate, gateDelayStdS), typeB(sourceLoopNoise, s.bench.LatencyS.Std),
		evenly(sourceLoopDelay, s.leadDelayStdS[0]), evenly(sourceLoopDelay+", of the reference", s.leadDelayStdS[1]),
		evenly(sourceMeaning, s.meant.delayStdS))
}

// Polarity is +1 when both outputs swing the same way, −1 when not.
func (s *Split) Polarity() int { return s.line.polarity }
