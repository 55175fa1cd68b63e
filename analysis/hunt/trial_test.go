package hunt_test

import (
	"fmt"
	"maps"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// A trial hunt is made of readings directly, without samples: each harmonic's
// amplitude with Gaussian noise on both quadratures. Its causes are made here
// by their physics (waveforms, not tables of levels), so that they share
// nothing with the models that weigh them.
type trial struct {
	rng    *rand.Rand
	board  hunt.Board
	noise  float64 // RMS of the hiss, 20 Hz to 20 kHz
	causes []source
}

// source is one cause: what it brings at each output, and where it comes in.
type source struct {
	cause  string
	place  string
	device string
	comb   map[string]comb
	tones  map[string]map[float64]float64
}

var trialOutputs = []string{"A", "B"}

const trialTakeS = 5.0

// fourier is the comb of one cycle of a wave.
func fourier(wave func(turn float64) float64, most int) comb {
	const steps = 2048
	c := comb{}
	for n := 1; n <= most; n++ {
		var sum complex128
		for i := range steps {
			u := float64(i) / steps
			sum += complex(wave(u)*2/steps/math.Sqrt2, 0) * cmplx.Rect(1, -2*math.Pi*u*float64(n))
		}
		c[n] = sum
	}
	return c
}

// drawnCurrent is what a house draws: a resistive part and pulses of
// rectifiers near the crest, each pulse a half cosine, with a little of it
// one-sided.
func (t *trial) drawnCurrent() comb {
	pulses, width, lean := 0.2+2.5*t.rng.Float64(), 0.06+0.1*t.rng.Float64(), 0.05*t.rng.NormFloat64()
	at := 0.25 + 0.03*t.rng.NormFloat64()
	return fourier(func(u float64) float64 {
		v := math.Sin(2 * math.Pi * u)
		for k, s := range []float64{1 + lean, -1} {
			d := math.Mod(u-at-0.5*float64(k)+1.5, 1) - 0.5
			if math.Abs(d) < width {
				v += s * pulses * math.Cos(math.Pi/2*d/width)
			}
		}
		return v
	}, 60)
}

// mainsVoltage is a sine with flattened crests and some 5th and 7th.
func (t *trial) mainsVoltage() comb {
	c := comb{1: 1}
	for i, share := range []float64{0.012, 0.025, 0.015, 0.004, 0.006, 0.004, 0.0015, 0.002, 0.0015} {
		c[2*i+3] = cmplx.Rect(share*math.Exp(0.6*t.rng.NormFloat64()), 2*math.Pi*t.rng.Float64())
	}
	return c
}

func (c comb) rising(power, corner float64) comb {
	out := comb{}
	for n, a := range c {
		z := cmplx.Pow(complex(0, float64(n)), complex(power, 0))
		out[n] = a * z / complex(1, float64(n)/corner)
	}
	return out
}

func (c comb) rms() float64 {
	sum := 0.0
	for _, a := range c {
		sum += real(a)*real(a) + imag(a)*imag(a)
	}
	return math.Sqrt(sum)
}

func (t *trial) rectifier() comb {
	fall := 0.02 + 0.3*t.rng.Float64()
	const steps = 2048
	wave := make([]float64, steps)
	v := 1.0
	for i := range 2 * steps {
		v = math.Max(math.Abs(math.Sin(2*math.Pi*float64(i)/steps)), v-2*fall/steps)
		wave[i%steps] = v
	}
	lean := 0.004 * t.rng.NormFloat64()
	c := fourier(func(u float64) float64 {
		v := wave[min(int(u*steps), steps-1)]
		if u < 0.5 {
			return v * (1 + lean)
		}
		return v
	}, 120)
	return c.rising(0.6*t.rng.Float64(), 1e9)
}

func (t *trial) dimmed() comb {
	angle := (30 + 120*t.rng.Float64()) / 360
	c := fourier(func(u float64) float64 {
		if math.Mod(u, 0.5) < angle {
			return 0
		}
		return math.Sin(2 * math.Pi * u)
	}, 200)
	return c.rising(1, 20+200*t.rng.Float64())
}

func (t *trial) newSource(cause string, volts float64) source {
	s := source{cause: cause, comb: map[string]comb{}, tones: map[string]map[float64]float64{}}
	s.device = t.board.Devices[t.rng.IntN(len(t.board.Devices))]
	var c comb
	switch cause {
	case hunt.GroundLoop:
		c = t.drawnCurrent()
		s.place = trialOutputs[t.rng.IntN(2)]
	case hunt.Magnetic:
		c = t.drawnCurrent().rising(1, 200)
		s.place = []string{"outside", "supply"}[t.rng.IntN(2)]
	case hunt.Ripple:
		c = t.rectifier()
	case hunt.Electric:
		c = t.mainsVoltage().rising(1, 20+100*t.rng.Float64())
		s.place = []string{"input", "device"}[t.rng.IntN(2)]
	case hunt.Dimmer:
		c = t.dimmed()
	}
	whole := c.rms()
	for _, o := range trialOutputs {
		g := volts
		if s.place == "A" || s.place == "B" {
			if o != s.place {
				g *= 0.05
			}
		} else {
			g *= math.Pow(10, 0.1*t.rng.NormFloat64()/20)
		}
		s.comb[o] = c.times(g / math.Max(whole, 1e-30))
		s.tones[o] = t.tones(s.cause, g)
	}
	if len(c) == 0 {
		s.tones["B"] = s.tones["A"]
	}
	return s
}

func (t *trial) tones(cause string, volts float64) map[float64]float64 {
	u := t.rng.Float64
	switch cause {
	case hunt.Converter:
		hz := 1500 * math.Pow(9, u())
		out := map[float64]float64{hz: volts}
		if u() < 0.4 && 2*hz < 19000 {
			out[2*hz] = volts * 0.3
		}
		return out
	case hunt.Beat:
		beat := 60 * math.Pow(60, u())
		if u() < 0.5 {
			return map[float64]float64{beat: volts, 2 * beat: volts * 0.2}
		}
		hz := 5000 + 8000*u()
		return map[float64]float64{hz: volts, hz + beat: volts * 0.6, beat: volts * 0.4}
	case hunt.USB:
		clock := 1 + 3e-5*t.rng.NormFloat64()
		out := map[float64]float64{}
		for _, n := range []float64{1, 2, 3, 4, 5, 7, 8, 16} {
			if out[1000*n*clock] = volts * math.Exp(-u()*3); n == 8 {
				out[1000*n*clock] = volts
			}
		}
		return out
	}
	return nil
}

// gain is what a condition does to a source, by its physics.
func (t *trial) gain(s source, c hunt.Condition) float64 {
	open := math.Pow(10, -(25+25*t.rng.Float64())/20)
	same := math.Pow(10, 0.15*t.rng.NormFloat64()/20)
	if t.rng.Float64() < 0.02 { // things go wrong
		return math.Pow(10, (-20*t.rng.Float64()+3)/20)
	}
	mine := c.Subject == "" || c.Subject == s.device
	switch {
	case s.cause == hunt.GroundLoop && (c.Change == hunt.OutputUnplugged || c.Change == hunt.OutputIsolated) && c.Subject == s.place,
		s.cause == hunt.GroundLoop && c.Change == hunt.OtherOutlet,
		s.cause == hunt.Magnetic && s.place == "supply" && (c.Change == hunt.SupplyOff || c.Change == hunt.OnBattery) && c.Subject == "",
		slices.Contains([]string{hunt.Ripple, hunt.Converter, hunt.Beat}, s.cause) && (c.Change == hunt.SupplyOff || c.Change == hunt.OnBattery || c.Change == hunt.DeviceBypassed) && mine,
		s.cause == hunt.Electric && s.place == "input" && c.Change == hunt.InputShorted,
		s.cause == hunt.Electric && s.place == "device" && c.Change == hunt.DeviceBypassed && mine,
		s.cause == hunt.Dimmer && c.Change == hunt.LightsOff,
		s.cause == hunt.USB && c.Change == hunt.LaptopOnBattery:
		return open
	case s.cause == hunt.Magnetic && c.Change == hunt.BoardTurned:
		return math.Abs(math.Cos(math.Pi / 2 * (0.3 + 0.7*t.rng.Float64())))
	case s.cause == hunt.Electric && c.Change == hunt.BoardTurned:
		return math.Pow(10, 3*t.rng.NormFloat64()/20)
	}
	return same
}

// readings reads both outputs under a condition.
func (t *trial) readings(c hunt.Condition) []hunt.Reading {
	gains := make([]float64, len(t.causes))
	for i, s := range t.causes {
		gains[i] = 1
		if c != hunt.AsFound {
			gains[i] = t.gain(s, c)
		}
	}
	var out []hunt.Reading
	for _, o := range trialOutputs {
		sum, tones := comb{}, map[float64]float64{}
		for i, s := range t.causes {
			sum = sum.plus(s.comb[o].times(gains[i]))
			for hz, v := range s.tones[o] {
				tones[hz] = v * gains[i]
			}
		}
		out = append(out, t.reading(o, c, sum, tones))
	}
	return out
}

func (t *trial) reading(output string, c hunt.Condition, sum comb, tones map[float64]float64) hunt.Reading {
	std := math.Sqrt(t.noise * t.noise / 20000 / (2 * trialTakeS))
	r := hunt.Reading{Output: output, Condition: c, LengthS: trialTakeS, InVolts: true, HighBoundV: 5 * std, ToneBoundV: 5 * std, Levels: map[string]hunt.Level{}}
	groups := map[string]float64{}
	for n := 1; n <= 200; n++ {
		a := sum[n] + complex(std*t.rng.NormFloat64(), std*t.rng.NormFloat64())
		h := hunt.Harmonic{N: n, Level: hunt.Level{RMS: analysis.Estimate{Value: cmplx.Abs(a), Std: std}, RawRMS: cmplx.Abs(a)}, PhaseRad: cmplx.Phase(a), PhaseKnown: true}
		if h.UpperBound = h.RMS.Value < 4*std || n > 40 && h.RMS.Value < 5*std; h.UpperBound {
			h.RMS = analysis.Estimate{Value: h.RMS.Value + 2*std}
			if n > 40 {
				continue
			}
		} else {
			r.MainsHz = analysis.Estimate{Value: 50.01, Std: 1e-4}
			g := hunt.Buzz
			switch {
			case n == 1:
				g = hunt.Fundamental
			case n <= 20 && n%2 == 0:
				g = hunt.Even
			case n <= 20:
				g = hunt.Odd
			}
			groups[g] = math.Hypot(groups[g], h.RMS.Value)
		}
		r.Harmonics = append(r.Harmonics, h)
	}
	level := func(v, bound float64) hunt.Level {
		if v == 0 {
			return hunt.Level{RMS: analysis.Estimate{Value: bound}, UpperBound: true, RawRMS: bound}
		}
		return hunt.Level{RMS: analysis.Estimate{Value: v, Std: std}, RawRMS: v}
	}
	all := 0.0
	for _, hz := range slices.Sorted(maps.Keys(tones)) {
		if v := tones[hz]; v > 5*std {
			v = v * math.Pow(10, 0.5*t.rng.NormFloat64()/20)
			width := 0.0
			if t.rng.Float64() < 0.3 && math.Mod(hz, 1000) > 5 {
				width = 1
			}
			r.Tones = append(r.Tones, hunt.Tone{FrequencyHz: analysis.Estimate{Value: hz * (1 + 1e-5*t.rng.NormFloat64()), Std: 0.001}, Level: level(v, 0), WidthHz: width})
			all = math.Hypot(all, v)
		}
	}
	slices.SortFunc(r.Tones, func(a, b hunt.Tone) int {
		if a.RMS.Value > b.RMS.Value {
			return -1
		}
		return 1
	})
	for _, g := range hunt.Groups() {
		r.Levels[g] = level(groups[g], 8*std)
	}
	r.Levels[hunt.OtherTones] = level(all, 5*std)
	r.Levels[hunt.Hiss] = level(t.noise, 0)
	return r
}

var trialCauses = []string{hunt.GroundLoop, hunt.Magnetic, hunt.Ripple, hunt.Electric, hunt.Dimmer, hunt.Converter, hunt.Beat, hunt.USB}

// newTrial draws causes, the second 0 to 12 dB under the first, the first from
// 6 to 60 dB above the hiss.
func newTrial(seed uint64, causes int, aboveDB float64) *trial {
	t := &trial{rng: rand.New(rand.NewPCG(seed, 77)), noise: 1e-5}
	t.board = hunt.Board{Outputs: trialOutputs, Devices: []string{"fuzz", "boost", "chorus", "delay"}, Battery: true, LaptopBattery: true, Isolator: true, Profile: true}
	order := t.rng.Perm(len(trialCauses))
	for k := range causes {
		volts := t.noise * math.Pow(10, (aboveDB-12*float64(k)*t.rng.Float64())/20)
		t.causes = append(t.causes, t.newSource(trialCauses[order[k]], volts))
	}
	return t
}

func (t *trial) has(cause string) bool {
	if len(t.causes) == 0 {
		return cause == hunt.HissOnly
	}
	return slices.ContainsFunc(t.causes, func(s source) bool { return s.cause == cause })
}

// hunts makes n hunts of some causes, each with up to steps proposals
// followed, and counts after each step.
type count struct{ n, right, two, wrongSure, undecided int }

func hunts(n, causes, steps int, lowDB, highDB float64, say func(string)) []count {
	out := make([]count, steps+1)
	for i := range n {
		t := newTrial(uint64(i), causes, lowDB+(highDB-lowDB)*rand.New(rand.NewPCG(uint64(i), 3)).Float64())
		readings := t.readings(hunt.AsFound)
		for k := range out {
			w := hunt.Weigh(t.board, readings)
			first := w.Causes[0]
			c := &out[k]
			c.n++
			if t.has(first.Cause) {
				c.right++
			}
			if t.has(first.Cause) || t.has(w.Causes[1].Cause) {
				c.two++
			}
			if !w.Decided {
				c.undecided++
			}
			if !t.has(first.Cause) && first.Score > hunt.DecidedFrom {
				c.wrongSure++
			}
			if !t.has(first.Cause) && say != nil {
				say(fmt.Sprintf("hunt %d after %d: true %s, named %s (%.2f) then %s (%.2f)\n  + %s\n  - %s", i, k, t.truth(), first.Cause, first.Score, w.Causes[1].Cause, w.Causes[1].Score, first.For, first.Against))
			}
			if w.Next != nil {
				readings = append(readings, t.readings(w.Next.Condition)...)
			}
		}
	}
	return out
}

func (t *trial) truth() string {
	s := ""
	for _, c := range t.causes {
		s += fmt.Sprintf("%s(%s,%s) ", c.cause, c.place, c.device)
	}
	return s
}

// TestTrialHunts is a small trial; HUNT_TRIALS=1000 makes a long one and lists
// each mistake.
func TestTrialHunts(t *testing.T) {
	n, long := 3, false
	if v, err := strconv.Atoi(os.Getenv("HUNT_TRIALS")); err == nil {
		n, long = v, true
	}
	say := func(s string) {
		if long {
			t.Log(s)
		}
	}
	for _, c := range []struct {
		causes    int
		low, high float64
	}{{1, 20, 60}, {1, 6, 20}, {2, 20, 60}, {2, 6, 20}, {0, 0, 0}} {
		steps := 3
		counts := hunts(n, c.causes, steps, c.low, c.high, say)
		for k, x := range counts {
			t.Logf("%d causes, %g to %g dB over the hiss, %d conditions: right %d of %d, in two %d, undecided %d, wrong and sure %d",
				c.causes, c.low, c.high, k, x.right, x.n, x.two, x.undecided, x.wrongSure)
		}
		last := counts[steps]
		if c.causes == 1 && c.low >= 20 && float64(last.right) < 0.9*float64(last.n) {
			t.Errorf("one cause, 20 dB and more over the hiss: right in %d of %d", last.right, last.n)
		}
		if float64(last.wrongSure) > math.Max(1, 0.02*float64(last.n)) {
			t.Errorf("%d causes, %g to %g dB: wrong and sure in %d of %d", c.causes, c.low, c.high, last.wrongSure, last.n)
		}
	}
}
