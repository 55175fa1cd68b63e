package hunts

import (
	"fmt"
	"math"
	"math/rand/v2"

	"boardproof/analysis/hunt"
	"boardproof/capture/simboard"
)

type draw struct{ *rand.Rand }

func (d draw) between(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

func (d draw) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

func (d draw) phase() float64 { return d.between(0, 2*math.Pi) }

// cause draws a cause and puts it on the board, at no level in particular. All
// ranges are invented, and wide.
func (b *board) cause(d draw, name string) cause {
	switch name {
	case hunt.GroundLoop:
		return b.groundLoop(d)
	case hunt.Magnetic:
		return b.magnetic(d)
	case hunt.Ripple:
		return b.ripple(d)
	case hunt.Electric:
		return b.electric(d)
	case hunt.Dimmer:
		return b.dimmer(d)
	case hunt.Converter:
		return b.converter(d)
	case hunt.Beat:
		return b.beat(d)
	}
	return b.usb(d)
}

// place is where hum comes in.
type place int

const (
	atInput place = iota
	atDevice
	atOutput
)

// hum draws one of some places; index is that of the device or output.
func (b *board) hum(d draw, among ...place) (h *simboard.Hum, index int, where string) {
	c := &b.config.Board
	switch among[d.IntN(len(among))] {
	case atInput:
		return &c.InputHum, 0, "input"
	case atDevice:
		i := d.IntN(len(c.Devices))
		return &c.Devices[i].Hum, i, c.Devices[i].Name
	}
	i := d.IntN(len(c.Outputs))
	return &c.Outputs[i].Hum, i, "output " + c.Outputs[i].Name
}

func (b *board) groundLoop(d draw) cause {
	h, i, where := b.hum(d, atOutput)
	ends := []simboard.Earth{"", simboard.LaptopCharger, simboard.SupplyEarth}
	g := &simboard.GroundLoop{
		ShieldOhms: d.log(0.005, 0.2), AmpsRMS: 0.01, PhaseRad: d.phase(), To: ends[d.IntN(3)],
		LoopOhms: d.log(0.3, 5), IsolatorFarads: d.log(50e-12, 2e-9), SharedShare: d.log(0.01, 0.3), Lines: d.current(),
	}
	if d.IntN(4) == 0 {
		g.From = simboard.AmplifierAt(b.config.Board.Outputs[1-i].Name)
	}
	h.GroundLoop = g
	return cause{hunt.GroundLoop, fmt.Sprintf("%s, from %q to %q", where, g.From, g.To), func(by float64) { g.AmpsRMS *= by }}
}

func (b *board) magnetic(d draw) cause {
	h, _, where := b.hum(d, atInput, atDevice, atOutput)
	sources := []string{"", simboard.BoardSupply, b.config.Board.Devices[d.IntN(len(b.config.Board.Devices))].Name}
	m := &simboard.Magnetic{
		AmpsRMS: 0.3, MutualHenrys: 1e-8, PhaseRad: d.phase(), AngleDeg: d.between(-60, 60), UprightShare: d.between(0, 0.5),
		From: sources[d.IntN(3)], Lines: d.current(),
	}
	h.Magnetic = m
	return cause{hunt.Magnetic, fmt.Sprintf("%s, from %q", where, m.From), func(by float64) { m.MutualHenrys *= by }}
}

func (b *board) ripple(d draw) cause {
	h, _, where := b.hum(d, atDevice, atOutput)
	r := &simboard.Ripple{
		PeakVolts: d.between(8, 25), ReservoirFarads: d.log(220e-6, 4700e-6), LoadAmps: d.log(0.05, 1),
		RejectionDB: 90, Lean: 0.01 * d.NormFloat64(), PhaseRad: d.phase(),
	}
	h.Ripple = r
	return cause{hunt.Ripple, where, func(by float64) { r.RejectionDB -= 20 * math.Log10(by) }}
}

func (b *board) electric(d draw) cause {
	h, _, where := b.hum(d, atInput, atDevice, atOutput)
	e := &simboard.Electric{
		MainsVoltsRMS: d.between(100, 250), StrayFarads: 1e-14, NodeOhms: d.log(1e3, 1e6), PhaseRad: d.phase(), Lines: d.voltage(),
	}
	h.Electric = e
	return cause{hunt.Electric, where, func(by float64) { e.StrayFarads *= by }}
}

func (b *board) dimmer(d draw) cause {
	h, _, where := b.hum(d, atInput, atDevice, atOutput)
	x := &simboard.Dimmer{
		MainsVoltsRMS: d.between(100, 250), FiringDeg: d.between(20, 160), StrayFarads: 1e-14, NodeOhms: d.log(1e3, 1e6), PhaseRad: d.phase(),
	}
	h.Dimmer = x
	return cause{hunt.Dimmer, fmt.Sprintf("%s, fired at %.0f°", where, x.FiringDeg), func(by float64) { x.StrayFarads *= by }}
}

// converter is a tone, often with harmonics of its own, in a device or in an
// output's share of the board's supply.
func (b *board) converter(d draw) cause {
	base := simboard.Tone{FrequencyHz: d.log(700, 18e3), VoltsRMS: 1e-5, LinewidthHz: d.log(1e-3, 3)}
	tones := []simboard.Tone{base}
	for n := 2; n <= 1+d.IntN(4); n++ {
		k := float64(n)
		tones = append(tones, simboard.Tone{FrequencyHz: k * base.FrequencyHz, VoltsRMS: base.VoltsRMS * d.log(0.03, 1) / k, LinewidthHz: k * k * base.LinewidthHz})
	}
	tones = audible(tones)
	c := &b.config.Board
	i := d.IntN(len(c.Devices))
	in, where := &c.Devices[i].Tones, c.Devices[i].Name
	if d.IntN(4) == 0 {
		i = d.IntN(len(c.Outputs))
		in, where = &c.Outputs[i].Tones, "output "+c.Outputs[i].Name
	}
	return cause{hunt.Converter, fmt.Sprintf("%s, %.0f Hz", where, base.FrequencyHz), louder(in, tones...)}
}

// beat is two converters in two devices: both above hearing, so that only
// their difference is heard, or both heard and a little of their difference
// besides.
func (b *board) beat(d draw) cause {
	c := &b.config.Board
	differenceHz := d.log(70, 4e3)
	heard := d.IntN(2) == 0
	hz, volts := d.between(25e3, 90e3), d.log(0.03, 0.3)
	if heard {
		hz, volts = d.log(5e3, 14e3), 1e-4
	}
	order := d.Perm(len(c.Devices))
	first, second := &c.Devices[order[0]], &c.Devices[order[1]]
	where := fmt.Sprintf("%s and %s, %.0f Hz and %.0f Hz more", first.Name, second.Name, hz, differenceHz)
	loud := louder(&first.Tones, simboard.Tone{FrequencyHz: hz, VoltsRMS: volts, LinewidthHz: d.log(1e-3, 1)})
	other := volts * d.log(0.3, 1)
	loud2 := louder(&second.Tones, simboard.Tone{FrequencyHz: hz + differenceHz, VoltsRMS: other, LinewidthHz: d.log(1e-3, 1)})
	if !heard {
		c.BendPerVolt = 1
		return cause{hunt.Beat, where, func(by float64) { c.BendPerVolt *= by }}
	}
	share := d.log(0.05, 0.7)
	return cause{hunt.Beat, where, func(by float64) {
		loud(by)
		loud2(by)
		other *= by
		// The difference keeps its share of the first tone as far as a bend goes.
		c.BendPerVolt = math.Min(mostBend, share/(math.Sqrt2*other))
	}}
}

// mostBend is what a simulated board may have, in 1/V.
const mostBend = 1000

func (b *board) usb(d draw) cause {
	l := &b.config.Interface.Laptop
	l.ClockPPM = d.between(-100, 100)
	l.Frames = simboard.Pulses{PeakVolts: 1e-4, Duty: d.log(0.003, 0.5)}
	if d.IntN(2) == 0 {
		l.Microframes = simboard.Pulses{PeakVolts: 1e-4 * d.log(0.1, 10), Duty: d.log(0.03, 0.5)}
	}
	return cause{hunt.USB, fmt.Sprintf("duty %.2g", l.Frames.Duty), func(by float64) {
		l.Frames.PeakVolts *= by
		l.Microframes.PeakVolts *= by
	}}
}

// louder puts tones into a list and returns what makes them louder, whatever
// else comes into the list later.
func louder(all *[]simboard.Tone, tones ...simboard.Tone) func(float64) {
	from := len(*all)
	*all = append(*all, tones...)
	return func(by float64) {
		for i := range tones {
			(*all)[from+i].VoltsRMS *= by
		}
	}
}

func audible(tones []simboard.Tone) []simboard.Tone {
	var heard []simboard.Tone
	for _, t := range tones {
		if t.FrequencyHz < 20e3 {
			heard = append(heard, t)
		}
	}
	return heard
}

// current draws the lines of a mains current: from nearly a sine to the pulses
// of rectifiers, odd harmonics that fall by some power, and a little even ones.
// The least power is that of a current that jumps; none ends abruptly within
// what is heard, since a field's pick-up would show the end.
func (d draw) current() []simboard.Harmonic {
	third, power, even := d.log(0.03, 0.8), d.between(1, 3), d.log(1e-3, 0.03)
	lines := []simboard.Harmonic{{N: 1, VoltsRMS: 1}}
	for n := 2; n <= 200; n++ {
		v := third * math.Pow(3/float64(n), power)
		if n%2 == 0 {
			v = even * math.Pow(2/float64(n), power)
		}
		lines = append(lines, simboard.Harmonic{N: n, VoltsRMS: v * math.Exp(0.4*d.NormFloat64()), PhaseRad: d.phase()})
	}
	return lines
}

// voltage draws those of a mains voltage, within what EN 50160 allows (3rd
// 5 %, 5th 6 %, 7th 5 %; from memory). Like a current's, its lines do not end
// within what is heard.
func (d draw) voltage() []simboard.Harmonic {
	lines := []simboard.Harmonic{{N: 1, VoltsRMS: 1}}
	for n := 3; n <= 199; n += 2 {
		v := d.log(0.002, 0.05)
		if n > 7 {
			v *= math.Pow(7/float64(n), 1.5) * 0.5
		}
		lines = append(lines, simboard.Harmonic{N: n, VoltsRMS: v, PhaseRad: d.phase()})
	}
	return lines
}
