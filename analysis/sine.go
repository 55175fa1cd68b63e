package analysis

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// ToneFit is a tone and its harmonics in one or more channels recorded
// together, which share one frequency.
type ToneFit struct {
	FrequencyHz Estimate
	Channels    []ToneChannel
}

// ToneChannel is one channel of a ToneFit.
type ToneChannel struct {
	// Amplitude and PhaseRad are of harmonic k at index k−1: peak, in the
	// units of the samples; phase of a cosine at the middle of the record.
	Amplitude []float64
	PhaseRad  []float64
	// Std is the standard uncertainty of each amplitude, from the noise's
	// density beside that harmonic.
	Std []float64
	// Offset is the mean.
	Offset float64
	// overtones is what is left without offset and fundamental, residual what
	// is left without the harmonics too.
	overtones, residual []float64
}

// maxIterations bounds the search for the frequency. It converges
// quadratically: four suffice from a start within half a cycle of the record.
const maxIterations = 12

// FitTone fits a sine of about nearHz with harmonics up to the order given,
// in each of channels ([channel][frame], one length, any unit), by least
// squares with the frequency free: the four-parameter fit of IEEE Std 1057
// (annex B) with harmonics added and the frequency shared. Harmonics beyond
// 0.45 of the rate are left out. nearHz must be within a cycle of the
// record's length of the true one.
func FitTone(channels [][]float64, rateHz, nearHz float64, harmonics int) (*ToneFit, error) {
	if len(channels) == 0 || len(channels[0]) < 64 {
		return nil, errors.New("fitting a tone: there are too few samples")
	}
	for _, x := range channels {
		if len(x) != len(channels[0]) {
			return nil, errors.New("fitting a tone: the channels have different lengths")
		}
	}
	orders := min(harmonics, int(0.45*rateHz/nearHz))
	if orders < 1 || nearHz*float64(len(channels[0]))/rateHz < 4 {
		return nil, fmt.Errorf("fitting a tone: %g Hz cannot be fitted in %d samples at %g Hz", nearHz, len(channels[0]), rateHz)
	}
	w, err := findFrequency(channels, 2*math.Pi*nearHz/rateHz)
	if err != nil {
		return nil, err
	}
	fit := &ToneFit{FrequencyHz: Estimate{Value: w * rateHz / (2 * math.Pi)}}
	info := 0.0
	fit.Channels = make([]ToneChannel, len(channels))
	err = each(len(channels), func(i int) error {
		c, err := fitHarmonics(channels[i], w, orders)
		if err != nil {
			return err
		}
		c.stdFromResidual(rateHz, fit.FrequencyHz.Value)
		fit.Channels[i] = c
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, c := range fit.Channels {
		if c.Std[0] > 0 {
			info += sq(c.Amplitude[0] / c.Std[0])
		}
	}
	fit.FrequencyHz.Std = frequencyStd(info, len(channels[0]), rateHz)
	return fit, nil
}

// frequencyStd is the Cramér-Rao bound of the frequency (Rife & Boorstyn,
// IEEE Trans. IT-20(5), 1974) written with info = Σ A²/var(A): var(f) =
// 6·s²·fs²/(π²·A²·N·(N²−1)) and var(A) = 2·s²/N.
func frequencyStd(info float64, n int, rateHz float64) float64 {
	if info == 0 {
		return math.Inf(1)
	}
	return rateHz / math.Pi * math.Sqrt(3/(info*(sq(float64(n))-1)))
}

// findFrequency iterates the shared angular frequency, in radians a frame.
func findFrequency(channels [][]float64, w float64) (float64, error) {
	n := len(channels[0])
	for range maxIterations {
		num, den := 0.0, 0.0
		steps, weights := make([]float64, len(channels)), make([]float64, len(channels))
		err := each(len(channels), func(i int) (err error) {
			steps[i], weights[i], err = frequencyStep(channels[i], w)
			return err
		})
		if err != nil {
			return 0, err
		}
		for i, weight := range weights {
			num += weight * steps[i]
			den += weight
		}
		if den == 0 {
			return 0, errors.New("fitting a tone: there is no tone")
		}
		step := num / den
		w += step
		if math.IsNaN(w) || w <= 0 || w >= math.Pi {
			return 0, errors.New("fitting a tone: the frequency ran out of the band, so there is no steady tone")
		}
		if math.Abs(step)*float64(n) < 1e-9 {
			return w, nil
		}
	}
	return 0, errors.New("fitting a tone: the frequency does not settle, so there is no steady tone")
}

// frequencyStep solves for a, b, offset and the step in frequency that they
// allow; weight is the inverse variance of the step.
func frequencyStep(x []float64, w float64) (dw, weight float64, err error) {
	c, err := fitHarmonics(x, w, 1)
	if err != nil {
		return 0, 0, err
	}
	a, b := c.Amplitude[0]*math.Cos(c.PhaseRad[0]), -c.Amplitude[0]*math.Sin(c.PhaseRad[0])
	mid := float64(len(x)-1) / 2
	var normal [4][5]float64
	osc := newOscillator(w, -mid)
	for i, v := range c.residual {
		t := float64(i) - mid
		row := [4]float64{osc.cos, osc.sin, 1, t * (b*osc.cos - a*osc.sin)}
		for r := range row {
			for q := r; q < 4; q++ {
				normal[r][q] += row[r] * row[q]
			}
			normal[r][4] += row[r] * v
		}
		osc.next(i)
	}
	sol, err := solveNormal(normal[:][:], 4)
	if err != nil {
		return 0, 0, err
	}
	power := 0.0
	for _, v := range c.residual {
		power += v * v
	}
	return sol[3], normal[3][3] / math.Max(power, math.SmallestNonzeroFloat64), nil
}

func solveNormal(rows [][5]float64, n int) ([]float64, error) {
	m := mat.NewSymDense(n, nil)
	rhs := mat.NewVecDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			m.SetSym(r, q, rows[r][q])
		}
		rhs.SetVec(r, rows[r][n])
	}
	return cholesky(m, rhs)
}

