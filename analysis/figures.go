package analysis

import (
	"errors"
	"fmt"
	"math"
)

// Magnitude is a response's magnitude in dB with its standard uncertainty,
// point by point: what gain, corners and flatness are read from.
type Magnitude struct {
	FrequencyHz []float64
	DB          []float64
	// NoiseStd is the part of the uncertainty that differs from point to
	// point, CommonStd the part that moves all points together; in dB.
	NoiseStd  []float64
	CommonStd []float64
}

// Std returns the whole standard uncertainty at point i in dB.
func (m Magnitude) Std(i int) float64 { return Hypot(m.NoiseStd[i], m.CommonStd[i]) }

// expanded returns the expanded uncertainty of each point in dB.
func (m Magnitude) expanded() []float64 {
	u := make([]float64, len(m.DB))
	for i := range u {
		u[i] = CoverageK * m.Std(i)
	}
	return u
}

// At returns the magnitude in dB at f by interpolation on the logarithm of
// frequency, and its standard uncertainty.
func (m Magnitude) At(f float64) (Estimate, error) {
	n := len(m.FrequencyHz)
	if n == 0 || f < m.FrequencyHz[0]*(1-1e-9) || f > m.FrequencyHz[n-1]*(1+1e-9) {
		return Estimate{}, fmt.Errorf("%.4g Hz is outside the measured band", f)
	}
	i := 0
	for i < n-2 && m.FrequencyHz[i+1] < f {
		i++
	}
	if n == 1 {
		return Estimate{m.DB[0], m.Std(0)}, nil
	}
	x := math.Log(f/m.FrequencyHz[i]) / math.Log(m.FrequencyHz[i+1]/m.FrequencyHz[i])
	std := math.Max(m.Std(i), m.Std(i+1))
	if math.Abs(x) < 1e-9 {
		std = m.Std(i)
	}
	return Estimate{m.DB[i] + x*(m.DB[i+1]-m.DB[i]), std}, nil
}

// cornerDB is how far below the gain at 1 kHz a corner is: half the power.
var cornerDB = 10 * math.Log10(2)

// ErrNoCorner is wrapped when the response does not fall by 3 dB inside the
// measured band; the text says where it ends.
var ErrNoCorner = errors.New("the response does not fall by 3 dB inside the measured band")

// Corner finds the frequency in hertz nearest to 1 kHz, below it (low) or
// above, at which the response has fallen by 3.01 dB from its value there.
// The uncertainty is that of the level divided by the local slope; it needs
// only the part that differs between the two points.
func (m Magnitude) Corner(low bool) (Estimate, error) {
	ref := NearestIndex(m.FrequencyHz, gridReferenceHz)
	if ref < 0 {
		return Estimate{}, errors.New("there is no response at 1 kHz")
	}
	step := 1
	if low {
		step = -1
	}
	target := m.DB[ref] - cornerDB
	for i := ref + step; i >= 0 && i < len(m.DB); i += step {
		if m.DB[i] > target {
			continue
		}
		f, slope := m.crossing(i-step, step, target)
		std := Hypot(m.NoiseStd[i], m.NoiseStd[ref]) / math.Abs(slope) * f
		return Estimate{f, std}, nil
	}
	end := m.FrequencyHz[len(m.FrequencyHz)-1]
	if low {
		end = m.FrequencyHz[0]
	}
	return Estimate{end, 0}, ErrNoCorner
}

// crossing returns where, between grid point i and the next one in direction
// step, the magnitude passes target, and its slope there in dB for a factor e
// in frequency. Between the points it is a cubic through four of them, or a
// straight line at the ends of the grid.
func (m Magnitude) crossing(i, step int, target float64) (f, slope float64) {
	at := func(k int) float64 { return m.DB[i+k*step] }
	cubic := i-step >= 0 && i-step < len(m.DB) && i+2*step >= 0 && i+2*step < len(m.DB)
	value := func(x float64) float64 {
		if !cubic {
			return at(0) + x*(at(1)-at(0))
		}
		a, b, c, d := at(-1), at(0), at(1), at(2)
		return -a*x*(x-1)*(x-2)/6 + b*(x+1)*(x-1)*(x-2)/2 - c*(x+1)*x*(x-2)/2 + d*(x+1)*x*(x-1)/6
	}
	low, high := 0.0, 1.0
	for range 50 {
		if x := (low + high) / 2; value(x) > target {
			low = x
		} else {
			high = x
		}
	}
	perStep := math.Log(m.FrequencyHz[i+step] / m.FrequencyHz[i])
	return m.FrequencyHz[i] * math.Exp(low*perStep), (at(1) - at(0)) / perStep
}

// Flatness returns the largest departure in dB, without sign, from the
// response at 1 kHz between lowHz and highHz, and the frequency where it is.
func (m Magnitude) Flatness(lowHz, highHz float64) (e Estimate, atHz float64, err error) {
	ref := NearestIndex(m.FrequencyHz, gridReferenceHz)
	at := -1
	for i, f := range m.FrequencyHz {
		if f < lowHz || f > highHz {
			continue
		}
		if at < 0 || math.Abs(m.DB[i]-m.DB[ref]) > math.Abs(m.DB[at]-m.DB[ref]) {
			at = i
		}
	}
	if at < 0 {
		return Estimate{}, 0, fmt.Errorf("no response was measured from %g to %g Hz", lowHz, highHz)
	}
	std := Hypot(m.NoiseStd[at], m.NoiseStd[ref])
	return Estimate{math.Abs(m.DB[at] - m.DB[ref]), std}, m.FrequencyHz[at], nil
}
