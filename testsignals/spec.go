package testsignals

import (
	"fmt"
	"math"
)

// Kind names what the body of a signal is.
type Kind string

// The four kinds of signal.
const (
	Sweep    Kind = "sweep"
	Impulses Kind = "impulses"
	Tone     Kind = "tone"
	Silence  Kind = "silence"
)

// Rates that a signal may have, in hertz.
const (
	MinRateHz = 44100
	MaxRateHz = 192000
)

// SpecFormat is the version of Spec as it travels inside WAV files. A change
// that would make old files generate other samples needs a new one.
const SpecFormat = "boardproof-signal/1"

// SpecFormatPilots is that of a sweep with pilot tones: a program that does not know
// them must not take such a recording for a plain sweep's.
const SpecFormatPilots = "boardproof-signal/2"

// Spec is all that is needed to make a signal again, sample for sample.
type Spec struct {
	Format string `json:"format"`
	Kind   Kind   `json:"kind"`
	RateHz int    `json:"rate_hz"`
	// LevelDBFS is the level of the body relative to a sine whose peaks just
	// reach full scale (AES17). For impulses it is their peak, in dB re 1.0.
	// A silence has the level of its marks.
	LevelDBFS float64 `json:"level_dbfs"`
	// DurationS is the length of the body in seconds as asked for. A sweep's
	// own length is the nearest that keeps its harmonics in phase.
	DurationS float64 `json:"duration_s"`
	// StartHz and StopHz bound a sweep.
	StartHz float64 `json:"start_hz,omitempty"`
	StopHz  float64 `json:"stop_hz,omitempty"`
	// PilotBelowDB is how far each of a sweep's pilot tones ([PilotsHz]) is below
	// the sweep, in dB; 0 is a sweep without.
	PilotBelowDB float64 `json:"pilot_below_db,omitempty"`
	// FrequencyHz is a tone's frequency.
	FrequencyHz float64 `json:"frequency_hz,omitempty"`
	// PeriodS is the spacing of impulses in seconds.
	PeriodS float64 `json:"period_s,omitempty"`
	// LeadS and TailS are the silences before and after the body, in seconds.
	LeadS float64 `json:"lead_s"`
	TailS float64 `json:"tail_s"`
}

// Defaults that suit a pedalboard: long enough for 10 Hz, short enough for
// the bench.
const (
	DefaultSweepS   = 5.0
	DefaultImpulseS = 16 * DefaultPeriodS
	// DefaultPeriodS is no multiple of a mains period, so that hum does not add
	// up in the average of the impulses.
	DefaultPeriodS  = 0.307
	DefaultToneS    = 2.0
	DefaultSilenceS = 10.0
	defaultLeadS    = 0.6
	defaultTailS    = 0.9
	// sweepStartHz leaves room below 10 Hz for the edge of the band to die out.
	sweepStartHz = 2.0
	// A sweep stops at this share of the rate: as near to half as a
	// converter's own filter lets through.
	sweepStopShare = 0.49
)

// New returns the Spec of a kind with default durations and bounds.
// durationS of 0 means the kind's default.
func New(kind Kind, rateHz int, levelDBFS, durationS float64) Spec {
	s := Spec{
		Format: SpecFormat, Kind: kind, RateHz: rateHz, LevelDBFS: levelDBFS,
		DurationS: durationS, LeadS: defaultLeadS, TailS: defaultTailS,
	}
	defaultS := 0.0
	switch kind {
	case Sweep:
		s.StartHz, s.StopHz = sweepStartHz, sweepStopShare*float64(rateHz)
		s.Format, s.PilotBelowDB = SpecFormatPilots, defaultPilotBelowDB
		defaultS = DefaultSweepS
	case Impulses:
		s.PeriodS = DefaultPeriodS
		defaultS = DefaultImpulseS
	case Tone:
		s.FrequencyHz = 1000
		defaultS = DefaultToneS
	case Silence:
		defaultS = DefaultSilenceS
	}
	if durationS == 0 {
		s.DurationS = defaultS
	}
	return s
}

