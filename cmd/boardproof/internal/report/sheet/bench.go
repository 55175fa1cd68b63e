package sheet

import (
	"fmt"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// section is a headed table of the bench copy, with paragraphs above it.
type section struct {
	Title string
	Text  []string
	Heads []string
	// Widths are shares of the line, Right says which columns are figures.
	Widths []float64
	Right  []bool
	Rows   []row
}

// row is one line of a table; Below are remarks under it, in small letters.
type row struct {
	Cells []string
	Below []string
	// Tone colours the last cell.
	Tone string
}

// mostTerms is how many contributions to an uncertainty are printed.
const mostTerms = 3

// benchSections are what the bench copy has beside the player's sheet: ISO/IEC
// 17025:2017, 7.8.2 and 7.8.6, as far as the store keeps it.
func benchSections(s Source) []section {
	all := []section{statement(s)}
	all = append(all, readingSections(s.Run.Readings)...)
	if lines := report.RefusalLines(s.Run.Refused); len(lines) > 0 {
		all = append(all, section{Title: "Could not be measured", Text: lines})
	}
	all = append(all, takesSection(s.Run.Takes))
	if len(s.Plan.Steps) > 0 {
		all = append(all, limitsSection(s))
	}
	if s.Profile != nil {
		all = append(all, profileSection(s.Profile), inputsSection(s.Profile))
	}
	return append(all, section{Title: "Signed", Text: []string{"Name, date and signature of who answers for this record:", "______________________________________"}})
}

// statement is the statement of conformity: ISO/IEC 17025:2017, 7.8.6.
func statement(s Source) section {
	method := "Method version " + report.OneLine(s.Run.MethodVersion) + ". The board was measured as it was received; sampling does not apply."
	if len(s.Plan.Steps) == 0 {
		return section{Title: "Statement", Text: []string{"No limits were set: the readings stand without a verdict. They relate only to the board named here, as it was when it was measured.", method}}
	}
	return section{Title: "Statement of conformity", Text: []string{
		fmt.Sprintf("%s: %s", report.Summary(s.Run.Readings), "each verdict applies to the reading beside which it stands, in the state named."),
		fmt.Sprintf("Specification: the limits of the test plan “%s”, version %d, printed beside the readings. Rule of decision: %s.", report.OneLine(s.Plan.Name), s.PlanVersion, s.Plan.Rule),
		"The results relate only to the board named here, as it was when it was measured. Uncertainties are expanded, k = 2, about 95 %.",
		method,
	}}
}

func readingSections(rows []verdict.Judged) []section {
	var all []section
	index := map[string]int{}
	for _, j := range rows {
		key := j.Step + "\x00" + j.State
		i, ok := index[key]
		if !ok {
			i = len(all)
			index[key] = i
			all = append(all, section{Title: "Readings: " + stepWords(j), Heads: []string{"reading", "value", "± (k = 2)", "limit", "margin", "verdict"},
				Widths: []float64{0.34, 0.13, 0.11, 0.18, 0.1, 0.14}, Right: []bool{false, true, true, false, true, false}})
		}
		all[i].Rows = append(all[i].Rows, readingRow(j))
	}
	return all
}

func stepWords(j verdict.Judged) string {
	step, state := report.OneLine(j.Step), report.OneLine(j.State)
	switch {
	case step != "" && state != "":
		return step + " (" + state + ")"
	case step+state == "":
		return "the bench"
	}
	return step + state
}

func readingRow(j verdict.Judged) row {
	f := report.FigureOf(j)
	r := row{Cells: []string{report.What(j.Reading), f.Value, f.Uncertainty, f.Limit, f.Margin, report.VerdictWords(j.Verdict)}}
	if j.Verdict != "" {
		r.Tone = toneOf(j.Verdict)
	}
	if j.FloorLimited && !j.Absent {
		r.Below = append(r.Below, "set by the bench's own floor; the board itself may be better")
	}
	for _, line := range []string{report.OneLine(j.Note), report.ConditionLine(j)} {
		if line != "" {
			r.Below = append(r.Below, line)
		}
	}
	if worthTerms(j) {
		r.Below = append(r.Below, held("main terms: "+strings.Join(report.Terms(j, mostTerms), "; ")))
	}
	return r
}

func takesSection(takes []db.TakeRef) section {
	t := section{Title: "Recordings kept", Text: []string{"Each is a WAV file beside the store, named by its SHA-256."},
		Heads:  []string{"step", "signal", "level", "rate", "attempt"},
		Widths: []float64{0.44, 0.14, 0.14, 0.14, 0.14}, Right: []bool{false, false, true, true, true}}
	if len(takes) == 0 {
		t.Text, t.Heads = []string{"None was kept."}, nil
	}
	for _, take := range takes {
		r := row{Cells: []string{report.OneLine(take.Step), string(take.Take.Signal.Kind), fmt.Sprintf("%.1f dBFS", take.Take.Signal.LevelDBFS),
			fmt.Sprintf("%d Hz", take.Take.RateHz), fmt.Sprint(take.Attempt)}, Below: []string{take.SHA256}}
		if take.LeftOut != "" {
			r.Below = append(r.Below, "left out: "+report.OneLine(take.LeftOut))
		}
		t.Rows = append(t.Rows, r)
	}
	return t
}

// limitsSection says where each limit comes from.
func limitsSection(s Source) section {
	t := section{Title: "Limits of the plan", Heads: []string{"step", "limited", "limit", "source"}, Widths: []float64{0.28, 0.28, 0.2, 0.24},
		Right: []bool{false, false, false, false}}
	for _, step := range s.Plan.Steps {
		for _, l := range step.Limits {
			what := report.What(analysis.Reading{Quantity: l.Quantity, Output: l.Output, Reference: l.Reference,
				Weighting: l.Weighting, Harmonic: l.Harmonic, FrequencyHz: l.FrequencyHz})
			limit := report.FigureOf(verdict.Judged{Reading: analysis.Reading{Quantity: l.Quantity, Unit: analysis.UnitOf(l.Quantity)},
				Limit: &verdict.Limit{Min: l.Min, Max: l.Max}}).Limit
			t.Rows = append(t.Rows, row{Cells: []string{report.OneLine(step.Name), what, limit, sourceWords(l.Source)}})
		}
		for _, m := range step.Masks {
			t.Rows = append(t.Rows, row{Cells: []string{report.OneLine(step.Name), "response, mask", maskWords(m), sourceWords(m.Source)}})
		}
	}
	return t
}

func sourceWords(source string) string {
	if source = report.OneLine(source); source != "" {
		return source
	}
	return "not said"
}

func maskWords(m verdict.Mask) string {
	if len(m.Points) == 0 {
		return "—"
	}
	return fmt.Sprintf("%s, %s to %s", report.Count(len(m.Points), "point"), hertz(m.Points[0].FrequencyHz), hertz(m.Points[len(m.Points)-1].FrequencyHz))
}

func profileSection(p *calibration.Profile) section {
	t := section{Title: "The bench and its calibration", Heads: []string{"", ""}, Widths: []float64{0.3, 0.7}, Right: []bool{false, false}}
	add := func(name, value string) {
		if value = report.OneLine(value); value != "" {
			t.Rows = append(t.Rows, row{Cells: []string{name, value}})
		}
	}
	add("profile", p.ID)
	add("made", p.Created.UTC().Format("2006-01-02 15:04")+" UTC")
	add("valid until", p.ValidUntil.UTC().Format("2006-01-02 15:04")+" UTC")
	add("by", p.Operator)
	add("interface", p.Instrument.Device+", "+p.Instrument.Host+", "+fmt.Sprintf("%d Hz", p.Instrument.RateHz))
	add("multimeter", meterWords(p))
	add("known source", sourceOf(p))
	add("gain controls", p.Controls)
	if p.TemperatureC != nil {
		add("temperature", number(*p.TemperatureC)+" °C")
	}
	add("method", p.Method)
	add("output's full scale", withStd(p.OutputFullScaleDBu, "dBu", "dB"))
	return t
}

func meterWords(p *calibration.Profile) string {
	m := p.MeterReading
	if m == nil {
		return p.Meter
	}
	name := p.Meter
	if name == "" {
		name = "not named"
	}
	return fmt.Sprintf("%s, read %s V, accuracy ±(%s %% + %s digits)", name, number(m.VoltsRMS), number(m.PercentOfReading), number(m.DigitsOff))
}

func sourceOf(p *calibration.Profile) string {
	k := p.Source
	if k == nil {
		return ""
	}
	return fmt.Sprintf("%s, %s V at %s, ±%s %%", k.Name, number(k.VoltsRMS), hertz(k.FrequencyHz), number(k.Percent))
}

// withStd is an estimate with its expanded uncertainty.
func withStd(e analysis.Estimate, unit, uncertaintyUnit string) string {
	f := report.FigureOf(verdict.Judged{Reading: analysis.Reading{Value: e.Value, Unit: unit, Uncertainty: analysis.CoverageK * e.Std, K: analysis.CoverageK}})
	return f.Value + " ± " + f.Uncertainty + " " + uncertaintyUnit
}

func inputsSection(p *calibration.Profile) section {
	t := section{Title: "Inputs of the bench", Text: []string{"Uncertainties are k = 2."}, Heads: []string{"input", "full scale", "own distortion", "latency"},
		Widths: []float64{0.1, 0.3, 0.3, 0.3}, Right: []bool{false, false, false, false}}
	for _, in := range p.Inputs {
		micro := analysis.Estimate{Value: in.LatencyS.Value * 1e6, Std: in.LatencyS.Std * 1e6}
		t.Rows = append(t.Rows, row{Cells: []string{fmt.Sprint(in.Channel), withStd(in.FullScaleDBu, "dBu", "dB"),
			withStd(in.THDPercent, "%", "%"), withStd(micro, "µs", "µs")}})
	}
	return t
}
