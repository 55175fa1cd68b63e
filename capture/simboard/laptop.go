package simboard

import "math"

// Laptop is the bench's computer. What it brings is at every input in every
// patch, in volts at the terminals.
type Laptop struct {
	// Frames and Microframes are what the traffic on USB leaves, 1000 and
	// 8000 times a second; both come from one clock and begin together.
	Frames, Microframes Pulses
	// ClockPPM is that clock against the interface's.
	ClockPPM float64
	// ChargerHum and ChargerTones are there while the charger is plugged in.
	ChargerHum   []Harmonic
	ChargerTones []Tone
}

// Pulses are rectangular, one a period.
type Pulses struct {
	PeakVolts float64
	// Duty is the share of the period that a pulse lasts, 0 to 1.
	Duty float64
}

// Rates of USB's frames at full speed and microframes at high speed (the
// USB 2.0 specification, from memory).
const (
	framesHz      = 1000.0
	microframesHz = 8000.0
)

// line is the amplitude of harmonic n, with its sign, as seen from a pulse's
// middle: 2·V·D·sin(πnD)/(πnD).
func (p Pulses) line(n int) float64 {
	x := math.Pi * float64(n) * p.Duty
	if x == 0 {
		return 0
	}
	return 2 * p.PeakVolts * p.Duty * math.Sin(x) / x
}

// tones lists the laptop's lines below a frequency.
func (l *Laptop) tones(belowHz float64) []Tone {
	var all []Tone
	const ratio = int(microframesHz / framesHz)
	for n := 1; ; n++ {
		f := framesHz * float64(n) * (1 + l.ClockPPM*1e-6)
		if f >= belowHz {
			break
		}
		volts := l.Frames.line(n)
		if n%ratio == 0 {
			volts += l.Microframes.line(n / ratio)
		}
		if volts != 0 {
			all = append(all, Tone{FrequencyHz: f, VoltsRMS: math.Abs(volts) / math.Sqrt2})
		}
	}
	return append(all, l.ChargerTones...)
}
