package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Finding is what a hunt came to.
type Finding struct {
	// Weighing is how the causes stand at the end; nil in a search for one device.
	Weighing *Weighing `json:"weighing,omitempty"`
	// Cure is what helped most at Weighing.Output; nil where nothing did.
	Cure *Change `json:"cure,omitempty"`
	// Device is what a search for one device found, "" where it found none.
	Device string `json:"device,omitempty"`
	// Decided: the cause, or in a search the device, is named without a doubt.
	Decided bool `json:"decided"`
	// Text says it all in a sentence or two.
	Text string `json:"text"`
}

// A change that takes away less than easesDB is no help; from curesDB on, most
// of the hum is gone. Both are common practice, no source.
const easesDB, curesDB = 3.0, 10.0

// Find says what the readings came to: the cause, where it comes in, and what
// cured it by how much; or that it is undecided, and what to try.
func Find(board Board, readings []Reading) Finding {
	w := Weigh(board, readings)
	f := Finding{Weighing: &w, Decided: w.Decided, Cure: helped(w, readings)}
	switch {
	case len(w.Causes) == 0 || !w.Decided:
		f.Text = w.Summary
		if f.Cure != nil {
			f.Text = sentence(f.Text) + " " + capital(helpWords(f.Cure, readings)) + "."
		}
		if w.Next != nil {
			f.Text = sentence(f.Text) + fmt.Sprintf(" To try next: %s.", w.Next.Condition)
		}
		return f
	case w.Causes[0].Cause == HissOnly:
		f.Cure = nil
		f.Text = "There is nothing but hiss: no hum to cure."
		return f
	}
	f.Text = capital(where(w.Causes[0]))
	if len(w.Causes) > 1 && w.Causes[1].Present > DecidedFrom {
		f.Text += "; besides, " + where(w.Causes[1])
	}
	if f.Cure == nil {
		f.Text += "; nothing that was tried cured it."
		return f
	}
	f.Text += "; " + helpWords(f.Cure, readings) + "."
	return f
}

// Cures are the conditions that commonly cure the first cause of w and are
// possible on the board, whether they were tried or not.
func Cures(board Board, w Weighing) []Condition {
	if len(w.Causes) == 0 {
		return nil
	}
	first := w.Causes[0]
	var cures []Condition
	add := func(possible bool, change, subject string) {
		if possible {
			cures = append(cures, Condition{change, subject})
		}
	}
	switch first.Cause {
	case GroundLoop:
		add(board.Isolator, OutputIsolated, cmp.Or(first.Output, w.Output))
		add(true, OtherOutlet, "")
	case Magnetic:
		add(true, BoardTurned, "")
	case Ripple:
		add(board.Battery, OnBattery, first.Device)
	case Dimmer:
		add(!board.NoLights, LightsOff, "")
	case Converter, Beat:
		add(true, SupplyOff, first.Device)
	case USB:
		add(board.LaptopBattery, LaptopOnBattery, "")
	}
	return cures
}

// helped is the change that took most away from the loudest group where w was
// weighed. What commonly cures the cause goes before what only shows it, such
// as unplugging the amplifier that one wants to play through.
func helped(w Weighing, readings []Reading) *Change {
	group := loudest(w, readings)
	if group == "" {
		return nil
	}
	cures := Cures(Board{Isolator: true, Battery: true, LaptopBattery: true}, w)
	var best *Change
	isCure := func(c *Change) bool { return slices.Contains(cures, c.Condition) && -c.DB.Value >= curesDB }
	for _, c := range Changes(readings) {
		if c.Output != w.Output || c.Group != group || c.Condition == AsFound || c.NoChange || c.AtLeast || -c.DB.Value < easesDB {
			continue
		}
		better := best == nil || isCure(&c) && !isCure(best) || isCure(&c) == isCure(best) && c.DB.Value < best.DB.Value
		if better {
			best = &c
		}
	}
	return best
}

