package analysis

import "math"

// Contribution is one source of a reading's uncertainty.
type Contribution struct {
	// Source names it in plain words.
	Source string `json:"source"`
	// Kind is "A" where it was read from the scatter of this very record, "B"
	// where it was known otherwise: JCGM 100:2008, 4.2 and 4.3.
	Kind string `json:"kind"`
	// Std is its standard uncertainty, already times its sensitivity, in the
	// reading's unit.
	Std float64 `json:"std"`
	// Rectangular: its values are evenly spread within limits, √3 times Std
	// either way (JCGM 100:2008, 4.3.7); otherwise it is normal, or near enough.
	Rectangular bool `json:"rectangular,omitempty"`
}

// Budget is all that a reading's uncertainty consists of. Contributions are
// uncorrelated: what two inputs share is in the budget of their match once, or
// not at all where it cancels.
type Budget []Contribution

// Std combines the contributions: JCGM 100:2008, eq. 10 with sensitivities of 1.
func (b Budget) Std() float64 {
	std := make([]float64, len(b))
	for i, c := range b {
		std[i] = c.Std
	}
	return Hypot(std...)
}

// Expanded is half the width of the interval that holds 95.45 % of what can
// be meant. That is CoverageK times Std where the contributions together are
// normal, and less where one that is evenly spread outweighs the rest: such a
// one lies wholly within ±√3 of its standard uncertainty, so that k = 2 would
// state an interval that holds everything (JCGM 100:2008, 6.3.3 and G.1.3;
// JCGM 101:2008, 7.7, propagates the distributions). The largest rectangular
// contribution is taken as it is and all others together as normal: exact for
// one of them beside noise, 1.3 % too wide for two alike and nothing else.
func (b Budget) Expanded() float64 {
	std, largest := b.Std(), 0.0
	for _, c := range b {
		if c.Rectangular {
			largest = math.Max(largest, c.Std)
		}
	}
	if std == 0 {
		return 0
	}
	return coverageFactor(largest/std) * std
}

// Beyond is the chance that what is meant exceeds the value by more than d,
// under the same distribution as Expanded: normal, or a normal and the largest
// rectangular contribution together.
func (b Budget) Beyond(d float64) float64 {
	std, largest := b.Std(), 0.0
	for _, c := range b {
		if c.Rectangular {
			largest = math.Max(largest, c.Std)
		}
	}
	switch {
	case d < 0:
		return 1 - b.Beyond(-d)
	case std == 0:
		return 0
	}
	x, share := d/std, largest/std
	limit, normal := math.Sqrt(3)*share, math.Sqrt(math.Max(0, 1-share*share))
	switch {
	case share < rectangularFrom:
		return math.Erfc(x/math.Sqrt2) / 2
	case normal < 1e-6:
		return math.Max(0, (1-x/limit)/2)
	}
	return math.Max(0, (1-heldBy(x, limit, normal))/2)
}

// rectangularFrom is the share from which a rectangular contribution makes
// itself felt: below it the factor is 2 within 1e-4.
const rectangularFrom = 0.2

// coverageFactor is what expands the standard uncertainty of the sum of a
// rectangular distribution, whose share of it is given, and a normal one, to
// 95.45 %.
func coverageFactor(share float64) float64 {
	if share < rectangularFrom {
		return CoverageK
	}
	limit, normal := math.Sqrt(3)*share, math.Sqrt(math.Max(0, 1-share*share))
	wanted := math.Erf(CoverageK / math.Sqrt2)
	if normal < 1e-6 {
		return wanted * limit
	}
	low, high := 1.0, CoverageK
	for range 30 {
		if k := (low + high) / 2; heldBy(k, limit, normal) < wanted {
			low = k
		} else {
			high = k
		}
	}
	return high
}

// heldBy is the probability that the sum of a rectangular variate within
// ±limit and a normal one is within ±k: the mean of the normal's distribution
// function over the rectangle, twice, less 1.
func heldBy(k, limit, normal float64) float64 {
	// The integral of the normal distribution function Φ is x·Φ(x) + φ(x).
	integral := func(x float64) float64 {
		return x*math.Erfc(-x/math.Sqrt2)/2 + math.Exp(-x*x/2)/math.Sqrt(2*math.Pi)
	}
	return normal/limit*(integral((k+limit)/normal)-integral((k-limit)/normal)) - 1
}

// times returns b in another unit, factor of it to one of the present.
func (b Budget) times(factor float64) Budget {
	out := make(Budget, len(b))
	for i, c := range b {
		c.Std *= factor
		out[i] = c
	}
	return out
}

// typeA and typeB make one contribution, evenly one of type B that is
// rectangular.
func typeA(source string, std float64) Contribution {
	return Contribution{Source: source, Kind: "A", Std: std}
}

func typeB(source string, std float64) Contribution {
	return Contribution{Source: source, Kind: "B", Std: std}
}

func evenly(source string, std float64) Contribution {
	return Contribution{Source: source, Kind: "B", Std: std, Rectangular: true}
}

// Sources of uncertainty, as they are called in every budget.
const (
	sourceNoise     = "noise recorded beside the signal"
	sourceScatter   = "scatter of the noise itself"
	sourceGate      = "gate of the impulse response"
	sourceDisturbed = "events and echoes in the record"
	sourceLoopNoise = "noise when the bench was calibrated"
	sourceLoopGate  = "gate of the loopback's response"
	sourceLoopPlug  = "repeatability of the loopback lead"
	sourceLoopDelay = "delay of the loopback lead"
	sourceDrift     = "drift of the recorder's clock"
	sourceLoading   = "loading of the output in the loopback"
	sourceFloor     = "what the bench itself adds"
	sourceClock     = "clock of the interface"
	sourceUnsteady  = "level not steady"
	sourceCurve     = "weighting curve"
	sourceChoice    = "which of several is the extreme"
	sourceMeaning   = "what is meant by a delay"
	sourceEdge      = "edge of the noise band"
)

// nonzero leaves out contributions that add nothing.
func nonzero(all ...Contribution) Budget {
	var b Budget
	for _, c := range all {
		if c.Std > 0 {
			b = append(b, c)
		}
	}
	return b
}