func cholesky(m *mat.SymDense, rhs *mat.VecDense) ([]float64, error) {
	var ch mat.Cholesky
	if !ch.Factorize(m) {
		return nil, errors.New("fitting a tone: there is no tone")
	}
	var sol mat.VecDense
	if err := ch.SolveVecTo(&sol, rhs); err != nil {
		return nil, fmt.Errorf("fitting a tone: %w", err)
	}
	return sol.RawVector().Data, nil
}

// fitHarmonics is the linear fit at a known frequency w in radians a frame.
func fitHarmonics(x []float64, w float64, orders int) (ToneChannel, error) {
	size := 2*orders + 1
	right, row := make([]float64, size), make([]float64, size)
	osc := newOscillator(w, -float64(len(x)-1)/2)
	for i, v := range x {
		osc.row(row)
		for r, a := range row {
			right[r] += a * v
		}
		osc.next(i)
	}
	sol, err := cholesky(harmonicNormal(len(x), w, orders), mat.NewVecDense(size, right))
	if err != nil {
		return ToneChannel{}, err
	}
	return newToneChannel(x, w, sol), nil
}

// harmonicNormal is the normal matrix of cos(kwt), sin(kwt) for k from 1 to
// orders, and 1, over n frames about t = 0. What is odd in t sums to nothing,
// and Σ cos(mwt) = sin(n·m·w/2)/sin(m·w/2): Dirichlet's kernel.
func harmonicNormal(n int, w float64, orders int) *mat.SymDense {
	sum := make([]float64, 2*orders+1)
	sum[0] = float64(n)
	for m := 1; m < len(sum); m++ {
		sum[m] = math.Sin(float64(n*m)*w/2) / math.Sin(float64(m)*w/2)
	}
	a := mat.NewSymDense(2*orders+1, nil)
	for k := 1; k <= orders; k++ {
		for l := k; l <= orders; l++ {
			a.SetSym(2*k-2, 2*l-2, (sum[l-k]+sum[l+k])/2)
			a.SetSym(2*k-1, 2*l-1, (sum[l-k]-sum[l+k])/2)
		}
		a.SetSym(2*k-2, 2*orders, sum[k])
	}
	a.SetSym(2*orders, 2*orders, sum[0])
	return a
}

