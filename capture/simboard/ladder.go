package simboard

import (
	"math"
	"math/cmplx"
)

// boltzmann is k in J/K, exact in the SI.
const boltzmann = 1.380649e-23

// ladder is the board's linear part between the interface's output (EMF) and
// the terminals of its inputs, split at the buffer's output (EMF).
type ladder struct {
	cfg         *Config
	front, back circuit
	bufferIn    int
	outs        []int
}

// newLadder builds the circuits; inputs[i] is the index of the interface
// input that loads output i, -1 for none.
func newLadder(cfg *Config, inputs []int) *ladder {
	l := &ladder{cfg: cfg, front: newCircuit(), back: newCircuit()}
	b := &cfg.Board
	l.bufferIn = l.front.node()
	if b.shorted {
		l.front.add(driven, l.bufferIn, shortOhms, 0, 0)
	} else {
		l.front.add(driven, l.bufferIn, cfg.Interface.OutputOhms+b.Source.Ohms, b.Source.Henrys, 0)
	}
	l.front.shunt(l.bufferIn, b.Buffer.Ohms, b.frontFarads())

	split := l.back.node()
	l.back.add(driven, split, b.Buffer.OutputOhms, 0, b.Buffer.CouplingFarads)
	for i, o := range b.Outputs {
		out := l.addOutput(split, o)
		if inputs[i] >= 0 {
			in := cfg.Interface.Inputs[inputs[i]]
			l.back.shunt(out, in.Ohms, in.Farads)
		}
		l.outs = append(l.outs, out)
	}
	return l
}

func (b *Board) frontFarads() float64 {
	sum := b.Source.Farads + b.CableFarads + b.Buffer.Farads
	for _, d := range b.Devices {
		sum += d.BypassFarads
	}
	return sum
}

func (l *ladder) addOutput(split int, o Output) (out int) {
	c := &l.back
	if o.Transformer == nil {
		out = c.node()
		c.add(split, out, o.SeriesOhms, 0, 0)
	} else {
		t := o.Transformer
		primary, secondary := c.node(), c.node()
		out = c.node()
		c.add(split, primary, o.SeriesOhms+t.PrimaryOhms, 0, 0)
		c.transformers = append(c.transformers, t.coupled(primary, secondary))
		if t.InterwindingFarads > 0 {
			c.add(primary, secondary, 0, 0, t.InterwindingFarads)
		}
		c.add(secondary, out, t.SecondaryOhms, 0, 0)
		c.shunt(out, 0, t.WindingFarads)
	}
	c.shunt(out, o.TerminationOhms, o.CableFarads)
	return out
}

// coupled gives the inductances: with the secondary shorted the primary
// shows (1-k²) of its inductance, which is the leakage.
func (t *Transformer) coupled(p, q int) coupled {
	k := math.Sqrt(1 - t.LeakageHenrys/t.PrimaryHenrys)
	m := k * t.PrimaryHenrys * t.TurnsRatio
	if t.Reversed {
		m = -m
	}
	return coupled{p, q, t.PrimaryHenrys, t.PrimaryHenrys * t.TurnsRatio * t.TurnsRatio, m}
}

// point is all that the ladder does at one frequency.
type point struct {
	front      complex128   // buffer EMF over interface EMF
	frontNoise float64      // V²/Hz at the buffer's EMF
	back       []complex128 // volts at each output over buffer EMF
	backNoise  []float64    // V²/Hz at each output from what lies behind the buffer
}

