package hunt

import (
	"cmp"
	"fmt"
	"strings"
)

// Causes, in plain words. Each is weighed.
const (
	GroundLoop = "ground loop"
	Magnetic   = "magnetic pick-up"
	Ripple     = "supply ripple"
	Electric   = "electric-field pick-up"
	Dimmer     = "phase-cut dimmer"
	Converter  = "converter whine"
	Beat       = "beat of two converters"
	USB        = "clock or USB lines of the laptop"
	HissOnly   = "nothing but hiss"
	Bench      = "the bench itself"
)

// causes in their order: where each comes in, with {of device} and {at output}
// as far as they are known, and what it is and commonly cures it (common
// practice, no source).
var causes = []struct{ name, where, describe string }{
	{
		GroundLoop, "a ground loop runs through an amplifier and its mains outlet",
		"a mains current runs round a loop of earths and drops a voltage along a cable's shield; isolate that output's signal with a transformer, or feed all from one outlet, and never lift an earth",
	},
	{
		Magnetic, "a transformer's magnetic field is picked up{at output}",
		"a transformer's stray field induces a voltage in a loop of the wiring; turn or move the board or the transformer, and keep the loop small",
	},
	{
		Ripple, "ripple of the supply{of device} gets through{at output}",
		"what the rectifier leaves on a supply outlet gets into the signal; use another outlet or supply for that device, or a battery",
	},
	{
		Electric, "an electric field gets in by an open shield or a high-impedance input{at output}",
		"the mains' electric field gets in at an open shield or a high-impedance input; mend the shield, or shorten what is unshielded",
	},
	{
		Dimmer, "a phase-cut dimmer is picked up{at output}",
		"the sharp edges of a phase-cut dimmer get in; turn it off or full up, or move away from its wiring",
	},
	{
		Converter, "a converter whines in the supply{of device}",
		"a switching converter whines; feed that device from another outlet, or filter it",
	},
	{
		Beat, "two converters beat, one in the supply{of device}",
		"two switching converters differ by an audible frequency; feed one of their devices from another supply",
	},
	{
		USB, "clock or USB lines of the laptop come in{at output}",
		"the clock of the bench's computer gets in by its earth; run it on battery, or isolate the interface",
	},
	{HissOnly, "nothing but hiss", "there is no hum to hunt, only the noise that every circuit has"},
	{Bench, "what is read is the bench's own, not the board's", "the bench hums by itself; mend the bench before the board"},
}

// Causes lists all causes.
func Causes() []string {
	var out []string
	for _, c := range causes {
		out = append(out, c.name)
	}
	return out
}

// Describe says in a sentence what a cause is and what commonly cures it; ""
// for one that is not known.
func Describe(cause string) string {
	for _, c := range causes {
		if c.name == cause {
			return c.describe
		}
	}
	return ""
}

// where says in the words of the bench what a cause is and where it comes in.
func where(w Weighed) string {
	phrase := func(word, name string) string {
		if name == "" {
			return ""
		}
		return " " + word + " " + name
	}
	output := phrase("at output", w.Output)
	switch {
	case w.Cause == GroundLoop && w.Through != "":
		return "the loop runs through " + w.Through + output
	case w.Cause == GroundLoop && w.Output != "":
		return "the loop runs through output " + w.Output + "'s amplifier and its mains outlet"
	}
	for _, c := range causes {
		if c.name == w.Cause {
			return strings.NewReplacer("{at output}", output, "{of device}", phrase("of", w.Device)).Replace(c.where)
		}
	}
	return w.Cause + output
}

// Condition is one way in which the bench differs from how the board was
// found. The zero value is "as found". Its words are those of
// capture.Condition.
type Condition struct {
	Change string `json:"change,omitempty"`
	// Subject is the output or device that is changed, "" where the change
	// needs none or means all of them.
	Subject string `json:"subject,omitempty"`
}

// The changes, worded as in package capture.
const (
	OutputUnplugged = "output unplugged"
	OutputIsolated  = "output isolated"
	SupplyOff       = "supply off"
	OnBattery       = "on battery"
	LaptopOnBattery = "laptop on battery"
	OtherOutlet     = "other outlet"
	InputShorted    = "input shorted"
	DeviceBypassed  = "device bypassed"
	BoardTurned     = "board turned"
	LightsOff       = "lights off"
)

// AsFound is the condition in which nothing was changed.
var AsFound = Condition{}

// changeWords say a change with a subject (%s) and without, and as something
// that is done, with "everything" for no subject.
var changeWords = map[string]struct{ one, all, doing string }{
	"":              {"as found", "as found", "as found"},
	OutputUnplugged: {"output %s unplugged", "output  unplugged", "unplugging output %s"},
	OutputIsolated:  {"output %s isolated", "output  isolated", "the isolated output"},
	SupplyOff:       {"supply of %s off", "all supplies off", "turning the supply of %s off"},
	OnBattery:       {"%s on battery", "whole board on battery", "running %s on battery"},
	LaptopOnBattery: {"laptop on battery", "laptop on battery", "running the laptop on battery"},
	OtherOutlet:     {"everything on one outlet", "everything on one outlet", "putting everything on one outlet"},
	InputShorted:    {"input shorted", "input shorted", "shorting the input"},
	DeviceBypassed:  {"%s bypassed", " bypassed", "bypassing %s"},
	BoardTurned:     {"board turned a quarter", "board turned a quarter", "turning the board a quarter"},
	LightsOff:       {"lights off", "lights off", "turning the lights off"},
}

// String says the condition in the words of the bench: "output B unplugged".
func (c Condition) String() string {
	w, ok := changeWords[c.Change]
	switch {
	case !ok && c.Subject == "":
		return c.Change
	case !ok:
		return c.Change + ": " + c.Subject
	case c.Subject == "":
		return w.all
	}
	return strings.ReplaceAll(w.one, "%s", c.Subject)
}

// doing says a condition as something that is done.
func doing(c Condition) string {
	if w, ok := changeWords[c.Change]; ok && c != AsFound {
		return strings.ReplaceAll(w.doing, "%s", cmp.Or(c.Subject, "everything"))
	}
	return fmt.Sprintf("%q", c.String())
}

// when says a condition as the time at which something happened.
func when(c Condition) string {
	switch c.Change {
	case OutputUnplugged:
		return "when output " + c.Subject + " was unplugged"
	case OutputIsolated:
		return "when output " + c.Subject + " was isolated"
	}
	return "with " + c.String()
}
