package change

import (
	"math"
	"strings"

	"boardproof/analysis"
)

// Ties says what two runs have in common.
type Ties struct {
	// Profile: the same profile, and each output at the same input.
	Profile bool
	// Interface: the same interface and inputs, whatever the profile.
	Interface bool
	// Method: the same version of the methods.
	Method bool
}

// reach is how far two runs may be apart for a source to be common to both.
type reach int

const (
	own reach = iota
	perProfile
	perInterface
	perMethod
)

// reaches holds the table of the package's comment, by the beginning of the
// source's name. What is not here is own.
var reaches = map[string]reach{
	"noise recorded beside the signal":          own,
	sourceScatter:                               own,
	"events and echoes in the record":           own,
	"level not steady":                          own,
	"multimeter's accuracy":                     perProfile,
	"multimeter's last digit":                   perProfile,
	"known source's accuracy":                   perProfile,
	"noise recorded beside the known source":    perProfile,
	"noise when the bench was calibrated":       perProfile,
	"repeatability of the loopback lead":        perProfile,
	"delay of the loopback lead":                perProfile,
	"loading of the output in the loopback":     perProfile,
	"what the bench itself adds":                perProfile,
	"input's share of the bench's own response": perInterface,
	"gate of the loopback's response":           perInterface,
	"clock of the interface":                    perInterface,
	"gate of the impulse response":              perMethod,
	"what is meant by a delay":                  perMethod,
	"which of several is the extreme":           own,
	"weighting curve":                           perMethod,
	"edge of the noise band":                    perMethod,
	sourceLine:                                  own,
	sourceDistortion:                            perProfile,
}

const (
	sourceScatter = "scatter of the noise itself"
	sourceFloor   = "what the bench itself adds"
	sourcePlug    = "repeatability of the loopback lead"
	sourceBench   = "bench moved, as its own checks saw"
	sourceWhole   = "uncertainty as stated, not itemised"
	// What sourceFloor is of one hum line or tone, and of distortion.
	sourceLine       = "line that the bench itself adds"
	sourceDistortion = "distortion of the bench itself"
)

// The ends of sources that each run has for itself.
const (
	sideNow  = ", now"
	sideThen = ", then"
)

// Known says whether a source of uncertainty is in the table of this package.
func Known(source string) bool {
	_, ok := reaches[family(source)]
	return ok
}

// family is a source's name without what tells two of its kind apart.
func family(source string) string { return strings.TrimSuffix(source, ", of the reference") }

// oneSided is a source's name without the run it is of.
func oneSided(source string) string {
	return strings.TrimSuffix(strings.TrimSuffix(source, sideNow), sideThen)
}

func isLine(source string) bool { return oneSided(source) == sourceLine }

func (t Ties) common(c analysis.Contribution) bool {
	if !t.Method || c.Source == sourceFloor && c.Rectangular {
		return false
	}
	switch reaches[family(c.Source)] {
	case perProfile:
		return t.Profile
	case perInterface:
		return t.Interface || t.Profile
	case perMethod:
		return true
	}
	return false
}

// budgetOf is r's budget; that of a reading which has none is what it states.
// A check of the bench holds the lead plugged when calibrating and the lead
// plugged today in one contribution: only the first is the profile's.
func budgetOf(r analysis.Reading) analysis.Budget {
	if len(r.Budget) == 0 {
		if r.Uncertainty == 0 || r.K == 0 {
			return nil
		}
		return analysis.Budget{{Source: sourceWhole, Kind: "B", Std: r.Uncertainty / r.K}}
	}
	var out analysis.Budget
	floor := sourceFloor
	switch r.Quantity {
	case analysis.Noise:
		floor += ", lines among it"
	case analysis.HumHarmonic, analysis.OtherTone:
		floor = sourceLine
	case analysis.THD:
		floor = sourceDistortion
	case analysis.BenchGainDrift:
		return lastPlugApart(r.Budget)
	}
	for _, c := range r.Budget {
		if c.Source == sourceFloor {
			c.Source = floor
		}
		out = append(out, c)
	}
	return out
}

// lastPlugApart is b with the lead plugged today parted from that of the
// calibration.
func lastPlugApart(b analysis.Budget) analysis.Budget {
	var out analysis.Budget
	for _, c := range b {
		if c.Source == sourcePlug {
			c.Std /= math.Sqrt2
			out = append(out, analysis.Contribution{Source: sourcePlug + ", today", Kind: c.Kind, Std: c.Std})
		}
		out = append(out, c)
	}
	return out
}

// between is the budget of after − before.
func between(before, after analysis.Budget, ties Ties) analysis.Budget {
	var out analysis.Budget
	add := func(c analysis.Contribution) {
		if c.Std > 0 {
			out = append(out, c)
		}
	}
	partner := partners(before, after)
	paired := make([]bool, len(before))
	for i, c := range after {
		j := partner[i]
		if j >= 0 && ties.common(c) && ties.common(before[j]) {
			paired[j] = true
			c.Std = math.Abs(c.Std - before[j].Std)
		} else {
			c.Source += sideNow
		}
		add(c)
	}
	for j, c := range before {
		if !paired[j] {
			c.Source += sideThen
			add(c)
		}
	}
	return out
}

// partners gives for each contribution of after the one of before that has its
// name, taken in order where a name comes twice; -1 where there is none.
func partners(before, after analysis.Budget) []int {
	taken := make([]bool, len(before))
	out := make([]int, len(after))
	for i, c := range after {
		out[i] = -1
		for j, b := range before {
			if !taken[j] && b.Source == c.Source && b.Kind == c.Kind {
				taken[j], out[i] = true, j
				break
			}
		}
	}
	return out
}

// covariance is that of two readings, from what they have in common.
func covariance(a, b analysis.Budget, ties Ties) float64 {
	sum := 0.0
	for i, j := range partners(a, b) {
		if j >= 0 && ties.common(b[i]) && ties.common(a[j]) {
			sum += b[i].Std * a[j].Std
		}
	}
	return sum
}