// loudest is the group, hiss aside, that was loudest as found where w was
// weighed; of causes that make no mains hum it is the other tones.
func loudest(w Weighing, readings []Reading) string {
	if len(w.Causes) > 0 && w.Decided && slices.Contains([]string{Converter, Beat, USB}, w.Causes[0].Cause) {
		return OtherTones
	}
	group, most := "", 0.0
	for _, r := range readings {
		if r.Condition != AsFound || r.Output != w.Output || r.Reason != "" {
			continue
		}
		for _, g := range Groups() {
			if l := r.Levels[g]; g != Hiss && !l.UpperBound && l.RMS.Value > most {
				group, most = g, l.RMS.Value
			}
		}
	}
	return group
}

func helpWords(c *Change, readings []Reading) string {
	does := " cures it, "
	switch {
	case -c.DB.Value < curesDB:
		does = " eases it, "
	case slices.Contains([]string{OutputUnplugged, InputShorted, DeviceBypassed}, c.Condition.Change):
		// One cannot play so.
		does = " takes it away, "
	}
	by := fmt.Sprintf("%.1f ± %.1f dB less ", -c.DB.Value, math.Max(c.ExpandedDB, 0.1))
	if c.AtMost {
		by = fmt.Sprintf("at least %.1f dB less ", -c.DB.Value)
	}
	return doing(c.Condition) + does + by + at(c, readings)
}

// at says where in the spectrum a change was read.
func at(c *Change, readings []Reading) string {
	if c.Group != Fundamental {
		return "in the " + c.Group
	}
	for _, r := range readings {
		if r.Output == c.Output && r.MainsHz.Value > 0 {
			return fmt.Sprintf("at %.0f Hz", r.MainsHz.Value)
		}
	}
	return "in the fundamental"
}

// where says in the words of the bench what a cause is and where it comes in.
func where(c Weighed) string {
	output, device := "", ""
	if c.Output != "" {
		output = " at output " + c.Output
	}
	if c.Device != "" {
		device = " of " + c.Device
	}
	switch c.Cause {
	case GroundLoop:
		if c.Output == "" {
			return "a ground loop runs through an amplifier and its mains outlet"
		}
		return "the loop runs through output " + c.Output + "'s amplifier and its mains outlet"
	case Magnetic:
		return "a transformer's magnetic field is picked up" + output
	case Ripple:
		return "ripple of the supply" + device + " gets through" + output
	case Electric:
		return "an electric field gets in by an open shield or a high-impedance input" + output
	case Dimmer:
		return "a phase-cut dimmer is picked up" + output
	case Converter:
		return "a converter whines in the supply" + device
	case Beat:
		return "two converters beat, one in the supply" + device
	case USB:
		return "clock or USB lines of the laptop come in" + output
	case Bench:
		return "what is read is the bench's own, not the board's"
	}
	return c.Cause + output
}

// doing says a condition as something that is done.
func doing(c Condition) string {
	subject := cmp.Or(c.Subject, "everything")
	switch c.Change {
	case OutputIsolated:
		return "the isolated output"
	case OutputUnplugged:
		return "unplugging output " + c.Subject
	case SupplyOff:
		return "turning the supply of " + subject + " off"
	case OnBattery:
		return "running " + subject + " on battery"
	case LaptopOnBattery:
		return "running the laptop on battery"
	case OtherOutlet:
		return "putting everything on one outlet"
	case InputShorted:
		return "shorting the input"
	case DeviceBypassed:
		return "bypassing " + subject
	case BoardTurned:
		return "turning the board a quarter"
	case LightsOff:
		return "turning the lights off"
	}
	return fmt.Sprintf("%q", c.String())
}

// sentence ends text with a full stop.
func sentence(text string) string {
	if text == "" || slices.Contains([]string{".", "!", "?"}, text[len(text)-1:]) {
		return text
	}
	return text + "."
}

func capital(text string) string {
	r := []rune(text)
	if len(r) > 0 && r[0] >= 'a' && r[0] <= 'z' {
		r[0] += 'A' - 'a'
	}
	return string(r)
}
