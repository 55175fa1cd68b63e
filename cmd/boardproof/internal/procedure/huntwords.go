package procedure

import (
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis/hunt"
)

// The safety words of a hum hunt. Each is shown at the step that it is for.
const (
	earthCaution  = "the protective earth is never lifted, by no adaptor and no tape: isolate the signal with a transformer"
	outletCaution = "a faulty outlet or installation goes to a licensed electrician; local codes come first"
	supplyCaution = "a supply or an amplifier is never opened: its inside goes to a licensed technician"
	foundCaution  = "amplifiers turned down; phantom power off; never a loudspeaker output into an interface"
	plugCaution   = "turn the amplifiers down before anything is plugged or unplugged"
)

// changeWords are what a change asks of the operator's hands.
type changeWords struct {
	do string // %s is the subject
	// all is what to do where no device is named.
	all     string
	caution []string
	// of is what the change needs a name of: an output, a device, or nothing.
	of subjectKind
}

type subjectKind int

const (
	nothing subjectKind = iota
	outputNamed
	deviceNamed
	deviceOrAll
)

var changes = map[string]changeWords{
	hunt.OutputUnplugged: {do: "unplug output %s's amplifier; the lead from the output to the bench stays", of: outputNamed,
		caution: []string{plugCaution}},
	hunt.OutputIsolated: {do: "put a signal transformer into the lead from output %s to its amplifier", of: outputNamed,
		caution: []string{plugCaution, earthCaution}},
	hunt.SupplyOff: {do: "unplug the supply lead of %s", all: "unplug the supply leads of all devices", of: deviceOrAll,
		caution: []string{plugCaution, supplyCaution}},
	hunt.OnBattery: {do: "unplug the supply lead of %s and run it on a battery", all: "run the whole board on batteries, every supply lead unplugged", of: deviceOrAll,
		caution: []string{plugCaution, supplyCaution}},
	hunt.LaptopOnBattery: {do: "pull the charger's lead out of the laptop", caution: []string{earthCaution}},
	hunt.OtherOutlet: {do: "plug board, amplifiers and bench into one outlet strip with earth, on one outlet",
		caution: []string{plugCaution, "amplifiers off before their mains plugs are moved", earthCaution, outletCaution}},
	hunt.InputShorted: {do: "put a shorted plug into the board's input", caution: []string{plugCaution}},
	hunt.DeviceBypassed: {do: "take %s out of the signal's way: a short lead from what is ahead of it to what is behind it", of: deviceNamed,
		caution: []string{plugCaution}},
	hunt.BoardTurned: {do: "turn the board by a quarter, in its place, its leads as they are"},
	hunt.LightsOff: {do: "turn off lights and dimmers of the room, at their switches",
		caution: []string{"a dimmer or switch is never opened: that is a licensed electrician's; local codes come first"}},
}

// What is asked before the first silence of a hunt.
const (
	asFoundPrompt = "leave everything as it hums: cables, supplies and amplifiers as found, the amplifiers on and turned down. " +
		"A Y lead at each output takes it to the bench's input beside its amplifier; the bench's output goes to the board's input"
	backPrompt = "put everything back as it was found"
)

// handWork is what to do for a condition, beginning with what to undo of the
// one before, and what to mind.
func handWork(c, before hunt.Condition, first bool) (prompt, caution string) {
	switch {
	case first && c == hunt.AsFound:
		return asFoundPrompt, foundCaution + "; " + earthCaution
	case c == before:
		return "leave everything as it is: " + c.String(), ""
	case c == hunt.AsFound:
		return backPrompt, plugCaution
	}
	w, known := changes[c.Change]
	do, cautions := w.do, w.caution
	switch {
	case !known:
		do, cautions = "you: "+c.String(), []string{plugCaution, earthCaution, supplyCaution}
	case w.of == deviceOrAll && c.Subject == "":
		do = w.all
	case w.of != nothing:
		do = fmt.Sprintf(w.do, c.Subject)
	}
	if before != hunt.AsFound {
		do = fmt.Sprintf("put back what was changed (%s), then %s", before, do)
	}
	return do, strings.Join(cautions, "; ")
}

// shortestWords is what words of one's own have at least: less is a slip.
const shortestWords = 4

// ParseCondition reads a condition as in "as found", "output unplugged=B",
// "supply off=delay" or "lights off". Words that are no change that is known
// are a condition of the operator's own; the error is [ErrEarth] for words
// that can ask for the protective earth to be lifted.
func ParseCondition(text string, board hunt.Board) (hunt.Condition, error) {
	if err := CheckEarth(text, board.Devices...); err != nil {
		return hunt.Condition{}, fmt.Errorf("%q: %w", text, err)
	}
	change, subject, named := strings.Cut(strings.TrimSpace(text), "=")
	change, subject = strings.TrimSpace(change), strings.TrimSpace(subject)
	if strings.EqualFold(change, hunt.AsFound.String()) && !named {
		return hunt.AsFound, nil
	}
	key := strings.ToLower(change)
	w, known := changes[key]
	switch {
	case change == "":
		return hunt.Condition{}, fmt.Errorf("%q names no condition", text)
	case !known && named:
		return hunt.Condition{}, fmt.Errorf("%q is no change that is known: %s; words of your own go without =", change, strings.Join(KnownChanges(), ", "))
	case !known && len([]rune(change)) < shortestWords:
		return hunt.Condition{}, fmt.Errorf("%q is too short for a condition: say what is changed", change)
	case !known:
		return hunt.Condition{Change: change}, nil
	}
	have, what := board.Devices, "device"
	switch {
	case w.of == outputNamed:
		have, what = board.Outputs, "output"
	case w.of == nothing && named:
		return hunt.Condition{}, fmt.Errorf("%q needs no name after it", key)
	}
	if w.of == nothing || w.of == deviceOrAll && !named {
		return hunt.Condition{Change: key}, nil
	}
	i := slices.IndexFunc(have, func(n string) bool { return strings.EqualFold(n, subject) })
	if i < 0 {
		return hunt.Condition{}, fmt.Errorf("%q needs the name of %s of the board, as in %q: it has %s", key, an(what), key+"="+firstOr(have, "NAME"), orNone(have))
	}
	return hunt.Condition{Change: key, Subject: have[i]}, nil
}

// KnownChanges lists what can be changed, with what each needs a name of.
func KnownChanges() []string {
	names := []string{hunt.OutputUnplugged, hunt.OutputIsolated, hunt.SupplyOff, hunt.OnBattery, hunt.LaptopOnBattery,
		hunt.OtherOutlet, hunt.InputShorted, hunt.DeviceBypassed, hunt.BoardTurned, hunt.LightsOff}
	for i, n := range names {
		switch changes[n].of {
		case outputNamed:
			names[i] += "=OUTPUT"
		case deviceNamed:
			names[i] += "=DEVICE"
		case deviceOrAll:
			names[i] += "[=DEVICE]"
		}
	}
	return names
}

func an(what string) string {
	if strings.ContainsAny(what[:1], "aeio") {
		return "an " + what
	}
	return "a " + what
}

func firstOr(names []string, or string) string {
	if len(names) == 0 {
		return or
	}
	return names[0]
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}