// Amplitude returns the peak amplitude of the body in full scales.
func (s Spec) Amplitude() float64 { return math.Pow(10, s.LevelDBFS/20) }

// Validate reports the first thing that is wrong with s, in words that name
// the parameter and its allowed range.
func (s Spec) Validate() error {
	if s.Format != SpecFormat && s.Format != SpecFormatPilots {
		return fmt.Errorf("signal format %q is not known, this version reads %q and %q", s.Format, SpecFormat, SpecFormatPilots)
	}
	if s.RateHz < MinRateHz || s.RateHz > MaxRateHz {
		return fmt.Errorf("rate %d Hz is outside %d to %d Hz", s.RateHz, MinRateHz, MaxRateHz)
	}
	if !within(s.LevelDBFS, -100, 0) {
		return fmt.Errorf("level %g dBFS is outside -100 to 0 dBFS", s.LevelDBFS)
	}
	if !within(s.LeadS, 0.1, 60) || !within(s.TailS, 0.1, 60) {
		return fmt.Errorf("lead %g s and tail %g s must each be 0.1 to 60 s", s.LeadS, s.TailS)
	}
	if err := s.validateBody(); err != nil {
		return err
	}
	return s.validatePilots()
}

func (s Spec) validatePilots() error {
	pilots := s.PilotBelowDB != 0
	if pilots != (s.Format == SpecFormatPilots) || pilots && s.Kind != Sweep {
		return fmt.Errorf("pilot tones %g dB below a %s do not go with signal format %q", s.PilotBelowDB, s.Kind, s.Format)
	}
	if pilots && !within(s.PilotBelowDB, 10, 60) {
		return fmt.Errorf("pilot tones %g dB below the sweep are outside 10 to 60 dB", s.PilotBelowDB)
	}
	return nil
}

// WithoutPilots is s without pilot tones, as sweeps were made before there were any.
func (s Spec) WithoutPilots() Spec {
	s.Format, s.PilotBelowDB = SpecFormat, 0
	return s
}

func (s Spec) validateBody() error {
	half := float64(s.RateHz) / 2
	switch s.Kind {
	case Sweep:
		if !within(s.DurationS, 0.5, 120) {
			return fmt.Errorf("sweep of %g s is outside 0.5 to 120 s", s.DurationS)
		}
		if !within(s.StartHz, 1, 1000) || !within(s.StopHz, 2*s.StartHz, half) {
			return fmt.Errorf("sweep from %g to %g Hz: start must be 1 to 1000 Hz, stop at least twice that and at most %g Hz",
				s.StartHz, s.StopHz, half)
		}
	case Impulses:
		if !within(s.PeriodS, 0.05, 5) || !within(s.DurationS, 2*s.PeriodS, 300) {
			return fmt.Errorf("impulses every %g s for %g s: the period must be 0.05 to 5 s and the train at least two periods, at most 300 s",
				s.PeriodS, s.DurationS)
		}
	case Tone:
		if !within(s.FrequencyHz, 10, 0.45*float64(s.RateHz)) {
			return fmt.Errorf("tone of %g Hz is outside 10 to %g Hz", s.FrequencyHz, 0.45*float64(s.RateHz))
		}
		if !within(s.DurationS, 0.3, 3600) {
			return fmt.Errorf("tone of %g s is outside 0.3 to 3600 s", s.DurationS)
		}
	case Silence:
		if !within(s.DurationS, 0.5, 3600) {
			return fmt.Errorf("silence of %g s is outside 0.5 to 3600 s", s.DurationS)
		}
	default:
		return fmt.Errorf("signal kind %q is not one of sweep, impulses, tone, silence", s.Kind)
	}
	return nil
}

// within is false for NaN.
func within(v, lo, hi float64) bool { return v >= lo && v <= hi }
