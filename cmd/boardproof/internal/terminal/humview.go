package terminal

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
)

// humView draws what is watched: in place on a terminal, a line for each
// reading elsewhere, a JSON object for each with --json.
type humView struct {
	out            io.Writer
	redraw, asJSON bool
	simulated      bool
	// again says whether best and worst begin anew.
	again func() bool
	// columns is how wide the terminal is.
	columns           int
	hold              report.HumHold
	drawn             int
	headed            bool
	lastLineS, beganS float64
}

// hum shows what is watched.
func (t *Terminal) hum(e talk.HumRead) error {
	if t.view == nil {
		t.view = &humView{out: t.watched, asJSON: t.JSON, simulated: e.Simulated}
		if Columns(t.watched) > 0 && !t.JSON {
			t.view.redraw, t.view.again = true, t.keys.entered
		}
	}
	if t.view.redraw {
		t.view.columns = Columns(t.watched)
	}
	return t.view.show(e)
}

func (v *humView) show(now talk.HumRead) error {
	if v.again != nil && v.again() {
		v.hold, v.beganS, v.drawn = report.HumHold{}, now.AtS, v.drawn+1
	}
	v.hold.Add(now.Readings)
	var text string
	switch {
	case v.asJSON:
		line, err := json.Marshal(struct {
			Format     string         `json:"format"`
			Simulated  bool           `json:"simulated"`
			AtS        float64        `json:"at_s"`
			LostFrames int            `json:"lost_frames"`
			Hum        []hunt.Reading `json:"hum"`
		}{report.Format, v.simulated, now.AtS, now.LostFrames, now.Readings})
		if err != nil {
			return fmt.Errorf("writing what is watched: %w", err)
		}
		text = string(line) + "\n"
	case v.redraw:
		text = v.picture(now)
	default:
		text = v.line(now)
	}
	_, err := io.WriteString(v.out, text)
	return err
}

// picture is a table that takes the place of the one before.
func (v *humView) picture(now talk.HumRead) string {
	var b strings.Builder
	if v.drawn > 0 {
		fmt.Fprintf(&b, "\x1b[%dA\r\x1b[J", v.drawn)
	}
	body := v.table(now)
	v.drawn = strings.Count(body, "\n")
	return b.String() + body
}

func (v *humView) table(now talk.HumRead) string {
	var lines []string
	lines = append(lines, v.head(now), "best and worst of "+(time.Duration(math.Round(now.AtS-v.beganS))*time.Second).String())
	if joined := strings.Join(lines, "  "); utf8.RuneCountInString(joined) <= v.columns {
		lines = []string{joined}
	}
	abreast, bar := humLayout(v.columns)
	for side := range slices.Chunk(now.Readings, abreast) {
		lines = append(lines, v.sideTable(side, bar)...)
	}
	for _, note := range notesOfHum(now) {
		lines = append(lines, clipped(note, v.columns))
	}
	return strings.Join(lines, "\n") + "\n"
}

// The widths of what stands beside the bars: the names of the levels, and for
// each output its edge and three figures.
const humNames, humFigures = 18, 27

// humLayout is how many outputs fit side by side and how wide their bars are: a
// bar of fewer than barLeast tells little.
func humLayout(columns int) (abreast, bar int) {
	if bar = (columns-humNames)/2 - humFigures; bar >= barLeast {
		return 2, min(bar, barMost)
	}
	return 1, min(max(columns-humNames-humFigures, 1), barMost)
}

// sideTable has the levels of one or two outputs side by side.
func (v *humView) sideTable(side []hunt.Reading, bar int) []string {
	head := fmt.Sprintf("%-*s", humNames, unitOfHum(side))
	for _, r := range side {
		head += fmt.Sprintf(" | %s %7s %7s %7s", report.Fitted(r.Output, bar), "now", "best", "worst")
	}
	lines := []string{head}
	for _, g := range hunt.Groups() {
		line := fmt.Sprintf("%-*s", humNames, g)
		for _, r := range side {
			line += " | " + v.cell(r, g, bar)
		}
		lines = append(lines, line)
	}
	return lines
}

// cell is a bar and three figures.
func (v *humView) cell(r hunt.Reading, group string, bar int) string {
	if r.Reason != "" {
		return fmt.Sprintf("%-*s", bar+humFigures-3, "not read")
	}
	level := r.Levels[group]
	now := report.LevelShown(r, level)
	best, worst, _ := v.hold.Of(r.Output, group)
	return fmt.Sprintf("%s %s%6.1f %7.1f %7.1f", humBar(now, best, worst, bar), humMark(level), now, best, worst)
}