func (l *ladder) at(fHz float64) point {
	s := complex(0, 2*math.Pi*fHz)
	buf := &l.cfg.Board.Buffer
	fourKT := 4 * boltzmann * l.cfg.TemperatureK
	gain2 := buf.Gain * buf.Gain

	drive, probed := l.front.solve(s, []int{l.bufferIn})
	p := point{front: complex(buf.Gain, 0) * drive[l.bufferIn]}
	if l.cfg.Board.shorted {
		p.front = 0 // the driven node is the plug's own ground
	}
	z2 := square(probed[0][l.bufferIn])
	p.frontNoise = square(p.front)*whiteDensity(l.cfg.Interface.OutputNoiseDBu) +
		gain2*johnson(l.front.branches, s, probed[0], fourKT) +
		gain2*z2*buf.NoiseAmps*buf.NoiseAmps +
		gain2*buf.NoiseVolts*buf.NoiseVolts*(1+buf.NoiseCornerHz/fHz) +
		fourKT*buf.OutputOhms

	drive, probed = l.back.solve(s, l.outs)
	for i, out := range l.outs {
		p.back = append(p.back, drive[out])
		// The first branch is the buffer's output resistance, counted above.
		p.backNoise = append(p.backNoise, johnson(l.back.branches[1:], s, probed[i], fourKT))
	}
	return p
}

// johnson sums 4kTR of every branch as an EMF in series with it.
func johnson(branches []branch, s complex128, probed []complex128, fourKT float64) float64 {
	sum := 0.0
	for _, b := range branches {
		if b.ohms > 0 {
			sum += fourKT * b.ohms * square(b.admittance(s)*(probed[b.a]-probed[b.b]))
		}
	}
	return sum
}

func square(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// The band that noise levels are stated in.
const (
	noiseLowHz  = 20.0
	noiseHighHz = 20000.0
)

// whiteDensity is the density in V²/Hz of white noise of a level from 20 Hz to 20 kHz.
func whiteDensity(dBu float64) float64 {
	v := volts(dBu)
	return v * v / (noiseHighHz - noiseLowHz)
}

// volts returns the RMS voltage of a level in dBu (0 dBu = √0.6 V).
func volts(dBu float64) float64 { return math.Sqrt(0.6) * math.Pow(10, dBu/20) }

// response is what an input of the interface does to volts at its terminals,
// its delay not included.
func (in *Input) response(fHz, rateHz float64) complex128 {
	return converter(in.CouplingHz, in.DroopDB, fHz, rateHz)
}

// outputResponse is what the output of the interface does to what is played.
func (f *Interface) outputResponse(fHz, rateHz float64) complex128 {
	return converter(f.OutputCouplingHz, f.OutputDroopDB, fHz, rateHz)
}

// converter is a first-order high-pass and the droop of a converter's filter.
func converter(couplingHz, droopDB, fHz, rateHz float64) complex128 {
	if fHz == 0 {
		return 0
	}
	r := 2 * fHz / rateHz
	r *= r
	r *= r
	r *= r
	droop := math.Exp(-droopDB * math.Ln10 / 20 * r * r)
	return complex(droop, 0) / complex(1, -couplingHz/fHz)
}

// noise returns the input's own density in V²/Hz, referred to its terminals,
// as a function of frequency.
func (in *Input) noise() func(fHz float64) float64 {
	v, corner := volts(in.NoiseDBu), in.NoiseCornerHz
	white := v * v / (noiseHighHz - noiseLowHz + corner*math.Log(noiseHighHz/noiseLowHz))
	return func(fHz float64) float64 {
		if fHz == 0 {
			return 0
		}
		return white * (1 + corner/fHz)
	}
}

// loopback is volts at an input's terminals over the output's EMF when a
// lead of a resistance connects the two and nothing else.
func (f *Interface) loopback(in *Input, leadOhms, fHz float64) complex128 {
	y := complex(1/in.Ohms, 2*math.Pi*fHz*in.Farads)
	return 1 / (1 + complex(f.OutputOhms+leadOhms, 0)*y)
}

// delayed is a delay of a number of frames at a frequency.
func delayed(frames, fHz, rateHz float64) complex128 {
	return cmplx.Rect(1, -2*math.Pi*frames*fHz/rateHz)
}

// gainOf is the modulus of z in dB.
func gainOf(z complex128) float64 { return 20 * math.Log10(cmplx.Abs(z)) }
