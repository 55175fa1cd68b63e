package sheet

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
)

// found is one of the figures that a player understands.
type found struct {
	Name, Sentence string
	// Values are one for each output, or for the worst of them.
	Values []value
	// Mark is the worst verdict of what the figure stands for, Tone its colour.
	Mark, Tone string
}

// value is a figure and which output it is of, "" where that goes without
// saying.
type value struct{ Where, Figure string }

// topic is what is told of a group of quantities. The first of them is shown;
// all of them are judged together.
type topic struct {
	name       string
	quantities []string
	weighting  string
	// several: it means something only where there are several outputs.
	several bool
	// finest is the power of ten of the last digit shown of a plain pass.
	finest int
	say    func(s Source, rows []verdict.Judged) string
	// show words the figures where they are not simply those of the first
	// quantity.
	show func(t topic, rows []verdict.Judged) []value
}

func topics() []topic {
	return []topic{
		{name: "Level", quantities: []string{analysis.Gain}, finest: -2, say: sayGain},
		{name: "Lows and highs", quantities: []string{analysis.LowCorner, analysis.HighCorner}, finest: -1, say: sayRange, show: showRange},
		{name: "Evenness", quantities: []string{analysis.Flatness, analysis.Response}, finest: -2, say: sayFlatness},
		{name: "Clean sound", quantities: []string{analysis.THD, analysis.THDN}, finest: -3, say: sayTHD},
		{name: "Noise", quantities: []string{analysis.Noise, analysis.Hiss}, weighting: "A", finest: -1, say: sayNoise},
		{name: "Hum", quantities: []string{analysis.Hum, analysis.HumHarmonic}, finest: -1, say: sayHum},
		{name: "Outputs: loudness", quantities: []string{analysis.LevelMatch, analysis.WorstLevelMatch}, several: true, finest: -2, say: sayMatch},
		{name: "Outputs: polarity", quantities: []string{analysis.PolarityMatch}, several: true, say: sayPolarity},
		{name: "Outputs: timing", quantities: []string{analysis.DelayMatch}, several: true, finest: -1, say: sayDelay},
		{name: "Joints", quantities: []string{analysis.DropOuts}, say: sayDropOuts},
	}
}

// findings are the topics that the run says something of.
func findings(s Source) []found {
	var all []found
	for _, t := range topics() {
		if rows := t.rows(s); len(rows) > 0 {
			all = append(all, t.found(s, rows))
		}
	}
	return all
}

// untold are the names of topics that the run has nothing of.
func untold(s Source) []string {
	var names []string
	for _, t := range topics() {
		if t.several && len(s.Run.BoardAsWas.Outputs) < 2 {
			continue
		}
		if len(t.rows(s)) == 0 {
			names = append(names, strings.ToLower(t.name))
		}
	}
	return names
}

// rows are the readings of a topic, in the step that came out worst.
func (t topic) rows(s Source) []verdict.Judged {
	steps := map[string][]verdict.Judged{}
	var order []string
	for _, j := range s.Run.Readings {
		if !slices.Contains(t.quantities, j.Quantity) || t.weighting != "" && j.Weighting != t.weighting && j.Weighting != "" {
			continue
		}
		if steps[j.Step] == nil {
			order = append(order, j.Step)
		}
		steps[j.Step] = append(steps[j.Step], j)
	}
	var worst []verdict.Judged
	for _, step := range order {
		if worst == nil || rank(worstOf(steps[step])) > rank(worstOf(worst)) {
			worst = steps[step]
		}
	}
	return worst
}

func (t topic) found(s Source, rows []verdict.Judged) found {
	o := worstOf(rows)
	f := found{Name: t.name, Mark: markOf(o), Tone: toneOf(o)}
	shown := t.shown(rows)
	f.Values = t.values(shown, len(s.Run.BoardAsWas.Outputs))
	if t.show != nil {
		if values := t.show(t, rows); values != nil {
			f.Values = values
		}
	}
	read := slices.DeleteFunc(slices.Clone(shown), func(j verdict.Judged) bool { return j.Absent })
	if len(read) == 0 {
		f.Sentence = sentence(shown[0].Note)
		return f
	}
	f.Sentence = t.say(s, slices.DeleteFunc(slices.Clone(read), func(j verdict.Judged) bool { return j.Quantity != read[0].Quantity }))
	if slices.ContainsFunc(read, func(j verdict.Judged) bool { return j.FloorLimited }) {
		f.Sentence += " The bench itself is no better: the board may be."
	}
	f.Sentence = held(f.Sentence)
	return f
}

