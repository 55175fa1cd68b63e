package hunt

// All that the weighing takes for granted stands in this file, each figure with
// its reason. Where no source is named it is common practice; none is fitted.

// What chance does.
const (
	unforeseen = 0.01 // of what none of the causes explains, shared by all
	// A condition is not always what it seems: a lead not pulled, a lamp forgotten.
	// No condition then weighs more than about 1 in 50 by itself.
	anyOutcome = 0.02
	// A part of the sound does as it likes, over oddRangeDB: a house is not quiet.
	oddPart, oddLine, oddRangeDB = 0.02, 0.02, 80.0
	// A second cause, over what chance would bring.
	pairPrior = 0.5
	steadyDB  = 0.5 // how well hum that nothing touches repeats in minutes
	// A part of the sound may be somebody else's: strangerShare of the strongest,
	// ten times that each strangerDB under it, up to a half. It then stays as it is
	// under strangerStays of the conditions.
	strangerShare, strangerDB, mostStrange, strangerStays = 0.0005, 15.0, 0.5, 0.7
	weakDB                                                = 40.0 // what is that far under the loudest matters a tenth as much
)

// What a pattern says.
const (
	shapeDB = 6.0 // of a line from its formula: no two houses are alike
	// The most that the pattern as found says for one cause over another, as a
	// ratio: what is done must decide. Of a dimmer without buzz, and of ripple
	// without lines at twice the mains, it says more.
	patternSays, lackSays = 15.0, 150.0
	// How well the formulas say which of two causes a line is of, and the density
	// of a share that they do not foretell.
	shareDB, anyShare = 8.0, 0.001
	// clutterDB under the strongest line anything may lie; nothingDB is none.
	clutterDB, nothingDB = -48.0, -100.0
	// Of a line of two causes with powers s and 1−s the unknown phase between them
	// moves the level by 20/ln 10·√(s(1−s))·√½ dB, RMS.
	beatingDB = 6.14
)

// What counts as nothing.
const (
	// Hum under the hiss by underHissDB, or underAllDB under what is hunted, is as
	// likely nobody's as it is a cause's; each doubtDB makes it e times less likely.
	underHissDB, underAllDB, doubtDB = -14.0, -25.0, 2.0
	// What is left after a fall of goneDB within innocentDB of what the quietest
	// output has as found is no cause's.
	goneDB, innocentDB = -12.0, 3.0
	// How well the mains frequency is known, and how far it wanders in a take.
	knownHz, wandersHz = 0.001, 0.01
	// So many tones as far from their lines, within skirtHz, are the lines' skirts.
	skirtTones, skirtHz = 3, 0.2
	// Lines of every third number or fewer, loneDB over all others, are tones.
	loneDB = 15.0
)

// Which condition is worth it.
const (
	worthBits  = 0.02 // the least that is proposed, bits
	secondBits = 0.1  // the least that a hunt goes on for once the main cause is sure
	openFrom   = 0.2  // a second cause more likely than this, and not sure, is open
	placeShare = 0.25 // what it is worth to know the place, beside knowing the cause
	// likelyFrom and possibleFrom are the words for probabilities, locateFrom the
	// share of one place from which it is named.
	likelyFrom, possibleFrom, locateFrom = 0.5, 0.1, 0.6
	hopeless                             = 25.0 // log ratio to the best from which a set of causes is left out
)

// DecidedFrom is the score above which a cause is named without a doubt.
const DecidedFrom = 0.9

// prior is how common causes are, relative to each other, by the sound that
// they bring: loops are met most, converters are in most supplies of today. The
// bench is the last to be blamed: what is its own nothing takes away, which takes
// several conditions to show.
var prior = [2]map[string]float64{
	comb: {GroundLoop: 0.20, Magnetic: 0.15, Ripple: 0.15, Electric: 0.15, Dimmer: 0.12, Bench: 0.015},
	tone: {Converter: 0.16, Beat: 0.09, USB: 0.08, Bench: 0.015},
}

// Priors of places: where in a chain a field gets in, what it comes from, at
// which ends a loop closes.
const (
	atInputShare, inDeviceShare, inWiringShare = 0.45, 0.35, 0.1
	// Behind a buffer a lead picks up hardly any electric field, but a magnetic one.
	inLeadOfCoil, inLeadOfField               = 0.2, 0.05
	fromOutside, fromSupply, fromAdapter      = 0.5, 0.3, 0.2
	loopElsewhere, loopByLaptop, loopBySupply = 0.5, 0.25, 0.25
	loopHere, loopThere, loopEverywhere       = 0.8, 0.2, 0.15
	allDevicesShare, allDevicesOfBeat         = 0.2, 0.1
	// With a profile the bench's own is taken off already.
	benchWithProfile = 0.1
	// A sound that is neither loud nor far under all else is as often nobody's.
	nobodyPrior = 0.5
)

// apart are the chances that the hum is within 3 dB at another output, 3 to 10
// dB under that at the one weighed, and further under it, by where it comes in:
// what is in one output's lead is hardly in another's, what comes in ahead of the
// split is in all, and a bench's inputs are alike.
var apart = map[string][3]float64{inLead: {0.2, 0.15, 0.65}, inBench: {0.75, 0.15, 0.1}, "": {0.55, 0.2, 0.25}, atInput: {0.55, 0.2, 0.25}}

