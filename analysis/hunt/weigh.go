package hunt

// Board is what can be changed at the bench.
type Board struct {
	Outputs []string `json:"outputs"`
	Devices []string `json:"devices"`
	// Battery: the board, or a device of it, can run on a battery.
	Battery bool `json:"battery"`
	// LaptopBattery: the bench's computer has a battery of its own.
	LaptopBattery bool `json:"laptop_battery"`
	// Isolator: a signal transformer is at hand.
	Isolator bool `json:"isolator"`
	// Profile: the bench's own floor is known.
	Profile bool `json:"profile"`
	// NoLights: there is no light or dimmer to turn off.
	NoLights bool `json:"no_lights,omitempty"`
}

// Weighed is how one cause stands.
type Weighed struct {
	Cause string `json:"cause"`
	// Score is the probability that this is the main cause, under the models;
	// the scores of all causes sum to 1. Present is the probability that it
	// has a part at all.
	Score   float64 `json:"score"`
	Present float64 `json:"present"`
	// For and Against are the strongest evidence either way in one line each,
	// with numbers; "" where there is none.
	For     string `json:"for,omitempty"`
	Against string `json:"against,omitempty"`
	// Output and Device are where it comes in, as far as is known.
	Output string `json:"output,omitempty"`
	Device string `json:"device,omitempty"`
}

// Weighing is what the hunt says so far.
type Weighing struct {
	// Output is where it was weighed: where there is most hum as found.
	Output string `json:"output"`
	// Causes are all causes, by Score, the most likely first.
	Causes []Weighed `json:"causes"`
	// Decided: the first cause's Score is above DecidedFrom, or it and the
	// second are both Present by more than that.
	Decided bool `json:"decided"`
	// Summary says it in a sentence or two; when the evidence does not decide, it says so.
	Summary string `json:"summary"`
	// Next is the condition that is expected to tell most; nil when nothing
	// that is possible would tell more.
	Next *Proposal `json:"next,omitempty"`
}

// DecidedFrom is the score above which a cause is named without a doubt.
const DecidedFrom = 0.9

// Proposal is a condition to try.
type Proposal struct {
	Condition Condition `json:"condition"`
	// Bits is by how much it is expected to reduce the entropy over the causes.
	Bits float64 `json:"bits"`
	// Reason says in one line what it would tell apart.
	Reason string `json:"reason"`
}

// Weigh weighs the causes of what was read so far. It needs at least one
// reading as found; without one every cause stands at its prior and the
// Summary says so.
func Weigh(board Board, readings []Reading) Weighing { return Weighing{} }

// Proposals ranks all conditions that are possible on the board and not yet
// read, the most telling first.
func Proposals(board Board, readings []Reading) []Proposal { return nil }
