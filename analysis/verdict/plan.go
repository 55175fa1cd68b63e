package verdict

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/testsignals"
)

// PlanFormat is the version of the plan file. A change that would make an old
// file mean something else needs a new one.
const PlanFormat = "boardproof-plan/1"

// DefaultPlanTOML is the commented plan for a mono board with a split output
// that each board starts with.
//
//go:embed default_plan.toml
var DefaultPlanTOML []byte

// Plan is what is measured on a board, in which states, against which limits.
type Plan struct {
	Format string `toml:"format" json:"format"`
	Name   string `toml:"name" json:"name"`
	Rule   Rule   `toml:"rule" json:"rule"`
	Steps  []Step `toml:"-" json:"steps"`
}

// Step is a state, a patching, the signals played, and the limits on what is
// read from them.
type Step struct {
	Name string `toml:"name" json:"name"`
	// State names the devices that are engaged.
	State string `toml:"state" json:"state"`
	// Patch is one of capture's patchings.
	Patch   string             `toml:"patch" json:"patch"`
	Signals []testsignals.Kind `toml:"signals" json:"signals"`
	// LevelDBu is the level at the board's input; a silence's marks have it.
	LevelDBu float64 `toml:"-" json:"level_dbu"`
	// DurationS is the length of the signal's body, 0 for its default. It is
	// set only where a step plays one signal.
	DurationS float64 `toml:"duration_s" json:"duration_s,omitempty"`
	// Repeats is how often each signal is taken to be averaged, 1 where the
	// plan does not say.
	Repeats int `toml:"repeats" json:"repeats,omitempty"`
	// Prompt is what the operator is asked to do, Caution what to mind before
	// anything is played.
	Prompt  string      `toml:"prompt" json:"prompt,omitempty"`
	Caution string      `toml:"caution" json:"caution,omitempty"`
	Limits  []PlanLimit `toml:"-" json:"limits,omitempty"`
	Masks   []Mask      `toml:"-" json:"masks,omitempty"`
}

// PlanLimit bounds the readings of a quantity. What is left empty applies to
// every output, reference, harmonic or frequency. Where several fit one
// reading, the one that names most goes first.
type PlanLimit struct {
	Quantity  string `toml:"quantity" json:"quantity"`
	Output    string `toml:"output" json:"output,omitempty"`
	Reference string `toml:"reference" json:"reference,omitempty"`
	// Weighting is "none", "A" or "468"; noise and hiss must have one.
	Weighting   string  `toml:"weighting" json:"weighting,omitempty"`
	Harmonic    int     `toml:"harmonic" json:"harmonic,omitempty"`
	FrequencyHz float64 `toml:"frequency_hz" json:"frequency_hz,omitempty"`
	// BandHz is from where to where flatness and worst_level_match are read,
	// one band in a step.
	BandHz [2]float64 `toml:"band_hz" json:"band_hz,omitzero"`
	Min    *float64   `toml:"min" json:"min,omitempty"`
	Max    *float64   `toml:"max" json:"max,omitempty"`
	// Source says where the figure comes from.
	Source string `toml:"source" json:"source,omitempty"`
}

// Mask bounds the response curve. Between its points the limits run straight
// over the logarithm of frequency; outside them nothing is judged.
type Mask struct {
	// Output is the output it applies to, every one if empty.
	Output string `toml:"output" json:"output,omitempty"`
	// RelativeToHz is where the response counts as 0 dB; 0 judges the gain
	// itself.
	RelativeToHz float64     `toml:"relative_to_hz" json:"relative_to_hz,omitempty"`
	Points       []MaskPoint `toml:"points" json:"points"`
	Source       string      `toml:"source" json:"source,omitempty"`
}

// MaskPoint is one corner of a mask, in dB.
type MaskPoint struct {
	FrequencyHz float64  `toml:"frequency_hz" json:"frequency_hz"`
	Min         *float64 `toml:"min" json:"min,omitempty"`
	Max         *float64 `toml:"max" json:"max,omitempty"`
}

// Reads lists the quantities that s has limits or masks for, each once.
func (s Step) Reads() []string {
	var names []string
	for _, l := range s.Limits {
		if !slices.Contains(names, l.Quantity) {
			names = append(names, l.Quantity)
		}
	}
	if len(s.Masks) > 0 && !slices.Contains(names, analysis.Response) {
		names = append(names, analysis.Response)
	}
	return names
}

// ReadFrom lists the signals of s that a quantity is read from. Impulses
// beside a sweep are a second opinion only.
func (s Step) ReadFrom(quantity string) []testsignals.Kind {
	from := traits[quantity].signals
	if quantity == analysis.Response {
		from = fromPulse
	}
	var kinds []testsignals.Kind
	for _, k := range s.Signals {
		if k == testsignals.Impulses && slices.Contains(s.Signals, testsignals.Sweep) {
			continue
		}
		if slices.Contains(from, k) {
			kinds = append(kinds, k)
		}
	}
	return kinds
}

// Band is where flatness and the worst level match are read in s: the band
// that its limits name, analysis.DefaultBand where none does.
func (s Step) Band() analysis.Band {
	for _, l := range s.Limits {
		if l.banded() {
			return analysis.Band{LowHz: l.BandHz[0], HighHz: l.BandHz[1]}
		}
	}
	return analysis.DefaultBand
}

func (l PlanLimit) banded() bool { return l.BandHz != [2]float64{} }

// CheckOutputs reports the first limit or mask of p that names an output
// which is not among a board's outputs.
func (p Plan) CheckOutputs(outputs []string) error {
	check := func(step, what, output string) error {
		if output == "" || slices.Contains(outputs, output) {
			return nil
		}
		return fmt.Errorf("step %q, %s: the board has no output %q, it has %s: correct the name in the plan",
			step, what, output, strings.Join(outputs, ", "))
	}
	for _, s := range p.Steps {
		for _, l := range s.Limits {
			for _, o := range []string{l.Output, l.Reference} {
				if err := check(s.Name, "limit on "+l.Quantity, o); err != nil {
					return err
				}
			}
		}
		for _, m := range s.Masks {
			if err := check(s.Name, "mask", m.Output); err != nil {
				return err
			}
		}
	}
	return nil
}
