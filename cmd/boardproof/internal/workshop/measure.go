package workshop

import (
	"context"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/testsignals"
)

// What a measurement without a plan is of.
const (
	OfResponse = "response"
	OfSplit    = "split"
	OfSilence  = "silence"
	OfTone     = "tone"
)

// MeasureRequest asks for one measurement without a plan.
type MeasureRequest struct {
	Use
	// Of is one of OfResponse to OfTone.
	Of string
	// Patch says which channel holds which output, the reference first.
	Patch []calibration.Patching
	// LevelDBu is at the board's input.
	LevelDBu float64
	// State is which devices are engaged, for the record.
	State string
}

// Measured is what one measurement gave, of what it was for.
type Measured struct {
	Simulated bool
	// Profile names the bench's, "" where there is none.
	Profile  string
	Notes    []string
	Readings []verdict.Judged
	Curves   []analysis.Curve
	Refused  []analysis.Refusal
}

func signalOf(of string) testsignals.Kind {
	switch of {
	case OfSilence:
		return testsignals.Silence
	case OfTone:
		return testsignals.Tone
	}
	return testsignals.Sweep
}

func checkPatch(of string, patch []calibration.Patching) error {
	if of == OfSplit && len(patch) < 2 {
		return invalidf("a split has at least two outputs: --outputs A=1,B=2")
	}
	return nil
}

const noProfileNote = "the bench has no profile: gains are ratios of full scales, absolute levels are refused"

// Measure plays and records at a bench. Nothing of it is kept.
func (w *Workshop) Measure(ctx context.Context, r MeasureRequest) (*Measured, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	if err := checkPatch(r.Of, r.Patch); err != nil {
		return nil, err
	}
	b, err := w.ChooseBench(ctx, r.Bench)
	if err != nil {
		return nil, err
	}
	in, closeDevice, err := w.open(b, r.Simulation)
	if err != nil {
		return nil, err
	}
	defer closeDevice() //nolint:errcheck // the take is in by then
	profile, err := w.LatestProfile(ctx, b.Name)
	if err != nil {
		return nil, err
	}
	sit := w.connected(b, in, r.Patch, profile)
	sit.Repeats, sit.BoardIn = r.Repeats, r.BoardIn
	if err := sit.CheckProfile(ctx); err != nil {
		return nil, invalid(err)
	}
	check, note, err := w.checkBench(ctx, sit, r.Use)
	if err != nil {
		return nil, err
	}
	res, err := sit.Measure(ctx, signalOf(r.Of), r.LevelDBu, r.State)
	if err != nil {
		return nil, err
	}
	res.Readings = append(check.Readings, res.Readings...)
	m := measured(r.Of, res)
	m.Simulated = in.Describe().Simulated
	if like := sit.LikeLead(); like != "" {
		m.Notes = append(m.Notes, like)
	}
	if profile == nil {
		m.Notes = append(m.Notes, noProfileNote)
		return m, nil
	}
	m.Profile = profile.ID
	if note != "" {
		m.Notes = append(m.Notes, note)
	}
	return m, nil
}

// measured keeps of res what a measurement is for.
func measured(of string, res analysis.Result) *Measured {
	m := &Measured{}
	keep := wanted(of)
	for _, r := range res.Readings {
		if keep(r.Quantity) {
			m.Readings = append(m.Readings, verdict.Judged{Reading: r})
		}
	}
	for _, c := range res.Curves {
		if keep(c.Quantity) {
			m.Curves = append(m.Curves, c)
		}
	}
	for _, r := range res.Refused {
		if keep(r.Quantity) {
			m.Refused = append(m.Refused, r)
		}
	}
	return m
}

// wanted says which quantities a measurement prints: response and split both
// come of a sweep.
func wanted(of string) func(quantity string) bool {
	isMatch := func(q string) bool {
		switch q {
		case analysis.LevelMatch, analysis.WorstLevelMatch, analysis.DelayMatch, analysis.PolarityMatch, analysis.SplitDifference:
			return true
		}
		return false
	}
	switch of {
	case OfResponse:
		return func(q string) bool { return !isMatch(q) }
	case OfSplit:
		return func(q string) bool { return isMatch(q) || q == analysis.ClockError || q == analysis.BenchGainDrift }
	}
	return func(string) bool { return true }
}

// OfTheBoard is false where nothing at all was measured: the recorder's clock
// and the bench's own gain alone are nothing.
func (m *Measured) OfTheBoard() bool {
	for _, r := range m.Readings {
		if r.Quantity != analysis.ClockError && r.Quantity != analysis.BenchGainDrift {
			return true
		}
	}
	return len(m.Curves) > 0
}
