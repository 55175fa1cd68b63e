package calibration

import (
	"errors"
	"fmt"
	"math"

	"boardproof/analysis"
)

// Impedance is that of an input: a resistance beside a capacitance.
type Impedance struct {
	// Ohms is not below Value, at about 95 %, where LowerBound is set: it
	// could not be told from an open input with this resistor.
	Ohms       analysis.Estimate `json:"ohms"`
	LowerBound bool              `json:"lower_bound,omitempty"`
	// Farads is the input's and the lead's together; nil where it is too small
	// to be seen.
	Farads *analysis.Estimate `json:"farads,omitempty"`
	// WithOutput is set where the output's own impedance is not known: it is
	// in Ohms then.
	WithOutput bool `json:"with_output,omitempty"`

	// loading is 1 over the input's and the output's impedance in series, in
	// siemens; resistorRel is the part of its uncertainty that all inputs
	// share, relative.
	loading     analysis.Estimate
	resistorRel float64
}

// SeriesResistor is the known resistor in the lead.
type SeriesResistor struct {
	Ohms float64
	// Percent is its tolerance.
	Percent float64
}

const (
	// manualStd is how well a manual knows an impedance: a fifth, evenly
	// spread. Common practice, no source.
	manualStd = 0.2 / 1.7320508075688772
	// unknownOutputOhms is what an output has at most, where nobody says.
	// Common practice, no source.
	unknownOutputOhms = 200.0
	impedanceLowHz    = 100.0
	impedanceHighHz   = 20000.0
)

// NewImpedance finds an input's impedance by two voltages: sweeps through a
// lead to it alone, plain and with a known resistor in series. outputOhms is 0
// where not known.
//
// The input is Z, a resistance beside a capacitance, the output's impedance
// Ro; the voltages divide as (Z+Ro)/(Z+Ro+R) (complex divider, circuit theory).
// The inverse square of their ratio is a straight line in the square of
// frequency: its start gives the resistance, its slope the capacitance. Only
// magnitudes are used, so that it does not matter whether the interface's
// latency was the same twice; and only Z+Ro is found, which is what loads the
// output.
func NewImpedance(plain, series *analysis.Recording, row int, r SeriesResistor, outputOhms float64) (*Impedance, error) {
	h0, err := response(plain, row)
	if err != nil {
		return nil, fmt.Errorf("finding the input's impedance: %w", err)
	}
	h1, err := response(series, row)
	if err != nil {
		return nil, fmt.Errorf("finding the input's impedance, with the resistor: %w", err)
	}
	l, err := fitLine(h0, h1)
	if err != nil {
		return nil, fmt.Errorf("finding the input's impedance: %w", err)
	}
	resistor := r.Percent / 100 / math.Sqrt(3)
	// A plug each: the scale of the whole line.
	scale := 2 * math.Sqrt2 * loopbackStd
	root := math.Sqrt(l.start)
	rootStd := analysis.Hypot(l.startStd/(2*root), scale*root/2)
	z := &Impedance{WithOutput: outputOhms <= 0, resistorRel: resistor}
	z.loading = analysis.Estimate{Value: (root - 1) / r.Ohms, Std: rootStd / r.Ohms}
	whole := analysis.Hypot(z.loading.Std, resistor*z.loading.Value)
	if z.loading.Value < analysis.CoverageK*whole {
		z.LowerBound = true
		z.Ohms.Value = 1/(math.Max(z.loading.Value, 0)+analysis.CoverageK*whole) - outputOhms
	} else {
		sum := 1 / z.loading.Value
		z.Ohms = analysis.Estimate{Value: sum - outputOhms, Std: analysis.Hypot(sum*sum*whole, manualStd*outputOhms)}
	}
	slopeStd := analysis.Hypot(l.slopeStd, scale*l.slope)
	if l.slope > analysis.CoverageK*slopeStd {
		z.Farads = farads(l, slopeStd, r, resistor, outputOhms, z.loading.Value)
	}
	return z, nil
}