// shown are the rows whose figures are given: those of the first quantity, and
// of the others what did not plainly pass.
func (t topic) shown(rows []verdict.Judged) []verdict.Judged {
	shown := slices.DeleteFunc(slices.Clone(rows), func(j verdict.Judged) bool {
		return j.Quantity != t.quantities[0] && rank(j.Verdict) <= rank(verdict.Pass)
	})
	if len(shown) == 0 {
		return rows
	}
	return shown
}

// values are the figures of rows, outputs that read alike together.
func (t topic) values(rows []verdict.Judged, outputs int) []value {
	var values []value
	for _, j := range rows {
		v := value{Where: report.OneLine(j.Output), Figure: t.figure(j)}
		if j.Reference != "" {
			v.Where += " against " + report.OneLine(j.Reference)
		}
		if outputs < 2 || outputs == 2 && j.Reference != "" {
			v.Where = ""
		}
		i := slices.IndexFunc(values, func(o value) bool { return o.Figure == v.Figure })
		switch {
		case i < 0:
			values = append(values, v)
		case v.Where != "":
			values[i].Where += ", " + v.Where
		}
	}
	if len(values) == 1 && outputs > 2 {
		values[0].Where = "all"
	}
	return values
}

// figure is a reading's figure. What comes near its limit is shown with every
// digit, so that it can be held against it.
func (t topic) figure(j verdict.Judged) string {
	value := strings.TrimPrefix(report.Rounded(j.Reading, t.finest), "+")
	if j.Verdict != verdict.Pass && j.Verdict != "" && !(j.Verdict == verdict.Fail && t.farOff(j)) {
		value = report.FigureOf(j).Value
	}
	if j.Absent {
		value = markOf(verdict.NotMeasured)
	}
	if j.Quantity != t.quantities[0] || t.show != nil {
		value = asides[j.Quantity] + " " + value
	}
	return value
}

// farOff says whether j is so far beyond its limit that rounding does not bring
// it there.
func (t topic) farOff(j verdict.Judged) bool {
	step := math.Pow10(t.finest)
	// Frequencies may be shown in kHz, where a step is another.
	if j.Limit == nil || j.Uncertainty > step || t.show != nil {
		return false
	}
	low, high := j.Limit.Min, j.Limit.Max
	return low != nil && j.Value < *low-step || high != nil && j.Value > *high+step
}

// asides name the figures that stand beside a topic's own.
var asides = map[string]string{
	analysis.LowCorner: "lows", analysis.HighCorner: "highs", analysis.Response: "at worst", analysis.WorstLevelMatch: "at worst",
	analysis.THDN: "with noise", analysis.Hiss: "hiss alone", analysis.HumHarmonic: "one line of it",
}

// showRange is from the highest low corner to the lowest high corner of any
// output; nil where one of them is missing or did not plainly pass, and where
// each is to be seen.
func showRange(t topic, rows []verdict.Judged) []value {
	var low, high *verdict.Judged
	for i, j := range rows {
		switch {
		case j.Absent || rank(j.Verdict) > rank(verdict.Pass):
			return nil
		case j.Quantity == analysis.LowCorner && (low == nil || j.Value > low.Value):
			low = &rows[i]
		case j.Quantity == analysis.HighCorner && (high == nil || j.Value < high.Value):
			high = &rows[i]
		}
	}
	if low == nil || high == nil {
		return nil
	}
	return []value{{"from", report.Rounded(low.Reading, t.finest)}, {"to", report.Rounded(high.Reading, t.finest)}}
}

func rank(o verdict.Outcome) int {
	return slices.Index([]verdict.Outcome{"", verdict.Pass, verdict.ConditionalPass, verdict.NotMeasured, verdict.ConditionalFail, verdict.Fail}, o)
}

func worstOf(rows []verdict.Judged) verdict.Outcome {
	worst := verdict.Outcome("")
	for _, j := range rows {
		if rank(j.Verdict) > rank(worst) {
			worst = j.Verdict
		}
	}
	return worst
}

func toneOf(o verdict.Outcome) string {
	switch {
	case o == verdict.Pass:
		return "good"
	case o.Failed():
		return "bad"
	}
	return "open"
}

var units = regexp.MustCompile(`([0-9]) (dB|dBu|Hz|kHz|%|mm)\b|([0-9]) %`)

// held keeps numbers and their units on one line.
func held(text string) string {
	return units.ReplaceAllStringFunc(text, func(s string) string { return strings.ReplaceAll(s, " ", string(noBreak)) })
}

// sentence makes a note one.
func sentence(note string) string {
	note = report.OneLine(note)
	if note == "" {
		return ""
	}
	return strings.ToUpper(note[:1]) + note[1:] + "."
}
