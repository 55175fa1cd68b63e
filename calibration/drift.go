package calibration

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/testsignals"
)

const (
	// driftK times the standard uncertainty, and driftFloorDB at least, is how
	// far a loopback may be from the profile's before it counts as drift. The
	// floor is what temperature does to an interface: common practice, no
	// source.
	driftK       = 3.0
	driftFloorDB = 0.02
	// knobDB is beyond what a touched control does unnoticed.
	knobDB = 6.0
)

// Drift is how far the loopback's gain at one input is from the profile's.
type Drift struct {
	Output string
	Input  int
	// DB is above 0 where it is now the louder.
	DB     float64
	Budget analysis.Budget
	// LimitDB is how far it may be.
	LimitDB float64
}

// Drifted says whether d is beyond what scatter does.
func (d Drift) Drifted() bool { return math.Abs(d.DB) > d.LimitDB }

// Reading is d as a reading to keep.
func (d Drift) Reading(frequencyHz float64) analysis.Reading {
	return analysis.Reading{
		Quantity: analysis.BenchGainDrift, Output: d.Output, FrequencyHz: frequencyHz, Value: d.DB,
		Unit: analysis.UnitOf(analysis.BenchGainDrift), Uncertainty: d.Budget.Expanded(),
		K: analysis.CoverageK, Budget: d.Budget, Note: "loopback now over the profile's, before the board was connected",
	}
}

// CheckTone is the tone of the check before use: quiet, and with all that goes
// with it under three seconds.
func CheckTone(rateHz int) testsignals.Spec {
	s := testsignals.New(testsignals.Tone, rateHz, -20, 1)
	s.LeadS, s.TailS = shortSilenceS, shortSilenceS
	return s
}

// LinearityTone is one of the tones that linearity is read from.
func LinearityTone(rateHz int, levelDBFS float64) testsignals.Spec {
	s := CheckTone(rateHz)
	s.LevelDBFS = levelDBFS
	return s
}

// shortSilenceS is before and after a short tone: enough for a lead, which
// does not ring.
const shortSilenceS = 0.2

// Drifts compares a tone through the loopback lead with p. tone must come
// without what a profile knows, its rows as in patch.
func (p *Profile) Drifts(tone *analysis.Recording, patch []Patching) ([]Drift, error) {
	gains, err := loopbackGains(tone)
	if err != nil {
		return nil, fmt.Errorf("comparing the bench with profile %s: %w", p.ID, err)
	}
	all := make([]Drift, len(patch))
	for i, c := range patch {
		known, err := p.Known(c.Input)
		if err != nil {
			return nil, err
		}
		at := analysis.NearestIndex(known.Loopback.FrequencyHz, tone.Signal.FrequencyHz)
		if at < 0 {
			return nil, fmt.Errorf("comparing the bench with profile %s: it holds no response of input %d", p.ID, c.Input)
		}
		then := analysis.DB(math.Hypot(known.Loopback.Re[at], known.Loopback.Im[at]))
		b := analysis.Budget{
			{Source: sourceTodayNoise, Kind: "A", Std: gains[i].Std},
			{Source: sourceLoopNoise, Kind: "B", Std: analysis.DBFromRelative(known.Loopback.RelStd[at])},
			// Plugged once then and once now.
			{Source: sourceLoopPlug, Kind: "B", Std: analysis.DBFromRelative(math.Sqrt2 * known.PlugRelStd)},
		}
		all[i] = Drift{Output: c.Output, Input: c.Input, DB: gains[i].Value - then, Budget: b,
			LimitDB: math.Max(driftK*b.Std(), driftFloorDB)}
	}
	return all, nil
}

const sourceTodayNoise = "noise recorded beside the signal"

// DriftAdvice says what moved, by how much, which way, and which control to
// look at; "" where nothing did.
func DriftAdvice(all []Drift) string {
	var moved, still []string
	var by []string
	lo, hi, sum, limit := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for _, d := range all {
		limit = math.Max(limit, d.LimitDB)
		if !d.Drifted() {
			still = append(still, fmt.Sprint(d.Input))
			continue
		}
		moved = append(moved, fmt.Sprint(d.Input))
		by = append(by, fmt.Sprintf("input %d is %s", d.Input, upOrDown(d.DB)))
		lo, hi, sum = math.Min(lo, d.DB), math.Max(hi, d.DB), sum+d.DB
	}
	if len(moved) == 0 {
		return ""
	}
	what := strings.Join(by, ", ")
	var look string
	switch {
	case len(all) == 1:
		look = fmt.Sprintf("look at the gain control of input %s and at the output's level control", moved[0])
	case len(still) > 0:
		look = fmt.Sprintf("%s where calibrated: look at the gain control of %s", inputsAre(still), inputsNamed(moved))
	case hi-lo <= math.Sqrt2*limit:
		what = "all inputs are " + upOrDown(sum/float64(len(all)))
		look = "alike: look at the output's level control"
	default:
		look = fmt.Sprintf("not alike: look at the gain controls of %s and at the output's level control", inputsNamed(moved))
	}
	advice := fmt.Sprintf("%s against its profile (allowed ±%.2f dB), %s; turn it back or calibrate again", what, limit, look)
	if slices.ContainsFunc(all, func(d Drift) bool { return math.Abs(d.DB) > knobDB }) {
		advice += fmt.Sprintf("; more than %g dB may also be a lead in the wrong socket, or a board still connected", knobDB)
	}
	return advice
}

func upOrDown(db float64) string {
	if db < 0 {
		return fmt.Sprintf("%.2f dB down", -db)
	}
	return fmt.Sprintf("%.2f dB up", db)
}

func inputsNamed(numbers []string) string {
	if len(numbers) == 1 {
		return "input " + numbers[0]
	}
	last := len(numbers) - 1
	return "inputs " + strings.Join(numbers[:last], ", ") + " and " + numbers[last]
}

func inputsAre(numbers []string) string {
	if len(numbers) == 1 {
		return inputsNamed(numbers) + " is"
	}
	return inputsNamed(numbers) + " are"
}
