package sheet

import (
	"fmt"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// content is all that stands on a sheet, in words, ready to be set.
type content struct {
	Simulated bool
	Title     string
	Workshop  string
	Board     string
	// Whose is owner and serial in one line, "" where neither is known.
	Whose   string
	Outcome outcome
	// Attention are the limits that were not plainly passed.
	Attention []string
	Found     []found
	Devices   []device
	Plots     []picture
	// Remarks are headed paragraphs: how it was judged, what was not measured.
	Remarks []remark
	Facts   []fact
	// Bench are the bench copy's own tables, none on a player's sheet.
	Bench    []section
	Identity string
	Digest   string
	Run      string
	// Checked says how a copy can be checked.
	Checked string
	// plotHeight is that of a plot in a PDF, in points.
	plotHeight vg.Length
}

type outcome struct {
	// Tone is "good", "bad" or "open"; it chooses the accent.
	Tone, Word, Sentence string
}

type device struct{ Number, Name, Kind, Supply string }

type picture struct {
	Title, Caption string
	paint          func(draw.Canvas)
	// strip is by how much it is higher than others, in points.
	strip vg.Length
}

type remark struct {
	Title string
	Text  []string
}

type fact struct{ Name, Value string }

// newContent words a run.
func newContent(s Source, o Options) content {
	b := s.Run.BoardAsWas
	c := content{
		Simulated: s.Run.Simulated, Title: "Pedalboard test sheet", Workshop: report.OneLine(o.Workshop), Board: report.OneLine(b.Label),
		Whose: whose(b), Outcome: outcomeOf(s), Attention: attention(s.Run.Readings), Found: findings(s),
		Devices: devices(b.Chain), Plots: pictures(s), Remarks: remarks(s), Facts: facts(s, o),
		Identity: s.Identity(), Digest: s.Digest, Run: s.Run.ID,
		Checked: "A copy of this sheet can be checked against the store of the bench that made it: boardproof sheet --check FILE",
	}
	if o.Kind == Bench {
		c.Title = "Pedalboard test record"
		c.Bench = benchSections(s)
	}
	return c
}

func whose(b db.Board) string {
	var parts []string
	if owner := report.OneLine(b.Owner); owner != "" {
		parts = append(parts, "for "+owner)
	}
	if serial := report.OneLine(b.Serial); serial != "" {
		parts = append(parts, "serial "+serial)
	}
	return strings.Join(parts, "  ·  ")
}

func outcomeOf(s Source) outcome {
	n := map[verdict.Outcome]int{}
	limits := 0
	for _, j := range s.Run.Readings {
		if j.Verdict != "" {
			n[j.Verdict]++
			limits++
		}
	}
	failed, missing := n[verdict.Fail]+n[verdict.ConditionalFail], n[verdict.NotMeasured]
	of := fmt.Sprintf("%d of %s", failed, limitsInWords(limits))
	switch {
	case limits == 0:
		return outcome{"open", "Measured, not judged", "No limits were set for this measurement."}
	case failed > 0 && missing > 0:
		return outcome{"bad", "Not passed", fmt.Sprintf("%s of its test plan %s not met, and %d could not be measured.", of, are(failed), missing)}
	case failed > 0:
		return outcome{"bad", "Not passed", fmt.Sprintf("%s of its test plan %s not met.", of, are(failed))}
	case missing > 0:
		return outcome{"open", "Not complete", fmt.Sprintf("%d of %s of its test plan could not be measured; the others are met.", missing, limitsInWords(limits))}
	case n[verdict.ConditionalPass] > 0:
		return outcome{"open", "Passed, with a condition", fmt.Sprintf(
			"All %s of its test plan are met, %d of them by less than the measurement is uncertain by.", limitsInWords(limits), n[verdict.ConditionalPass])}
	case s.Plan.Rule == verdict.Simple:
		return outcome{"good", "Passed", fmt.Sprintf("All %s of its test plan are met.", limitsInWords(limits))}
	}
	return outcome{"good", "Passed", fmt.Sprintf("All %s of its test plan are met, with the uncertainty of the measurement counted against each.", limitsInWords(limits))}
}

func limitsInWords(n int) string {
	if n == 1 {
		return "1 limit"
	}
	return fmt.Sprintf("%d limits", n)
}

func are(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// attention words what was not plainly passed, failures first.
func attention(rows []verdict.Judged) []string {
	var lines []string
	for _, o := range []verdict.Outcome{verdict.Fail, verdict.ConditionalFail, verdict.NotMeasured, verdict.ConditionalPass} {
		for _, j := range rows {
			if j.Verdict == o {
				lines = append(lines, attentionLine(j))
			}
		}
	}
	return lines
}

func attentionLine(j verdict.Judged) string {
	f := report.FigureOf(j)
	what := report.What(j.Reading)
	if j.State != "" {
		what += " (" + report.OneLine(j.State) + ")"
	}
	if j.Verdict == verdict.NotMeasured {
		line := what + ": not measured; the limit is " + f.Limit
		if note := report.OneLine(j.Note); note != "" {
			line += ": " + note
		}
		return line
	}
	line := what + ": " + f.Value + plusMinus(f) + "; the limit is " + f.Limit + ": "
	if condition := report.ConditionLine(j); condition != "" {
		return line + condition
	}
	return line + markOf(j.Verdict)
}

// plusMinus is the uncertainty behind a value, "" where there is none.
func plusMinus(f report.Figure) string {
	if strings.Trim(f.Uncertainty, "—") == "" {
		return ""
	}
	return " ± " + f.Uncertainty
}

// markOf is a verdict beside a figure.
func markOf(o verdict.Outcome) string {
	switch o {
	case verdict.Pass:
		return "passed"
	case verdict.ConditionalPass:
		return "passed, conditional"
	case verdict.ConditionalFail:
		return "failed, conditional"
	case verdict.Fail:
		return "failed"
	case verdict.NotMeasured:
		return "not measured"
	}
	return "no limit"
}

func devices(chain []db.Device) []device {
	var all []device
	for i, d := range chain {
		all = append(all, device{strconv.Itoa(i + 1), report.OneLine(d.Name), report.OneLine(d.Kind), supply(d)})
	}
	return all
}

func supply(d db.Device) string {
	var parts []string
	if d.SupplyV != 0 {
		parts = append(parts, number(d.SupplyV)+" V")
	}
	if d.SupplyMA != 0 {
		parts = append(parts, number(d.SupplyMA)+" mA")
	}
	if plug := report.OneLine(d.Plug); plug != "" {
		parts = append(parts, plug)
	}
	if len(parts) == 0 {
		return "no supply noted"
	}
	return strings.Join(parts, ", ")
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func pictures(s Source) []picture {
	var all []picture
	if s.Response != nil {
		if paint, err := s.Response.Painter(); err == nil {
			all = append(all, picture{"How evenly it passes low and high tones",
				"A level line is a board that favours no tone. Left the lowest tones that can be heard, right the highest.", paint, 0})
		}
	}
	if s.Noise != nil {
		if paint, err := s.Noise.Painter(); err == nil {
			all = append(all, picture{"What is there when nobody plays",
				"The lower the line, the quieter. Peaks marked “mains” are hum; the numbers count multiples of the mains frequency.", paint, s.Noise.Strip()})
		}
	}
	return all
}