var apartFromDB = [2]float64{3, 10}

// effect is what a condition does to a cause: the chances that it vanishes (or
// nearly), that it jumps by more than about 5 dB, that it moves by less, and that
// it stays the same. They sum to 1; none is 0, for people and boards misbehave.
type effect [4]float64

const vanishes, jumps, moves, stays = 0, 1, 2, 3

// Effects, in steps that a person would give them.
var (
	gone      = effect{0.92, 0.05, 0.02, 0.01} // opened, or fed no more
	mostly    = effect{0.72, 0.13, 0.05, 0.10} // taken out of the path
	untouched = effect{0.02, 0.01, 0.05, 0.92} // has nothing to do with it
	touched   = effect{0.02, 0.03, 0.18, 0.77} // moved about, or passed on through what is off
	halves    = effect{0.50, 0.35, 0.10, 0.05} // one of two, or in part
	anything  = effect{0.25, 0.25, 0.25, 0.25}
	moved     = effect{0.02, 0.12, 0.40, 0.46} // lies elsewhere in an electric field
	// A loop in a field, turned by a quarter from any angle: the tangent of it.
	turned = effect{0.08, 0.57, 0.31, 0.04}
	// Clock lines ride on the laptop's earth, and need a way back.
	wayBack = effect{0.35, 0.15, 0.10, 0.40}
)

// gains are what may become of a cause in dB, all its parts alike within std, by
// the kinds of an effect, and fifth what a jump is for tones, of which each may
// stay or go by itself, where one of several sources is meant. Half of what
// vanishes is gone, the rest leaves what a capacitance lets through, more of what
// is high than of what is low.
var gains = [...]struct {
	db, std float64
	chance  [5]float64
	each    bool
}{
	{db: 9, std: 3, chance: [5]float64{jumps: 0.3, 4: 0.15}},
	{db: 3, std: 2, chance: [5]float64{moves: 0.5}},
	{db: 0, std: 0, chance: [5]float64{stays: 1}},
	{db: -3, std: 2, chance: [5]float64{moves: 0.5}},
	{db: -8, std: 2.5, chance: [5]float64{jumps: 0.4, 4: 0.2}},
	{db: -14, std: 3, chance: [5]float64{vanishes: 0.1, jumps: 0.3, 4: 0.15}},
	{db: -22, std: 5, chance: [5]float64{vanishes: 0.12}},
	{db: -36, std: 7, chance: [5]float64{vanishes: 0.14}},
	{db: -60, std: 12, chance: [5]float64{vanishes: 0.14}},
	{db: -140, std: 3, chance: [5]float64{vanishes: 0.5}},
	{each: true, chance: [5]float64{4: 0.5}},
}

// shares of the first of two causes in the power of a part; ratios are they in dB.
var (
	shares = [...]float64{0, 0.06, 0.24, 0.5, 0.76, 0.94, 1}
	ratios = [...]float64{-24, -12, -5, 0, 5, 12, 24}
)

// shareOdds are the chances of shares, and last that a part is somebody else's.
type shareOdds [len(shares) + 1]float64

const stranger = len(shares)

// Tones.
const (
	clockShare = 1.5e-4 // how far a crystal is off, and so a line of a clock's family
	// A tone that none of the causes brings; of one strayDB under the strongest ten
	// times that.
	strayChance, strayDB = 0.02, -30.0
	// How near to the difference of two others a tone must be to be their beat,
	// besides the lines' own width.
	differHz = 0.5
	// The share of tones that are the difference, of those that are multiples.
	differShare, multipleShare = 0.6, 0.03
	mostTones                  = 8 // are compared
)

// spread is a density even in the logarithm of frequency, with its share.
type spread struct{ share, fromHz, toHz float64 }

// toneSpreads say where in hertz the tones of a cause lie: converters whine high,
// now and then low; what is left of two above hearing is anywhere.
var toneSpreads = map[string][]spread{
	Converter: {{0.8, 1500, 20e3}, {0.2, 300, 20e3}},
	Beat:      {{0.6, 40, 5000}, {0.4, 1500, 20e3}},
	Bench:     {{0.3, 40, 20e3}},
}

// What a mains current, voltage or rectifier may look like; each choice is one
// template, all alike.
var (
	// Rectifiers and other loads draw odd harmonics that fall with some power of
	// their number (IEC 61000-3-2 allows a small supply 3.4 mA/W of the 3rd, 1.9 of
	// the 5th, 1.0 of the 7th, from memory).
	currentThirds, currentFalls = []float64{0.02, 0.1, 0.5}, []float64{1.5, 2.2, 3}
	// EN 50160 allows 5 % of the 3rd, 6 % of the 5th, 5 % of the 7th, from memory; a
	// stray capacitance passes them in proportion to frequency.
	voltageThirds, voltageFall = []float64{0.005, 0.016, 0.05}, 1.2
	// A sine that is off up to an angle: lines fall as their number, or not at all
	// behind a stray capacitance or a coil.
	dimmerEdges, rises = []float64{0.1, 0.4, 1}, []float64{0, 1}
	// A sawtooth of twice the mains, smoother behind a filter, sharper behind a
	// regulator; odd lines where its halves differ, or where there is only one.
	rippleFalls, rippleUneven = []float64{0.4, 1, 1.8}, []float64{0.003, 0.1, 1}
)
