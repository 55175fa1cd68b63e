package report

import (
	"fmt"
	"math"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// mostPlain is how many failures are put into plain words: a board that is dead
// fails in everything.
const mostPlain = 8

// plainWords say what is wrong with a board, a line for each limit that failed,
// what is alike in one line.
func plainWords(rows []verdict.Judged) []string {
	var lines []string
	said := map[string]bool{}
	for _, j := range rows {
		if j.Absent || j.Limit == nil || j.Verdict != verdict.Fail && j.Verdict != verdict.ConditionalFail {
			continue
		}
		line := plainWord(j)
		if said[line] {
			continue
		}
		if len(lines) == mostPlain {
			return append(lines, "and more, as the rows above say")
		}
		said[line] = true
		lines = append(lines, line)
	}
	return lines
}

// plainWord is one failure in words. Where to look is common practice, no source.
func plainWord(j verdict.Judged) string {
	out := "output " + oneLine(j.Output)
	against := oneLine(j.Output) + " against " + oneLine(j.Reference)
	low := j.Limit.Min != nil && j.Value < *j.Limit.Min
	size := fmt.Sprintf("%.1f dB", math.Abs(j.Value))
	switch j.Quantity {
	case analysis.Polarity:
		return out + " is turned over against its input: two wires of a plug, a jack or a transformer are swapped"
	case analysis.PolarityMatch:
		return against + ": one pulls while the other pushes, so two amplifiers thin each other out; two wires of a plug, a jack or a transformer are swapped"
	case analysis.LevelMatch:
		return against + ": " + size + louderOrSofter(j.Value) + "; look at its resistors, its transformer's tap, its load"
	case analysis.WorstLevelMatch:
		return fmt.Sprintf("%s: they part by %s at %s; look at what only one of them goes through", against, size, hertz(j.FrequencyHz))
	case analysis.DelayMatch:
		return against + ": one comes later than the other"
	case analysis.Gain:
		return out + " is too " + map[bool]string{true: "soft", false: "loud"}[low] + ": " + size + louderOrSofter(j.Value) + " than what goes in"
	case analysis.HighCorner:
		return out + " is dull: treble fades from " + hertz(j.Value) + " on; look for long or damaged cable ahead of the buffer"
	case analysis.LowCorner:
		return out + " is thin: bass fades below " + hertz(j.Value) + "; look at coupling capacitors and at what loads them"
	case analysis.Flatness:
		return fmt.Sprintf("%s does not pass all tones alike: %s off at %s", out, size, hertz(j.FrequencyHz))
	case analysis.Noise, analysis.Hiss:
		return out + " hisses or hums too loud: " + What(j.Reading)
	case analysis.Hum, analysis.HumHarmonic:
		return out + " hums too loud; 'boardproof hum hunt' finds where it comes from"
	case analysis.OtherTone:
		return fmt.Sprintf("%s whistles at %s: a converter or a clock is heard", out, hertz(j.FrequencyHz))
	case analysis.THD, analysis.THDN:
		return out + " distorts a clean tone: something clips, or a drive is engaged"
	case analysis.DropOuts:
		return fmt.Sprintf("%s broke off %.0f times while the joints were flexed: a joint, a jack or a plug is loose or cracked", out, j.Value)
	}
	return What(j.Reading) + " is outside of its limit"
}

func louderOrSofter(db float64) string {
	if db < 0 {
		return " softer"
	}
	return " louder"
}
