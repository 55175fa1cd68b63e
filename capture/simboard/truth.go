package simboard

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"boardproof/capture"
)

// TakeTruth is what happened in one take.
type TakeTruth struct {
	// MainsMeanHz is the mains frequency averaged over the take.
	MainsMeanHz, MainsStartHz, MainsEndHz float64
	DropOuts                              []DropOut
	Faults                                Faults
	track                                 track
}

// MainsCycles is the phase of the mains in cycles, a time in seconds after the
// take's first frame; only its differences mean anything. t must come from
// LastTake.
func (t TakeTruth) MainsCycles(seconds float64) float64 { return t.track.at(seconds) }

// LastTake returns the truth of the take that Record made last.
func (s *Simboard) LastTake() TakeTruth { return s.last }

// Truth is what a perfect measurement of a bench and its board would find,
// with nothing engaged and, for the linear part, at a small level. Outputs
// that do not exist, and inputs likewise, give NaN.
type Truth struct {
	cfg    Config
	gainDB []float64
}

// Truth returns the truth of the bench as it stands, knobs included.
func (s *Simboard) Truth() *Truth {
	cfg := s.cfg
	cfg.Interface.OutputFullScaleDBu += s.outputGainDB
	return &Truth{cfg, slices.Clone(s.gainDB)}
}

// Response is volts at the terminals of the interface's input behind an
// output, over the EMF of the interface's output, in the patch ToBoard. The
// interface's converters and delay are not in it.
func (t *Truth) Response(output string, fHz float64) complex128 {
	return t.response(capture.ToBoard, t.output(output), fHz)
}

func (t *Truth) response(patch capture.Patch, output int, fHz float64) complex128 {
	if output < 0 {
		return cmplx.NaN()
	}
	p := newLadder(&t.cfg, t.cfg.boardInputs(patch)).at(fHz)
	return p.front * p.back[output]
}

func (t *Truth) output(name string) int {
	return slices.IndexFunc(t.cfg.Board.Outputs, func(o Output) bool { return o.Name == name })
}

// SampleResponse is samples at an input, counted from 1, over samples played
// on output 1, both in full scales, the interface's response and delay
// included, and what comes across from the other inputs. It is 0 where nothing
// is connected. The patches that connect one input alone are not covered.
func (t *Truth) SampleResponse(patch capture.Patch, input int, fHz float64) complex128 {
	in := t.input(input)
	if in == nil {
		return cmplx.NaN()
	}
	f := &t.cfg.Interface
	terminals := t.terminals(patch, input, fHz)
	for other := 1; f.CrosstalkFarads > 0 && other <= len(f.Inputs); other++ {
		if other != input {
			terminals += f.crosstalk(fHz) * t.terminals(patch, other, fHz)
		}
	}
	rate := float64(t.cfg.RateHz)
	scale := math.Pow(10, (f.OutputFullScaleDBu-t.InputFullScaleDBu(input))/20)
	return terminals * f.outputResponse(fHz, rate) * in.response(fHz, rate) * delayed(f.LatencyFrames+in.DelayFrames, fHz, rate) * complex(scale, 0)
}

// terminals is volts at an input's terminals over the output's EMF.
func (t *Truth) terminals(patch capture.Patch, input int, fHz float64) complex128 {
	f := &t.cfg.Interface
	if lead := f.lead(patch, input, 0); lead >= 0 {
		return f.loopback(&f.Inputs[input-1], f.leadOhms(lead), fHz)
	}
	if o := t.connected(patch, input); o >= 0 {
		return t.response(patch, o, fHz)
	}
	return 0
}

// connected returns the board's output at an input, -1 for none.
func (t *Truth) connected(patch capture.Patch, input int) int {
	if patch != capture.ToBoard && patch != capture.Swapped {
		return -1
	}
	return slices.Index(t.cfg.boardInputs(patch), input-1)
}

func (t *Truth) input(channel int) *Input {
	if channel < 1 || channel > len(t.cfg.Interface.Inputs) {
		return nil
	}
	return &t.cfg.Interface.Inputs[channel-1]
}

// OutputFullScaleDBu is the open-circuit full scale of the interface's output
// as its control stands.
func (t *Truth) OutputFullScaleDBu() float64 { return t.cfg.Interface.OutputFullScaleDBu }

// InputFullScaleDBu is the full scale of an input as its knob stands.
func (t *Truth) InputFullScaleDBu(channel int) float64 {
	in := t.input(channel)
	if in == nil {
		return math.NaN()
	}
	return in.FullScaleDBu - t.gainDB[channel-1]
}

