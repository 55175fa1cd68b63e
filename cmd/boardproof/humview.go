package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/report"
)

// humView draws what is watched: in place on a terminal, a line for each
// reading elsewhere, a JSON object for each with --json.
type humView struct {
	out               io.Writer
	redraw, asJSON    bool
	simulated         bool
	again             <-chan struct{}
	hold              procedure.HumHold
	drawn             int
	headed            bool
	lastLineS, beganS float64
}

func (v *humView) show(now procedure.HumNow) error {
	select {
	case <-v.again:
		v.hold, v.beganS, v.drawn = procedure.HumHold{}, now.AtS, v.drawn+1
	default:
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
func (v *humView) picture(now procedure.HumNow) string {
	var b strings.Builder
	if v.drawn > 0 {
		fmt.Fprintf(&b, "\x1b[%dA\r\x1b[J", v.drawn)
	}
	body := v.table(now)
	v.drawn = strings.Count(body, "\n")
	return b.String() + body
}

func (v *humView) table(now procedure.HumNow) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s  best and worst of %s\n", v.head(now), time.Duration(math.Round(now.AtS-v.beganS))*time.Second)
	for side := range slices.Chunk(now.Readings, 2) {
		v.addTable(&b, side)
	}
	for _, note := range notesOfHum(now) {
		b.WriteString(note + "\n")
	}
	return b.String()
}

// addTable writes the levels of one or two outputs: no more fit side by side.
func (v *humView) addTable(b *strings.Builder, side []hunt.Reading) {
	fmt.Fprintf(b, "%-18s", unitOfHum(side))
	for _, r := range side {
		fmt.Fprintf(b, " | %-14s %7s %7s %7s", r.Output, "now", "best", "worst")
	}
	b.WriteString("\n")
	for _, g := range hunt.Groups() {
		fmt.Fprintf(b, "%-18s", g)
		for _, r := range side {
			fmt.Fprintf(b, " | %s", v.cell(r, g))
		}
		b.WriteString("\n")
	}
}

// cell is a bar and three figures.
func (v *humView) cell(r hunt.Reading, group string) string {
	if r.Reason != "" {
		return fmt.Sprintf("%-38s", "not read")
	}
	level := r.Levels[group]
	now := procedure.LevelShown(r, level)
	best, worst, _ := v.hold.Of(r.Output, group)
	return fmt.Sprintf("%-14s %s%6.1f%7.1f %7.1f", humBar(now, best, worst), humMark(level), now, best, worst)
}

// The bars reach from -120 to -20.
const barLow, barHigh, barWidth = -120.0, -20.0, 14

// humBar marks the level now, with < and > where best and worst were.
func humBar(now, best, worst float64) string {
	at := func(v float64) int {
		return min(max(int((v-barLow)/(barHigh-barLow)*barWidth), 0), barWidth-1)
	}
	bar := []byte(strings.Repeat(" ", barWidth))
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
func (v *humView) line(now procedure.HumNow) string {
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
			fmt.Fprintf(&b, "%*s", width, humMark(r.Levels[g])+fmt.Sprintf("%.1f", procedure.LevelShown(r, r.Levels[g])))
		}
		b.WriteString("\n")
	}
	return b.String()
}

func (v *humView) head(now procedure.HumNow) string {
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
func notesOfHum(now procedure.HumNow) []string {
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
