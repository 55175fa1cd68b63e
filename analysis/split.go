package analysis

import (
	"errors"
	"math"
	"math/cmplx"
)

// Split is one output over another, the reference: what differs between two
// outputs that should carry the same signal.
type Split struct {
	// Ratio is output over reference on the grid of curves.
	Ratio *Gated
	// CommonStd is the uncertainty, in dB, that the profile adds at each
	// point of Ratio; zero without a profile.
	CommonStd []float64
	line      straightPhase
	// benchRelStd is CommonStd relative to the ratio, which for the phase is
	// radians.
	benchRelStd []float64
	// benchDelayStd is what the profile adds to the delay, in seconds.
	benchDelayStd float64
}

// CompareOutputs divides output by reference, each with the response read from
// it. Both must come from one take. Noise that both carry alike cancels, as it
// does in the board.
func CompareOutputs(output, reference *Raw, outputResponse, referenceResponse *Gated, benchOut, benchRef BenchInput) (*Split, error) {
	ratio, err := outputResponse.ratio(referenceResponse)
	if err != nil {
		return nil, err
	}
	grid := ratio.FrequencyHz
	s := &Split{CommonStd: make([]float64, len(grid)), benchRelStd: make([]float64, len(grid))}
	points := denseRatio(output, reference, ratio)
	if benchOut.Loopback != nil && benchRef.Loopback != nil {
		bench, err := benchRatio(benchOut, benchRef)
		if err != nil {
			return nil, err
		}
		if ratio, err = ratio.over(bench); err != nil {
			return nil, err
		}
		for i, rel := range bench.RelStd {
			s.CommonStd[i], s.benchRelStd[i] = DBFromRelative(rel), rel
		}
		s.benchDelayStd = Hypot(benchOut.LatencyS.Std, benchRef.LatencyS.Std)
		for i := range points {
			points[i].z /= bench.at(points[i].f)
		}
	}
	s.Ratio = ratio
	if s.line, err = fitDelay(points); err != nil {
		return nil, err
	}
	return s, nil
}

// ratio is g over r with the noise of both: δ(g/r) = (δg − (g/r)·δr)/r.
func (g *Gated) ratio(r *Gated) (*Gated, error) {
	if err := sameGrid(g.FrequencyHz, r.FrequencyHz); err != nil {
		return nil, err
	}
	out := &Gated{FrequencyHz: g.FrequencyHz, H: make([]complex128, len(g.H)), noise: make([][]complex128, len(g.H))}
	for i := range g.H {
		if r.H[i] == 0 {
			return nil, errors.New("there is no signal at the reference output")
		}
		d := g.H[i] / r.H[i]
		out.H[i] = d
		out.noise[i] = make([]complex128, len(g.noise[i]))
		for j := range g.noise[i] {
			out.noise[i][j] = (g.noise[i][j] - d*r.noise[i][j]) / r.H[i]
		}
	}
	out.Noise = smoothNoise(out.FrequencyHz, out.noise)
	return out, nil
}

// denseRatio reads the ratio at every independent frequency from 100 Hz to
// 10 kHz, for the delay to use all that the record holds. Weights are the
// sweep's own energy, 1/f: best for white noise.
func denseRatio(output, reference *Raw, ratio *Gated) []phasePoint {
	binHz := output.played.binHz
	step := max(1, int(math.Round(1/(shortGate.length()*binHz))))
	var points []phasePoint
	// At whole bins the weights are alike, so they are made once.
	w := shortGate.weighting(binHz, 0, reachShare*delayLowHz)
	here := []float64{0}
	var one [1]complex128
	for k := int(delayLowHz/binHz) + step; float64(k)*binHz < delayHighHz; k += step {
		f := float64(k) * binHz
		h, noise := ratio.interpolate(f)
		m := cmplx.Abs(h)
		if m == 0 {
			continue
		}
		read := func(r *Raw) complex128 {
			r.played.read(one[:], r.spec, shortGate, f, weighting{w.weights, w.first + k}, here)
			return one[0]
		}
		z := read(output) / read(reference)
		points = append(points, phasePoint{f: f, z: z, weight: 1 / f, std: noise / math.Sqrt2})
	}
	return points
}

// benchRatio is the ratio of the two inputs' loopbacks, delays put back, and
// its relative standard uncertainty.
func benchRatio(a, b BenchInput) (Transfer, error) {
	if err := sameGrid(a.Loopback.FrequencyHz, b.Loopback.FrequencyHz); err != nil {
		return Transfer{}, err
	}
	n := len(a.Loopback.FrequencyHz)
	t := Transfer{FrequencyHz: a.Loopback.FrequencyHz, Re: make([]float64, n), Im: make([]float64, n), RelStd: make([]float64, n)}
	for i, f := range t.FrequencyHz {
		z := a.Loopback.point(i) / b.Loopback.point(i) * cis(-2*math.Pi*f*(a.LatencyS.Value-b.LatencyS.Value))
		t.Re[i], t.Im[i] = real(z), imag(z)
		t.RelStd[i] = Hypot(a.Loopback.RelStd[i], b.Loopback.RelStd[i])
	}
	return t, nil
}

func (t Transfer) point(i int) complex128 { return complex(t.Re[i], t.Im[i]) }

// at interpolates t linearly; t changes little between its points.
func (t Transfer) at(f float64) complex128 {
	i := 1
	for i < len(t.FrequencyHz)-1 && t.FrequencyHz[i] < f {
		i++
	}
	x := (f - t.FrequencyHz[i-1]) / (t.FrequencyHz[i] - t.FrequencyHz[i-1])
	return scale(1-x, t.point(i-1)) + scale(x, t.point(i))
}

// Level is the level of output over reference in dB at each grid point.
func (s *Split) Level() Magnitude {
	m := Magnitude{FrequencyHz: s.Ratio.FrequencyHz, CommonStd: s.CommonStd}
	for i := range s.Ratio.H {
		m.DB = append(m.DB, s.Ratio.MagnitudeDB(i))
		m.NoiseStd = append(m.NoiseStd, DBFromRelative(s.Ratio.RelStd(i)))
	}
	return m
}

// Delay is output minus reference in seconds.
func (s *Split) Delay() Estimate {
	return Estimate{s.line.delayS, Hypot(s.line.delayStd, s.benchDelayStd)}
}

// Polarity is +1 when both outputs swing the same way, −1 when not.
func (s *Split) Polarity() int { return s.line.polarity }

// Worst is the level match furthest from 0 dB between lowHz and highHz, with
// its sign, and where it is.
func (m Magnitude) Worst(lowHz, highHz float64) (e Estimate, atHz float64, ok bool) {
	at := -1
	for i, f := range m.FrequencyHz {
		if f >= lowHz && f <= highHz && (at < 0 || math.Abs(m.DB[i]) > math.Abs(m.DB[at])) {
			at = i
		}
	}
	if at < 0 {
		return Estimate{}, 0, false
	}
	return Estimate{m.DB[at], m.Std(at)}, m.FrequencyHz[at], true
}
