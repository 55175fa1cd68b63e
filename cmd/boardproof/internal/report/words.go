package report

import (
	"fmt"
	"strings"
	"unicode"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// What names a reading in plain words, such as "hum harmonic 3 (150 Hz),
// output B" or "level match B against A".
func What(r analysis.Reading) string {
	name := quantityWords(r)
	switch {
	case r.Reference != "":
		name += fmt.Sprintf(" %s against %s", oneLine(r.Output), oneLine(r.Reference))
	case r.Output != "":
		name += ", output " + oneLine(r.Output)
	}
	return name + at(r)
}

func quantityWords(r analysis.Reading) string {
	switch r.Quantity {
	case analysis.LowCorner:
		return "low corner (−3 dB)"
	case analysis.HighCorner:
		return "high corner (−3 dB)"
	case analysis.Noise, analysis.Hiss:
		return r.Quantity + weightingWords(r.Weighting)
	case analysis.Hum:
		return "hum, all harmonics"
	case analysis.HumHarmonic:
		if r.Harmonic == 0 {
			return "hum harmonics"
		}
		name := fmt.Sprintf("hum harmonic %d", r.Harmonic)
		if r.FrequencyHz > 0 && finite(r.FrequencyHz) {
			name += fmt.Sprintf(" (%s)", hertz(r.FrequencyHz))
		}
		return name
	case analysis.OtherTone:
		if r.FrequencyHz == 0 {
			return "other tones"
		}
		return "tone at " + hertz(r.FrequencyHz)
	case analysis.WorstLevelMatch:
		return "worst level match"
	case analysis.THD:
		return "THD"
	case analysis.THDN:
		return "THD+N"
	case analysis.ClockError:
		return "clock error of the recorder"
	case analysis.Delay:
		return "delay (taken out of the phase)"
	case analysis.DropOuts:
		return "drop-outs"
	case analysis.BenchGainDrift:
		return "bench drift"
	case analysis.NoiseDensity:
		return "noise density"
	}
	return oneLine(strings.ReplaceAll(r.Quantity, "_", " "))
}

func weightingWords(w string) string {
	switch w {
	case "":
		return ""
	case "none":
		return " unweighted"
	case "A":
		return " A-weighted"
	case "468":
		return " ITU-R 468 RMS"
	}
	return " " + oneLine(w) + "-weighted"
}

// at adds the frequency where the name does not have it yet. These are
// read at 1 kHz unless another frequency is named.
func at(r analysis.Reading) string {
	switch r.Quantity {
	case analysis.HumHarmonic, analysis.OtherTone, analysis.LowCorner, analysis.HighCorner, analysis.MainsFrequency:
		return ""
	case analysis.Gain, analysis.LevelMatch, analysis.THD, analysis.THDN:
		if r.FrequencyHz == 1000 {
			return ""
		}
	}
	if r.FrequencyHz <= 0 || !finite(r.FrequencyHz) {
		return ""
	}
	return " at " + hertz(r.FrequencyHz)
}

// hertz names a frequency: three significant digits are enough for a name.
func hertz(f float64) string {
	if !finite(f) {
		return none
	}
	unit := "Hz"
	if f >= 1000 {
		f, unit = f/1000, "kHz"
	}
	s := strings.TrimRight(fmt.Sprintf("%.*f", nameDecimals(f), f), "0")
	if !strings.Contains(s, ".") {
		s = fmt.Sprintf("%.0f", f)
	}
	return strings.TrimSuffix(s, ".") + " " + unit
}

func nameDecimals(f float64) int {
	switch {
	case f < 10:
		return 2
	case f < 100:
		return 1
	}
	return 0
}

func verdictWords(o verdict.Outcome) string {
	switch o {
	case verdict.Pass:
		return "PASS"
	case verdict.ConditionalPass:
		return "pass, conditional"
	case verdict.ConditionalFail:
		return "fail, conditional"
	case verdict.Fail:
		return "FAIL"
	}
	return oneLine(string(o))
}

// refusalLines words refusals, those of one output and one reason together.
func refusalLines(all []analysis.Refusal) []string {
	type cause struct{ output, reference, state, reason string }
	var causes []cause
	names := map[cause][]string{}
	for _, r := range all {
		c := cause{r.Output, r.Reference, r.State, r.Reason}
		if names[c] == nil {
			causes = append(causes, c)
		}
		names[c] = append(names[c], What(analysis.Reading{Quantity: r.Quantity}))
	}
	var lines []string
	for _, c := range causes {
		what := ""
		if c.output != "" {
			what = "output " + oneLine(c.output)
		}
		if c.reference != "" {
			what += " against " + oneLine(c.reference)
		}
		if c.state != "" {
			what += " (" + oneLine(c.state) + ")"
		}
		if what != "" {
			what += ": "
		}
		lines = append(lines, what+strings.Join(names[c], ", ")+": "+oneLine(c.reason))
	}
	return lines
}

// Count is a number of things: "1 run", "3 runs".
func Count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// oneLine makes text from elsewhere safe to print: names may hold line breaks
// and terminal codes.
func oneLine(s string) string {
	s = strings.ToValidUTF8(s, "?")
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.C, r):
			return -1
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}
