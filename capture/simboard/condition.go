package simboard

import (
	"fmt"
	"slices"

	"boardproof/capture"
)

// under returns the bench as conditions leave it; c stays as it is. Changes
// that the bench has nothing for, and words that are no known change, do
// nothing.
func (c *Config) under(conditions []capture.Condition) (*Config, error) {
	if len(conditions) == 0 {
		return c, nil
	}
	u := c.copied()
	for _, x := range conditions {
		if err := u.checkSubject(x); err != nil {
			return nil, fmt.Errorf("condition %q: %w", x.Change, err)
		}
		u.change(x)
	}
	return u, nil
}

// copied is a copy of c in which what conditions change can be changed.
func (c *Config) copied() *Config {
	u := *c
	u.Board.Outputs = slices.Clone(c.Board.Outputs)
	u.Board.Devices = slices.Clone(c.Board.Devices)
	for _, h := range u.hums() {
		if h.GroundLoop != nil {
			loop := *h.GroundLoop
			h.GroundLoop = &loop
		}
		if h.Magnetic != nil {
			field := *h.Magnetic
			h.Magnetic = &field
		}
		if h.Electric != nil {
			field := *h.Electric
			h.Electric = &field
		}
		if h.Dimmer != nil {
			dimmer := *h.Dimmer
			h.Dimmer = &dimmer
		}
	}
	return &u
}

// hums are all places where hum comes in on the board.
func (c *Config) hums() []*Hum {
	all := []*Hum{&c.Board.InputHum}
	for i := range c.Board.Outputs {
		all = append(all, &c.Board.Outputs[i].Hum)
	}
	for i := range c.Board.Devices {
		all = append(all, &c.Board.Devices[i].Hum)
	}
	return all
}

// checkSubject says what is wrong with the subject of a condition.
func (c *Config) checkSubject(x capture.Condition) error {
	b := &c.Board
	switch x.Change {
	case capture.OutputUnplugged, capture.OutputIsolated:
		var names []string
		for _, o := range b.Outputs {
			names = append(names, o.Name)
		}
		if !slices.Contains(names, x.Subject) {
			return fmt.Errorf("the simulated board has no output %q, it has %q", x.Subject, names)
		}
	case capture.SupplyOff, capture.OnBattery, capture.DeviceBypassed:
		all := x.Subject == "" && x.Change != capture.DeviceBypassed
		if !all && !slices.ContainsFunc(b.Devices, func(d Device) bool { return d.Name == x.Subject }) {
			return fmt.Errorf("the simulated board has no device %q, it has %s", x.Subject, b.deviceNames())
		}
	}
	return nil
}

// change does to the bench what a condition does.
func (c *Config) change(x capture.Condition) {
	for i := range c.Board.Outputs {
		if o := &c.Board.Outputs[i]; o.Hum.GroundLoop != nil {
			o.Hum.GroundLoop.change(o, x)
		}
	}
	switch x.Change {
	case capture.LaptopOnBattery:
		c.Interface.Laptop.ChargerHum, c.Interface.Laptop.ChargerTones = nil, nil
	case capture.OnBattery:
		c.Board.onBattery(x.Subject)
		c.withoutFieldOf(x.Subject)
	case capture.SupplyOff:
		c.Board.supplyOff(x.Subject)
		c.withoutFieldOf(x.Subject)
	case capture.InputShorted:
		c.Board.shortInput()
	case capture.DeviceBypassed:
		d := c.device(x.Subject)
		d.takeOut()
		d.BypassFarads = 0
	case capture.BoardTurned:
		for _, h := range c.hums() {
			if h.Magnetic != nil {
				h.Magnetic.turned = !h.Magnetic.turned
			}
		}
	case capture.LightsOff:
		for _, h := range c.hums() {
			h.Dimmer = nil
		}
	}
}

// withoutFieldOf takes away the field of the supply of a device, of every
// supply of the board where name is "".
func (c *Config) withoutFieldOf(name string) {
	for _, h := range c.hums() {
		if m := h.Magnetic; m != nil && m.From != "" && (name == "" || m.From == name) {
			h.Magnetic = nil
		}
	}
}

// onBattery takes away what comes in by a device's supply, by every supply
// where name is "".
func (b *Board) onBattery(name string) {
	for i := range b.Devices {
		if d := &b.Devices[i]; name == "" || d.Name == name {
			d.Hum.Ripple, d.Tones = nil, nil
		}
	}
	for i := range b.Outputs {
		if o := &b.Outputs[i]; name == "" {
			o.Hum.Ripple, o.Tones = nil, nil
		}
	}
}

// supplyOff leaves a device dead, which its bypass then passes by; where name
// is "" the whole board, whose buffer then passes nothing.
func (b *Board) supplyOff(name string) {
	for i := range b.Devices {
		if d := &b.Devices[i]; name == "" || d.Name == name {
			d.takeOut()
		}
	}
	if name != "" {
		return
	}
	b.onBattery("")
	b.Buffer.Gain = 0
}

func (d *Device) takeOut() { d.Hum, d.Tones, d.Effect = Hum{}, nil, nil }

// shortOhms is what a shorted plug has: its contacts. Invented.
const shortOhms = 0.1

// shortInput puts a shorted plug in place of the lead: what came in with the
// lead is gone, and fields work into a short.
func (b *Board) shortInput() {
	b.shorted = true
	h := &b.InputHum
	h.Magnetic = nil
	if h.Electric != nil {
		h.Electric.NodeOhms = min(h.Electric.NodeOhms, shortOhms)
	}
	if h.Dimmer != nil {
		h.Dimmer.NodeOhms = min(h.Dimmer.NodeOhms, shortOhms)
	}
}