// farads solves the line's slope, in s², for the capacitance.
func farads(l line, slopeStd float64, r SeriesResistor, resistorRel, outputOhms, loading float64) *analysis.Estimate {
	unknown := manualStd * outputOhms
	if outputOhms <= 0 {
		unknown = unknownOutputOhms / math.Sqrt(3)
	}
	both := r.Ohms + outputOhms
	// |Z+Ro+R|²/|Z+Ro|² to the first order in the square of frequency; 1 over
	// (1 − Ro·loading) is (Z+Ro)/Z at 0 Hz.
	c := math.Sqrt(l.slope/(both*both-l.start*outputOhms*outputOhms)) / (1 - outputOhms*loading)
	rel := analysis.Hypot(slopeStd/(2*l.slope), resistorRel, unknown/both)
	return &analysis.Estimate{Value: c, Std: c * rel}
}

func response(rec *analysis.Recording, row int) (*analysis.Gated, error) {
	played, err := analysis.NewPlayed(rec.Signal)
	if err != nil {
		return nil, err
	}
	raw, err := played.Deconvolve(rec.Samples[row], rec.OffsetFrames)
	if err != nil {
		return nil, err
	}
	return raw.Response(analysis.Grid(rec.RateHz)), nil
}

// line is start + slope·ω², with standard uncertainties from noise.
type line struct{ start, slope, startStd, slopeStd float64 }

// fitLine fits |h0/h1|² against ω² by weighted least squares. Neighbours share
// noise, as their gates overlap, so its uncertainty is not divided by how many
// they are.
func fitLine(h0, h1 *analysis.Gated) (line, error) {
	var n, w0, wx, wxx, wy, wxy float64
	for i, f := range h0.FrequencyHz {
		if f < impedanceLowHz || f > impedanceHighHz {
			continue
		}
		y := math.Pow(10, (h0.MagnitudeDB(i)-h1.MagnitudeDB(i))/10)
		std := 2 * y * analysis.Hypot(h0.RelStd(i), h1.RelStd(i))
		if !(std > 0) || math.IsInf(std, 0) || math.IsNaN(y) {
			continue
		}
		x, w := 4*math.Pi*math.Pi*f*f, 1/(std*std)
		n, w0, wx, wxx, wy, wxy = n+1, w0+w, wx+w*x, wxx+w*x*x, wy+w*y, wxy+w*x*y
	}
	det := w0*wxx - wx*wx
	if n < 3 || !(det > 0) {
		return line{}, errors.New("there is no response to fit")
	}
	l := line{
		start: (wxx*wy - wx*wxy) / det, slope: (w0*wxy - wx*wy) / det,
		startStd: math.Sqrt(n * wxx / det), slopeStd: math.Sqrt(n * w0 / det),
	}
	if !(l.start > 0) {
		return line{}, errors.New("the level does not fall as a resistor in the lead makes it: check both patches")
	}
	return l, nil
}

// MeasuredLoading returns what inputs in parallel take off the level of an
// output of an impedance in ohms in a loopback, in dB, as Loading does, from
// what was measured. All must have an Impedance made in this calibration.
func MeasuredLoading(outputOhms float64, inputs []Input) analysis.Estimate {
	sum, shared, own := 0.0, 0.0, 0.0
	for _, in := range inputs {
		y := in.Impedance.loading
		// Without the output's share: 1/Z of 1/(Z+Ro).
		z := y.Value / (1 - outputOhms*y.Value)
		sum += z
		shared += in.Impedance.resistorRel * z
		own = math.Hypot(own, y.Std)
	}
	value := -analysis.DB(1 + outputOhms*sum)
	rel := outputOhms * analysis.Hypot(manualStd*sum, shared, own) / (1 + outputOhms*sum)
	return analysis.Estimate{Value: value, Std: analysis.DBFromRelative(rel)}
}
