package hunt

import (
	"fmt"
	"math"

	"boardproof/analysis"
)

const (
	// buzzFromHz is where harmonics begin to be called buzz.
	buzzFromHz = 1000.0
	// standsOut is how far above a quadrature's standard uncertainty a line
	// past the 40th must be to be seen: that of package analysis.
	standsOut = 5.0
	// movesDB and movesHz are from where on the hum or the mains is said to
	// have been moving in a take: common practice, no source.
	movesDB = 0.5
	movesHz = 0.2
)

// Read reads each output of a silence recorded under a condition. rec is as
// analysis.SilenceOf takes it.
func Read(rec *analysis.Recording, c Condition) ([]Reading, error) {
	silences, reasons, err := analysis.Silences(rec, 0)
	if err != nil {
		return nil, fmt.Errorf("reading the hum %s: %w", c, err)
	}
	return readings(rec, silences, reasons, c), nil
}

// Watch reads windows of a silence that goes on, as found: other tones and hiss once
// in analysis.SilenceWatch's round, the mains each time.
type Watch struct{ silences analysis.SilenceWatch }

// Read reads the next window.
func (w *Watch) Read(rec *analysis.Recording) ([]Reading, error) {
	silences, reasons, err := w.silences.Silences(rec, 0)
	if err != nil {
		return nil, fmt.Errorf("reading the hum: %w", err)
	}
	return readings(rec, silences, reasons, AsFound), nil
}

func readings(rec *analysis.Recording, silences []*analysis.Silence, reasons []string, c Condition) []Reading {
	out := make([]Reading, len(silences))
	for i, s := range silences {
		if reasons[i] != "" {
			out[i] = Reading{Output: rec.Outputs[i], Condition: c, Reason: reasons[i]}
			continue
		}
		var bench analysis.BenchInput
		if i < len(rec.Bench) {
			bench = rec.Bench[i]
		}
		out[i] = ReadSilence(s, bench, rec.Outputs[i], c)
	}
	return out
}

// ReadSilence reads one output's silence.
func ReadSilence(s *analysis.Silence, bench analysis.BenchInput, output string, c Condition) Reading {
	r := Reading{Output: output, Condition: c, LengthS: s.LengthS, Reason: s.Reason, InVolts: bench.VoltsPerUnit > 0}
	if r.Reason != "" {
		return r
	}
	nominalHz := 50.0
	if s.Mains.Found {
		r.MainsHz, r.DriftHzPerS = s.Mains.FrequencyHz, s.Mains.DriftHzPerS
		nominalHz = r.MainsHz.Value
	}
	buzz := int(buzzFromHz / nominalHz)
	r.Levels = map[string]Level{
		Fundamental: levelOf(s.HumGroup(bench, func(h int) bool { return h == 1 })),
		Even:        levelOf(s.HumGroup(bench, func(h int) bool { return h%2 == 0 && h <= buzz })),
		Odd:         levelOf(s.HumGroup(bench, func(h int) bool { return h%2 == 1 && h > 1 && h <= buzz })),
		Buzz:        levelOf(s.HumGroup(bench, func(h int) bool { return h > buzz })),
		Hiss:        levelOf(s.HissLevel(bench)),
	}
	r.readHarmonics(s, bench)
	r.Tones = tonesOf(s, bench)
	r.ToneBoundV = standsOut * lineStd(s, buzzFromHz)
	r.Levels[OtherTones] = allTones(r.Tones, r.ToneBoundV)
	r.readMoving(s)
	return r
}

func levelOf(g analysis.GroupLevel) Level {
	return Level{g.RMS, g.UpperBound, g.FloorLimited, g.RawRMS, g.BenchRMS}
}

func (r *Reading) readHarmonics(s *analysis.Silence, bench analysis.BenchInput) {
	if !s.Mains.Found {
		for n := 1; n <= 40; n++ {
			r.Harmonics = append(r.Harmonics, Harmonic{N: n, Level: levelOf(s.HumGroup(bench, func(h int) bool { return h == n }))})
		}
		return
	}
	lines := append(append([]analysis.MainsHarmonic(nil), s.Harmonics...), s.HighHarmonics...)
	for _, h := range lines {
		r.Harmonics = append(r.Harmonics, Harmonic{
			N: h.Harmonic, Level: levelOf(s.HarmonicLevel(h, bench)),
			// A mean of several pieces has no phases.
			PhaseRad: h.PhaseRad, PhaseKnown: !h.UpperBound && h.PhaseRad != 0,
		})
	}
	r.HighBoundV = standsOut * lineStd(s, 3*buzzFromHz)
}

// lineStd is the standard uncertainty of each quadrature of a line's RMS, from
// the density of the noise beneath: √(S/2T), Kay (1993), example 3.14.
func lineStd(s *analysis.Silence, hz float64) float64 {
	at := analysis.NearestIndex(s.Density.FrequencyHz, hz)
	if at < 0 {
		return 0
	}
	return s.Density.VoltsPerRootHz[at] / math.Sqrt(2*s.LengthS)
}

func (r *Reading) readMoving(s *analysis.Silence) {
	half, note := s.HumMoves()
	r.HumMovesDB = half
	strayed := math.Abs(r.DriftHzPerS.Value) * r.LengthS
	switch {
	case s.MainsRestless() && smeared(s):
		r.Moving = "the mains frequency wandered more than could be followed"
	case strayed > movesHz:
		r.Moving = fmt.Sprintf("the mains frequency drifted by %.2f Hz", strayed)
	case half > movesDB:
		r.Moving = "the hum was " + note
	}
}

// smeared says whether the strongest harmonic is not all in its line: a mains
// that wanders spoils nothing as long as it can be followed.
func smeared(s *analysis.Silence) bool {
	strongest := analysis.MainsHarmonic{}
	for _, h := range s.Harmonics {
		if !h.UpperBound && h.RMS.Value > strongest.RMS.Value {
			strongest = h
		}
	}
	return strongest.Note != ""
}

// Nominal is 50 or 60, whichever mains the readings found; 0 where none did.
func Nominal(readings []Reading) float64 {
	for _, r := range readings {
		if r.MainsHz.Value > 0 {
			return 10 * math.Round(r.MainsHz.Value/10)
		}
	}
	return 0
}
