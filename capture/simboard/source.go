package simboard

import (
	"math"
	"math/cmplx"
	"slices"

	"boardproof/capture"
)

// swung is a comb with the swing of what makes it.
type swung struct {
	comb  comb
	swing *Swing
}

// wires is how the board's own parts reach its outputs in a patch.
type wires struct {
	cfg    *Config
	ladder *ladder
	// points are the ladder's, one for each harmonic that was asked for.
	points map[int]point
}

func newWires(c *Config, patch capture.Patch) *wires {
	return &wires{cfg: c, ladder: newLadder(c, c.boardInputs(patch)), points: map[int]point{}}
}

// through takes a comb in volts at the buffer's output to an output.
func (w *wires) through(c comb, output int, gain float64) comb {
	for n, v := range c {
		if v == 0 {
			continue
		}
		p, known := w.points[n]
		if !known {
			p = w.ladder.at(float64(n) * w.cfg.Mains.StartHz)
			w.points[n] = p
		}
		c[n] = v * p.back[output] * complex(gain, 0)
	}
	return c
}

// hum lists what the board adds at an output: first all that is steady.
func (w *wires) hum(output int) []swung {
	b, hz := &w.cfg.Board, w.cfg.Mains.StartHz
	own := &b.Outputs[output].Hum
	all := []swung{{}}
	add := func(c comb, s *Swing) {
		if s == nil {
			all[0].comb = all[0].comb.plus(c)
		} else {
			all = append(all, swung{c, s})
		}
	}
	add(own.comb(hz), own.Swing)
	for i := range b.Devices {
		if h := &b.Devices[i].Hum; *h != (Hum{}) {
			add(w.through(h.comb(hz), output, 1), h.Swing)
		}
	}
	if h := &b.InputHum; *h != (Hum{}) {
		add(w.through(h.comb(hz), output, b.Buffer.Gain), h.Swing)
	}
	return all
}

// total is the comb of all at the bench's time 0.
func total(all []swung) comb {
	var c comb
	for _, s := range all {
		if s.swing != nil {
			g := complex(s.swing.gain(0), 0)
			for n := range s.comb {
				s.comb[n] *= g
			}
		}
		c = c.plus(s.comb)
	}
	return c
}

// deviceTones are the tones of all devices at the buffer's output, and what
// the board's bend makes of them.
func (b *Board) deviceTones() []Tone {
	var all []Tone
	for i := range b.Devices {
		all = append(all, b.Devices[i].Tones...)
	}
	if b.BendPerVolt == 0 {
		return all
	}
	own := len(all)
	for i, t := range all[:own] {
		// (a·cos)² is a²/2·(1 + cos of twice); twice the phase walks four
		// times as far in power.
		all = append(all, Tone{2 * t.FrequencyHz, b.BendPerVolt * t.VoltsRMS * t.VoltsRMS / math.Sqrt2, 4 * t.LinewidthHz})
		for _, u := range all[:i] {
			rms, width := math.Sqrt2*b.BendPerVolt*t.VoltsRMS*u.VoltsRMS, t.LinewidthHz+u.LinewidthHz
			all = append(all, Tone{math.Abs(t.FrequencyHz - u.FrequencyHz), rms, width}, Tone{t.FrequencyHz + u.FrequencyHz, rms, width})
		}
	}
	return all
}

// tones lists what the board adds at an output by its devices.
func (w *wires) tones(output int) []Tone {
	var all []Tone
	for _, t := range w.cfg.Board.deviceTones() {
		if t.FrequencyHz > 0 && t.FrequencyHz < float64(w.cfg.RateHz)/2 {
			t.VoltsRMS *= cmplx.Abs(w.ladder.at(t.FrequencyHz).back[output])
			all = append(all, t)
		}
	}
	return all
}

// heard is all that comes to an input's terminals besides signal and noise.
type heard struct {
	hum []swung
	// own tones are this input's alone; common ones come from one source, with
	// one phase at every input.
	own, common []Tone
}

// heardAt gathers what comes to an input; output is the board's output there,
// -1 for none.
func (c *Config) heardAt(w *wires, channel, output int) heard {
	in := &c.Interface.Inputs[channel-1]
	laptop := &c.Interface.Laptop
	h := heard{hum: []swung{{comb: in.own()}}, own: in.Tones, common: laptop.tones(float64(c.RateHz) / 2)}
	for _, l := range laptop.ChargerHum {
		h.hum[0].comb[l.N] += l.sine()
	}
	if output < 0 {
		return h
	}
	board := w.hum(output)
	h.hum[0].comb = h.hum[0].comb.plus(board[0].comb)
	h.hum = append(h.hum, board[1:]...)
	h.own = append(slices.Clone(h.own), c.Board.Outputs[output].Tones...)
	h.common = append(h.common, w.tones(output)...)
	return h
}