func newToneChannel(x []float64, w float64, sol []float64) ToneChannel {
	orders := len(sol) / 2
	c := ToneChannel{
		Amplitude: make([]float64, orders), PhaseRad: make([]float64, orders), Std: make([]float64, orders),
		Offset: sol[2*orders], overtones: make([]float64, len(x)), residual: make([]float64, len(x)),
	}
	for k := range orders {
		c.Amplitude[k] = math.Hypot(sol[2*k], sol[2*k+1])
		c.PhaseRad[k] = math.Atan2(-sol[2*k+1], sol[2*k])
	}
	row := make([]float64, len(sol))
	osc := newOscillator(w, -float64(len(x)-1)/2)
	for i, v := range x {
		osc.row(row)
		v -= c.Offset + row[0]*sol[0] + row[1]*sol[1]
		c.overtones[i] = v
		for r := 2; r < 2*orders; r++ {
			v -= row[r] * sol[r]
		}
		c.residual[i] = v
		osc.next(i)
	}
	return c
}

// oscillator steps cos and sin of w·t frame by frame, set right again every
// 1024 frames so that rounding does not add up.
type oscillator struct {
	w, start         float64
	cos, sin         float64
	stepCos, stepSin float64
}

func newOscillator(w, start float64) *oscillator {
	o := &oscillator{w: w, start: start}
	o.sin, o.cos = math.Sincos(w * start)
	o.stepSin, o.stepCos = math.Sincos(w)
	return o
}

// next moves from frame i to i+1.
func (o *oscillator) next(i int) {
	if i%1024 == 1023 {
		o.sin, o.cos = math.Sincos(o.w * (o.start + float64(i+1)))
		return
	}
	o.cos, o.sin = o.cos*o.stepCos-o.sin*o.stepSin, o.sin*o.stepCos+o.cos*o.stepSin
}

// row fills cos and sin of each multiple, then 1.
func (o *oscillator) row(dst []float64) {
	c, s := o.cos, o.sin
	for k := 0; k+1 < len(dst); k += 2 {
		dst[k], dst[k+1] = c, s
		c, s = c*o.cos-s*o.sin, s*o.cos+c*o.sin
	}
	dst[len(dst)-1] = 1
}

// Bins each side of a harmonic from which its noise is taken: far enough from
// the line itself, near enough for the noise to be the same.
const (
	noiseBinsFrom = 4
	noiseBinsTo   = 64
)

// stdFromResidual sets Std from the density of the residual beside each
// harmonic: var(A) = S/T for a one-sided density S and length T, which is
// 2·s²/N for white noise.
func (c *ToneChannel) stdFromResidual(rateHz, freqHz float64) {
	density := residualDensity(c.residual, rateHz)
	seconds := float64(len(c.residual)) / rateHz
	for k := range c.Std {
		at := int(math.Round(freqHz * float64(k+1) * seconds))
		c.Std[k] = math.Sqrt(medianDensity(density, at) / seconds)
	}
}

// residualDensity is the one-sided periodogram under a Hann window, units²/Hz.
func residualDensity(x []float64, rateHz float64) []float64 { return paddedDensity(x, rateHz, len(x)) }

// paddedDensity is that of x with zeros behind it, n in all.
func paddedDensity(x []float64, rateHz float64, n int) []float64 {
	buf := make([]float64, n)
	power := 0.0
	osc := newOscillator(2*math.Pi/float64(len(x)), 0)
	for i, v := range x {
		h := 0.5 - 0.5*osc.cos
		buf[i] = v * h
		power += h * h
		osc.next(i)
	}
	spec := fourier.NewFFT(n).Coefficients(nil, buf)
	density := buf[:len(spec)]
	for k, z := range spec {
		density[k] = 2 * sqAbs(z) / (power * rateHz)
	}
	return density
}

// medianDensity is the level of the noise near bin at, robust against lines:
// the median of an exponential distribution is ln 2 times its mean.
func medianDensity(density []float64, at int) float64 {
	var near []float64
	for d := noiseBinsFrom; d <= noiseBinsTo; d++ {
		for _, k := range []int{at - d, at + d} {
			if k > 0 && k < len(density) {
				near = append(near, density[k])
			}
		}
	}
	return medianOf(near) / math.Ln2
}

// medianOf sorts a copy of x; the median of nothing is 0.
func medianOf(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	return stat.Quantile(0.5, stat.Empirical, s, nil)
}
