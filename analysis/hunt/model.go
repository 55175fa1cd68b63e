package hunt

import "math"

// What the model takes for granted. Each figure that is common practice has no
// source; none is fitted to a trial.
const (
	// unforeseen is the weight of what no cause explains, shared by all.
	unforeseen = 0.01
	// anyOutcome is the chance that a condition was not what it seemed: a lead
	// not pulled, a lamp forgotten. No condition then weighs more than about
	// 1 in 50 by itself, so that none freezes the weights.
	anyOutcome = 0.02
	// pairPrior is how often a second cause is there, over what chance would bring.
	pairPrior = 0.5
	// steadyDB is how well a hum that nothing touches repeats in minutes, as
	// loads in the house come and go.
	steadyDB = 0.5
	// oddPart of what is read does as it likes, over oddRangeDB: a house is not
	// quiet. What is weak is more often somebody else's: each weakDB under the
	// strongest it says a tenth as much.
	// Of the lines of a pattern oddLine does so.
	oddPart, oddLine, oddRangeDB, weakDB = 0.02, 0.02, 80.0, 40.0
	// witnesses: what one cause brings moves together, so that more parts of it
	// than this say no more.
	witnesses = 3.0
	// shapeDB is how far the levels of a cause's lines are from their formula:
	// no two houses are alike.
	shapeDB = 6.0
	// shareDB is how well the formulas say which of two causes a line is of.
	// anyShare is the density of a share that they do not foretell.
	shareDB, anyShare = 8.0, 0.005
	// beatingDB is what the unknown phase between two causes of one line adds to
	// its level, where both are alike: for one line 20/ln 10·√2/2 = 6 dB, less
	// where several are taken together.
	beatingDB = 8.0
	// clutterDB under the strongest line anything may lie; nothingDB is none.
	clutterDB, nothingDB = -48.0, -100.0
	// Hum under the hiss by underHissDB, or underAllDB under what is hunted, is
	// as likely nobody's as it is a cause's; each doubtDB more make it e times
	// less likely. A hum that far under the hiss is not heard.
	underHissDB, underAllDB, doubtDB = -14.0, -25.0, 2.0
	// loneDB over all other lines of a comb those must be that are every third or
	// fewer, to be no mains but tones.
	loneDB = 15.0
	// innocentDB over what the quietest output has as found, what is left at
	// another after a change is no cause's.
	innocentDB = 3.0
	// hopeless is how much worse than the best a set of causes must explain what
	// is there, as a logarithm, for conditions not to be asked.
	hopeless = 25.0
	// goneDB is from where on a fall counts as gone rather than as less.
	goneDB = -12.0
)

// patternSays is the most that the pattern as found says for one cause over
// another, as a logarithm: what no formula foretells is not impossible, and
// what is done must decide. Of a dimmer without buzz, and of ripple without lines
// at twice the mains, it says more.
var patternSays, lackSays = math.Log(15), math.Log(150)

// prior is how common causes are, relative to each other: loops are met most;
// converters are in most supplies of today (common practice).
var prior = map[string]float64{
	GroundLoop: 0.20, Magnetic: 0.15, Ripple: 0.15, Electric: 0.15, Dimmer: 0.12,
	Converter: 0.16, Beat: 0.09, USB: 0.08, HissOnly: 0.20, Bench: 0.08,
}

// combCauses bring lines of the mains, toneCauses others; the bench may bring both.
var (
	combCauses = []string{GroundLoop, Magnetic, Ripple, Electric, Dimmer, Bench}
	toneCauses = []string{Converter, Beat, USB, Bench}
)

// gain is what may become of a cause, in dB, with its share of its kind.
type gain struct{ db, share, std float64 }

// gains are what the kinds of an effect (vanishes, stays the same, something
// else) do, without preference: half of what vanishes is gone, the rest leaves
// what a capacitance lets through.
var gains = [3][]gain{
	{{-16, 0.1, 3}, {-24, 0.1, 4}, {-34, 0.1, 5}, {-46, 0.1, 6}, {-62, 0.1, 8}, {-140, 0.5, 3}},
	{{0, 1, 0}},
	{{-10, 0.2, 2}, {-6, 0.25, 2}, {-3, 0.25, 1}, {3, 0.2, 1}, {7, 0.1, 2}},
}

// ofOne are the gains of tones besides, where one of several sources goes.
var ofOne = []gain{{0, 0.25, 0}, {-140, 0.25, 3}}

// shares of the first of two causes in the power of a part, and the ratios that
// they are, in dB.
var (
	shares = []float64{0, 0.06, 0.24, 0.5, 0.76, 0.94, 1}
	ratios = []float64{-24, -12, -5, 0, 5, 12, 24}
)
