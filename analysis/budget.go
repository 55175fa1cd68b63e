package analysis

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

// times returns b in another unit, factor of it to one of the present.
func (b Budget) times(factor float64) Budget {
	out := make(Budget, len(b))
	for i, c := range b {
		c.Std *= factor
		out[i] = c
	}
	return out
}

// typeA and typeB make one contribution.
func typeA(source string, std float64) Contribution { return Contribution{source, "A", std} }

func typeB(source string, std float64) Contribution { return Contribution{source, "B", std} }

// Sources of uncertainty, as they are called in every budget.
const (
	sourceNoise     = "noise recorded beside the signal"
	sourceScatter   = "scatter of the noise itself"
	sourceGate      = "gate of the impulse response"
	sourceLoopNoise = "noise when the bench was calibrated"
	sourceLoopPlug  = "repeatability of the loopback lead"
	sourceLoopDelay = "delay of the loopback lead"
	sourceLoading   = "loading of the output in the loopback"
	sourceFloor     = "what the bench itself adds"
	sourceClock     = "clock of the interface"
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