// LatencyFrames is the delay of the interface from output 1 to an input.
func (t *Truth) LatencyFrames(channel int) float64 {
	in := t.input(channel)
	if in == nil {
		return math.NaN()
	}
	return t.cfg.Interface.LatencyFrames + in.DelayFrames
}

// referenceHz is where gain, level match and polarity are read.
const referenceHz = 1000.0

// GainDB is the gain of an output at 1 kHz.
func (t *Truth) GainDB(output string) float64 { return gainOf(t.Response(output, referenceHz)) }

// Polarity is +1 or -1, by the sign of the response at 1 kHz; 0 for an output
// that does not exist.
func (t *Truth) Polarity(output string) int {
	switch re := real(t.Response(output, referenceHz)); {
	case re > 0:
		return 1
	case re < 0:
		return -1
	}
	return 0
}

// LevelMatchDB is the level of an output over a reference output at a frequency.
func (t *Truth) LevelMatchDB(output, reference string, fHz float64) float64 {
	return gainOf(t.Response(output, fHz) / t.Response(reference, fHz))
}

// GroupDelayS is the board's group delay at a frequency.
func (t *Truth) GroupDelayS(output string, fHz float64) float64 {
	const share = 1e-4
	low, high := fHz*(1-share), fHz*(1+share)
	turn := cmplx.Phase(t.Response(output, high) / t.Response(output, low))
	return -turn / (2 * math.Pi * (high - low))
}

// DelayMatchS is the group delay of an output less that of a reference.
func (t *Truth) DelayMatchS(output, reference string, fHz float64) float64 {
	return t.GroupDelayS(output, fHz) - t.GroupDelayS(reference, fHz)
}

// CornersHz are the frequencies nearest to 1 kHz, below and above it, where
// the response has fallen to half the power it has at 1 kHz. NaN where it has
// not by 0.01 Hz or 10 MHz.
func (t *Truth) CornersHz(output string) (low, high float64) {
	half := gainOf(t.Response(output, referenceHz)) - 10*math.Log10(2)
	find := func(farHz float64) float64 {
		step := math.Pow(farHz/referenceHz, 1.0/400)
		for i := range 400 {
			in := referenceHz * math.Pow(step, float64(i))
			if gainOf(t.Response(output, in*step)) < half {
				return t.bisect(output, half, in, in*step)
			}
		}
		return math.NaN()
	}
	return find(0.01), find(1e7)
}

func (t *Truth) bisect(output string, level, in, out float64) float64 {
	for range 50 {
		mid := math.Sqrt(in * out)
		if gainOf(t.Response(output, mid)) < level {
			out = mid
		} else {
			in = mid
		}
	}
	return math.Sqrt(in * out)
}

// Distortion gives the second and third harmonic over the fundamental for a
// sine of a level at the buffer's output, below its rails, and what the
// bending does to the fundamental's gain, in dB.
func (t *Truth) Distortion(bufferDBu float64) (second, third, fundamentalDB float64) {
	b := t.cfg.Board.Buffer
	shape := newBend(b.Second, b.Third, volts(0)*math.Sqrt2, 0)
	a := volts(bufferDBu) * math.Sqrt2
	fundamental := 1 - 3*shape.cube*a*a/4
	return shape.square * a / 2 / fundamental, shape.cube * a * a / 4 / fundamental, 20 * math.Log10(fundamental)
}

// NoiseDensity is the board's own noise in V²/Hz at the interface's input
// behind an output, in the patch ToBoard; the noise that the interface's
// output sends through the board is in it, that of its input is not.
func (t *Truth) NoiseDensity(output string, fHz float64) float64 {
	return t.noiseDensity(capture.ToBoard, t.output(output), fHz)
}

func (t *Truth) noiseDensity(patch capture.Patch, output int, fHz float64) float64 {
	if output < 0 {
		return math.NaN()
	}
	p := newLadder(&t.cfg, t.cfg.boardInputs(patch)).at(fHz)
	return p.frontNoise*square(p.back[output]) + p.backNoise[output]
}

// RecordedNoiseDensity is all the noise that an input records in a patch, in
// V²/Hz: samples times the input's full scale. The input's own noise and
// quantisation are in it.
func (t *Truth) RecordedNoiseDensity(patch capture.Patch, input int, fHz float64) float64 {
	in := t.input(input)
	if in == nil {
		return math.NaN()
	}
	rate := float64(t.cfg.RateHz)
	step := volts(t.InputFullScaleDBu(input)) * math.Sqrt2 / codes
	density := in.noise()(fHz) + step*step/12/(rate/2)
	before := 0.0
	if f := &t.cfg.Interface; f.lead(patch, input, 0) >= 0 {
		before = whiteDensity(f.OutputNoiseDBu) * square(t.terminals(patch, input, fHz))
	} else if o := t.connected(patch, input); o >= 0 {
		before = t.noiseDensity(patch, o, fHz)
	}
	return density + before*square(in.response(fHz, rate))
}