// clipped is text in so many columns at most; what is cut is shown.
func clipped(text string, columns int) string {
	return strings.TrimRight(report.Fitted(text, columns), " ")
}

// The bars reach from -120 to -20.
const (
	barLow, barHigh   = -120.0, -20.0
	barLeast, barMost = 8, 24
)

// humBar marks the level now, with < and > where best and worst were.
func humBar(now, best, worst float64, width int) string {
	at := func(v float64) int {
		return min(max(int((v-barLow)/(barHigh-barLow)*float64(width)), 0), width-1)
	}
	bar := []byte(strings.Repeat(" ", width))
	for i := range at(now) + 1 {
		bar[i] = '='
	}
	bar[at(best)], bar[at(worst)] = '<', '>'
	bar[at(now)] = '#'
	return string(bar)
}

// humMark qualifies a figure: below the noise, or the bench's own.
func humMark(l hunt.Level) string {
	switch {
	case l.UpperBound:
		return "<"
	case l.FloorLimited:
		return "*"
	}
	return " "
}

// line is one reading on one line, at most one a second.
func (v *humView) line(now talk.HumRead) string {
	if v.headed && now.AtS < v.lastLineS+1 {
		return ""
	}
	v.lastLineS = now.AtS
	var b strings.Builder
	if !v.headed {
		v.headed = true
		if v.simulated {
			b.WriteString("SIMULATED: no real board was involved\n")
		}
		fmt.Fprintf(&b, "%s, one line a second; < below the noise, * the bench's own\n", unitOfHum(now.Readings))
		fmt.Fprintf(&b, "%8s %9s %3s %12s %8s %8s %8s %8s %8s\n", "s", "mains Hz", "out", "fundamental", "even", "odd", "buzz", "other", "hiss")
	}
	for _, r := range now.Readings {
		fmt.Fprintf(&b, "%8.2f ", now.AtS)
		if r.Reason != "" {
			fmt.Fprintf(&b, "%9s %3s not read: %s\n", "", r.Output, r.Reason)
			continue
		}
		fmt.Fprintf(&b, "%9s %3s", mainsText(r), r.Output)
		for i, g := range hunt.Groups() {
			width := 9
			if i == 0 {
				width = 13
			}
			fmt.Fprintf(&b, "%*s", width, humMark(r.Levels[g])+fmt.Sprintf("%.1f", report.LevelShown(r, r.Levels[g])))
		}
		b.WriteString("\n")
	}
	return b.String()
}

func (v *humView) head(now talk.HumRead) string {
	parts := []string{"mains not found"}
	for _, r := range now.Readings {
		if r.MainsHz.Value > 0 {
			parts[0] = "mains " + mainsText(r) + " Hz"
			break
		}
	}
	if v.simulated {
		parts = append(parts, "SIMULATED")
	}
	return strings.Join(parts, "  ")
}

func mainsText(r hunt.Reading) string {
	if r.MainsHz.Value == 0 {
		return "-"
	}
	return fmt.Sprintf("%.3f", r.MainsHz.Value)
}

func unitOfHum(readings []hunt.Reading) string {
	for _, r := range readings {
		if r.InVolts {
			return "levels in dBu"
		}
	}
	return "levels in dBFS"
}

// notesOfHum are the lines beneath the table.
func notesOfHum(now talk.HumRead) []string {
	var notes []string
	bound, floor := false, false
	for _, r := range now.Readings {
		if r.Reason != "" {
			notes = append(notes, fmt.Sprintf("%s: %s", r.Output, r.Reason))
			continue
		}
		for _, g := range hunt.Groups() {
			bound, floor = bound || r.Levels[g].UpperBound, floor || r.Levels[g].FloorLimited
		}
		if len(r.Tones) > 0 {
			t := r.Tones[0]
			notes = append(notes, strings.TrimRight(fmt.Sprintf("%s: strongest other tone %.1f Hz  %s", r.Output, t.FrequencyHz.Value, t.Family), " "))
		}
	}
	if bound {
		notes = append(notes, "< not above this: it cannot be told from the hiss")
	}
	if floor {
		notes = append(notes, "* within 3 dB of the bench's own, which may be all there is")
	}
	if now.Refused != "" {
		notes = append(notes, now.Refused)
	}
	if now.LostFrames > 0 {
		notes = append(notes, fmt.Sprintf("the audio system left out %d frames so far", now.LostFrames))
	}
	return notes
}
