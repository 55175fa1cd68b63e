package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
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

// A change that takes away less than easesDB is no help. It cures where what is
// left is under the noise, within innocentDB of what the quietest output had as
// found, or curesDB less; else it only lowers it. Common practice, no source.
const easesDB, curesDB = 3.0, 20.0

// Find says what the readings came to: the cause, where it comes in, and what
// cured it by how much; or that it is undecided, and what to try.
func Find(board Board, readings []Reading) Finding {
	w := Weigh(board, readings)
	f := Finding{Weighing: &w, Decided: w.Decided, Cure: helped(w, readings)}
	switch {
	case !w.Decided:
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
		f.Text = "There is no hum to speak of, only hiss: nothing to cure."
		return f
	}
	f.Text = capital(where(w.Causes[0]))
	if w.PickedUp {
		f.Text = "It is picked up at the input, by an electric or a magnetic field: shield or shorten what is ahead of the first device, and turn or move the board"
	}
	for _, c := range w.besides(likelyFrom) {
		if c.Present <= DecidedFrom {
			f.Text += "; likely besides, " + where(c)
		} else {
			f.Text += "; besides, " + where(c)
		}
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
		// Behind the laptop's charger it opens there.
		add(board.LaptopBattery && strings.Contains(first.Through, "laptop"), LaptopOnBattery, "")
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
// weighed. What cures and leaves one able to play goes before what only shows
// it, such as unplugging the amplifier that one wants to play through.
func helped(w Weighing, readings []Reading) *Change {
	group := loudest(w, readings)
	var best *Change
	cure := func(c *Change) bool { return cures(c, readings) && !showsOnly(c.Condition) }
	for _, c := range Changes(readings) {
		if group == "" || c.Output != w.Output || c.Group != group || c.Condition == AsFound || c.NoChange || c.AtLeast || -c.DB.Value < easesDB {
			continue
		}
		if best == nil || cure(&c) && !cure(best) || cure(&c) == cure(best) && c.DB.Value < best.DB.Value {
			best = &c
		}
	}
	return best
}

// showsOnly says whether one cannot play under a condition.
func showsOnly(c Condition) bool {
	return slices.Contains([]string{OutputUnplugged, InputShorted, DeviceBypassed, SupplyOff}, c.Change)
}

// cures says whether a change leaves so little that it is a cure.
func cures(c *Change, readings []Reading) bool {
	if -c.DB.Value >= curesDB || c.AtMost && -c.DB.Value >= -goneDB {
		return true
	}
	found, innocent := 0.0, math.Inf(1)
	for _, r := range readings {
		if l, ok := r.Levels[c.Group]; ok && r.Reason == "" && r.Condition == AsFound {
			if r.Output == c.Output {
				found = l.RMS.Value
			} else {
				innocent = math.Min(innocent, l.RMS.Value)
			}
		}
	}
	return -c.DB.Value >= -goneDB && found > 0 && 20*math.Log10(found/innocent)+c.DB.Value < innocentDB
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
	does := " lowers it, "
	switch {
	case showsOnly(c.Condition) && cures(c, readings):
		does = " takes it away, "
	case cures(c, readings):
		does = " cures it, "
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