// NoiseVolts integrates a density in V²/Hz from 20 Hz to 20 kHz, each
// frequency weighted by the amplitude that weight gives, and returns volts
// RMS. A nil weight is 1 everywhere.
func NoiseVolts(density, weight func(fHz float64) float64) float64 {
	const steps = 600 // even; Simpson's rule in the logarithm of frequency
	span := math.Log(noiseHighHz / noiseLowHz)
	sum := 0.0
	for i := range steps + 1 {
		f := noiseLowHz * math.Exp(span*float64(i)/steps)
		v := density(f) * f
		if weight != nil {
			w := weight(f)
			v *= w * w
		}
		switch {
		case i == 0 || i == steps:
		case i%2 == 1:
			v *= 4
		default:
			v *= 2
		}
		sum += v
	}
	return math.Sqrt(sum * span / steps / 3)
}

// NoiseVolts is the board's own noise at an output, 20 Hz to 20 kHz, as
// [NoiseVolts] weights it.
func (t *Truth) NoiseVolts(output string, weight func(fHz float64) float64) float64 {
	return NoiseVolts(func(f float64) float64 { return t.NoiseDensity(output, f) }, weight)
}

// HumVolts is the RMS voltage of mains harmonic n that the board adds at an output.
func (t *Truth) HumVolts(output string, n int) float64 {
	o := t.output(output)
	if o < 0 || n < 1 || n > maxHarmonic {
		return math.NaN()
	}
	return t.humVolts(o)[n]
}

// HumComb is the RMS voltage of each mains harmonic that the board adds at an
// output; the index is the harmonic's number. It is nil for an output that does
// not exist.
func (t *Truth) HumComb(output string) []float64 {
	o := t.output(output)
	if o < 0 {
		return nil
	}
	return t.humVolts(o)
}

// humVolts is the modulus of what the board adds at an output.
func (t *Truth) humVolts(output int) []float64 {
	c := total(newWires(&t.cfg, capture.ToBoard).hum(output))
	return c.volts()
}

func (c *comb) volts() []float64 {
	v := make([]float64, len(c))
	for n := range c {
		v[n] = cmplx.Abs(c[n])
	}
	return v
}

// RecordedHumVolts is the RMS voltage of each mains harmonic at an input's
// terminals in a patch, the interface's own hum included; the index is the
// harmonic's number. It is nil for an input that does not exist.
func (t *Truth) RecordedHumVolts(patch capture.Patch, input int) []float64 {
	if t.input(input) == nil {
		return nil
	}
	c := total(t.heard(patch, input).hum)
	return c.volts()
}

// HumTotalVolts is the RMS sum of all mains harmonics that the board adds at
// an output, up to a highest harmonic.
func (t *Truth) HumTotalVolts(output string, highest int) float64 {
	o := t.output(output)
	if o < 0 {
		return math.NaN()
	}
	c := t.humVolts(o)
	sum := 0.0
	for n := 1; n <= min(highest, maxHarmonic); n++ {
		sum += c[n] * c[n]
	}
	return math.Sqrt(sum)
}

// Tones are the lines off the mains comb that the board adds at an output.
func (t *Truth) Tones(output string) []Tone {
	o := t.output(output)
	if o < 0 {
		return nil
	}
	return append(slices.Clone(t.cfg.Board.Outputs[o].Tones), newWires(&t.cfg, capture.ToBoard).tones(o)...)
}

// RecordedTones are the lines off the mains comb at an input's terminals in a
// patch, the interface's own and the laptop's included; nil for an input that
// does not exist.
func (t *Truth) RecordedTones(patch capture.Patch, input int) []Tone {
	if t.input(input) == nil {
		return nil
	}
	h := t.heard(patch, input)
	return append(slices.Clone(h.own), h.common...)
}

func (t *Truth) heard(patch capture.Patch, input int) heard {
	return t.cfg.heardAt(newWires(&t.cfg, patch), input, t.connected(patch, input))
}

// Under is the truth of the bench under conditions.
func (t *Truth) Under(conditions ...capture.Condition) (*Truth, error) {
	cfg, err := t.cfg.under(conditions)
	if err != nil {
		return nil, fmt.Errorf("the truth of the simulated bench: %w", err)
	}
	return &Truth{*cfg, t.gainDB}, nil
}
