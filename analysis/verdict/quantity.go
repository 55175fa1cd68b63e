package verdict

import (
	"boardproof/analysis"
	"boardproof/testsignals"
)

// trait says what a quantity can be read from and what a limit on it may name.
type trait struct {
	signals []testsignals.Kind
	// match quantities compare an output with a reference output.
	match bool
	// weighted and banded quantities must name a weighting or a band.
	weighted, banded bool
	harmonic         bool
	// frequency: several may be read at several frequencies.
	frequency bool
	// mayBeNone: finding none is a result, not a gap.
	mayBeNone bool
}

var (
	fromSweep   = []testsignals.Kind{testsignals.Sweep}
	fromPulse   = []testsignals.Kind{testsignals.Sweep, testsignals.Impulses}
	fromTone    = []testsignals.Kind{testsignals.Tone}
	fromSilence = []testsignals.Kind{testsignals.Silence}
	fromLevel   = []testsignals.Kind{testsignals.Sweep, testsignals.Impulses, testsignals.Tone}
)

// traits holds every quantity that a plan can limit.
var traits = map[string]trait{
	analysis.Gain:            {signals: fromLevel, frequency: true},
	analysis.LowCorner:       {signals: fromPulse},
	analysis.HighCorner:      {signals: fromPulse},
	analysis.Flatness:        {signals: fromPulse, banded: true},
	analysis.Delay:           {signals: fromPulse},
	analysis.Polarity:        {signals: fromPulse},
	analysis.LevelMatch:      {signals: fromLevel, match: true, frequency: true},
	analysis.WorstLevelMatch: {signals: fromSweep, match: true, banded: true},
	analysis.DelayMatch:      {signals: fromPulse, match: true},
	analysis.PolarityMatch:   {signals: fromPulse, match: true},
	analysis.THD:             {signals: fromTone, frequency: true},
	analysis.THDN:            {signals: fromTone, frequency: true},
	analysis.Level:           {signals: fromTone, frequency: true},
	analysis.DropOuts:        {signals: fromTone},
	analysis.Noise:           {signals: fromSilence, weighted: true},
	analysis.Hiss:            {signals: fromSilence, weighted: true},
	analysis.MainsFrequency:  {signals: fromSilence},
	analysis.Hum:             {signals: fromSilence},
	analysis.HumHarmonic:     {signals: fromSilence, harmonic: true},
	analysis.OtherTone:       {signals: fromSilence, frequency: true, mayBeNone: true},
}
