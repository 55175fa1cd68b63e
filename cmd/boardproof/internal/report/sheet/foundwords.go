package sheet

import (
	"fmt"
	"math"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
)

func sayGain(_ Source, rows []verdict.Judged) string {
	var parts []string
	for _, j := range rows {
		part := fmt.Sprintf("%.0f %%", 100*math.Pow(10, j.Value/20))
		if len(rows) > 1 && j.Output != "" {
			part += " at " + report.OneLine(j.Output)
		}
		parts = append(parts, part)
	}
	return "What comes out over what goes in, in the middle of the range (1 kHz). 0 dB is the very same level; here it is " +
		strings.Join(parts, ", ") + "."
}

func sayRange(Source, []verdict.Judged) string {
	return "Where lows and highs begin to fade (3 dB down). A guitar reaches down to 82 Hz, a bass to 41 Hz; " +
		"guitar loudspeakers fade above 5 kHz (common practice)."
}

func sayFlatness(s Source, rows []verdict.Judged) string {
	band := analysis.DefaultBand
	for _, step := range s.Plan.Steps {
		if step.Name == rows[0].Step {
			band = step.Band()
		}
	}
	return fmt.Sprintf("The most by which any tone from %s to %s is louder or softer than one of 1 kHz. "+
		"1 dB is about the least that an ear notices (common practice).", hertz(band.LowHz), hertz(band.HighHz))
}

func hertz(f float64) string {
	if f >= 1000 {
		return number(f/1000) + " kHz"
	}
	return number(f) + " Hz"
}

func sayTHD(Source, []verdict.Judged) string {
	return "Overtones that the board adds to a pure tone, as a part of that tone."
}

func sayNoise(_ Source, rows []verdict.Judged) string {
	return "All noise at the output when nobody plays, as the ear hears it (A-weighted)." + belowPlaying(rows)
}

func sayHum(_ Source, rows []verdict.Judged) string {
	return "All that the mains puts in: its frequency and the multiples of it." + belowPlaying(rows)
}

// playingDBu is about the level that a guitar gives: common practice, and the
// level that plans start with.
const playingDBu = -10

// belowPlaying sets the loudest of rows against a guitar.
func belowPlaying(rows []verdict.Judged) string {
	loudest := math.Inf(-1)
	for _, j := range rows {
		loudest = max(loudest, j.Value)
	}
	below := playingDBu - loudest
	if below < 1 {
		return " A guitar gives about −10 dBu (common practice): this is no quieter than the guitar."
	}
	return fmt.Sprintf(" A guitar gives about −10 dBu (common practice): this is %.0f dB below, one part in %s.", below, roughly(math.Pow(10, below/20)))
}

// roughly is a large number in two digits.
func roughly(x float64) string {
	digits := math.Pow10(max(0, int(math.Floor(math.Log10(x)))-1))
	s := fmt.Sprintf("%.0f", math.Round(x/digits)*digits)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func sayMatch(Source, []verdict.Judged) string {
	return "Loudness of one output against the other. 0 dB is exactly alike; 1 dB is about the least that an ear notices (common practice)."
}

func sayPolarity(Source, []verdict.Judged) string {
	return "Same: both loudspeakers push at the same time. Inverted, one pulls while the other pushes, and side by side they thin each other out."
}

// soundMMPerUS is the speed of sound in air of 20 °C, 343 m/s.
const soundMMPerUS = 0.343

func sayDelay(_ Source, rows []verdict.Judged) string {
	largest := 0.0
	for _, j := range rows {
		largest = max(largest, math.Abs(j.Value))
	}
	return fmt.Sprintf("How much later one speaks: as if its loudspeaker stood %s farther away.", distance(largest*soundMMPerUS))
}

func distance(mm float64) string {
	switch {
	case mm < 1:
		return "less than 1 mm"
	case mm < 100:
		return fmt.Sprintf("%.0f mm", mm)
	}
	return fmt.Sprintf("%.1f m", mm/1000)
}

func sayDropOuts(_ Source, rows []verdict.Judged) string {
	return "How often a steady tone broke off in this test: " + report.OneLine(rows[0].Step) + "."
}
