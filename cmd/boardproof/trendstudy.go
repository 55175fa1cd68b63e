package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
)

// series is a series as JSON, and as it is printed and drawn.
type series struct {
	Points []seriesPoint `json:"points"`
	Trend  *change.Trend `json:"trend,omitempty"`
	Chart  *change.Chart `json:"chart,omitempty"`
	Notes  []string      `json:"notes,omitempty"`
	Plots  []string      `json:"plots,omitempty"`

	of   workshop.Series
	rows []report.TrendRow
}

type seriesPoint workshop.SeriesPoint

// MarshalJSON puts a reading's own keys beside those of its run.
func (p seriesPoint) MarshalJSON() ([]byte, error) {
	reading, err := json.Marshal(p.Judged)
	if err != nil {
		return nil, err
	}
	all := map[string]any{}
	if err := json.Unmarshal(reading, &all); err != nil {
		return nil, err
	}
	all["run"], all["board"], all["at"] = p.Run, p.Board, p.At
	if p.Profile != "" {
		all["profile"] = p.Profile
	}
	if p.Delivered {
		all["delivered"] = true
	}
	return json.Marshal(all)
}

// newSeries says what a series shows.
func newSeries(of workshop.Series) series {
	x := series{of: of, Chart: of.Chart}
	for _, p := range of.Points {
		x.Points = append(x.Points, seriesPoint(p))
		row := report.TrendRow{TrendPoint: report.TrendPoint{At: p.At, Judged: p.Judged, Delivered: p.Delivered}, Run: p.Run, Profile: p.Profile}
		if of.SeveralBoards {
			row.Board = p.Board
		}
		x.rows = append(x.rows, row)
	}
	t := of.Fit
	if t.Bounds > 0 {
		x.say("left out of the line: %s", report.Count(t.Bounds, "bound"))
	}
	switch {
	case errors.Is(of.NoFit, change.ErrFewPoints):
		x.say("%s", of.NoFit)
	case of.NoFit != nil:
		x.say("no line could be fitted: %s", of.NoFit)
	default:
		x.Trend = &t
		x.sayTrend()
	}
	switch {
	case of.Reading.Quantity != analysis.BenchGainDrift:
	case x.Chart == nil:
		x.say("control limits need two checks under one profile")
	default:
		x.say("%s", report.ChartWords(*x.Chart, len(x.Points), of.Reading.Unit))
	}
	return x
}

func (x *series) say(format string, args ...any) {
	x.Notes = append(x.Notes, fmt.Sprintf(format, args...))
}

// sayTrend says what the line shows, and tells a drifting bench from a drifting
// board by the bench's own checks.
func (x *series) sayTrend() {
	t, of := *x.Trend, x.of
	x.say("%s", report.TrendWords(t, of.Reading.Unit))
	if of.SeveralBoards && t.Scattered && of.Reading.Quantity != analysis.BenchGainDrift {
		x.say("boards differ from one another, which is scatter here")
	}
	switch b := of.Bench; {
	case of.NoBench != nil:
		x.say("whether the bench drifted too cannot be told: these runs have %s of its own", report.Count(of.Checks, "check"))
	case b == nil:
	case of.BenchDriftsAlike():
		x.say("the bench's own checks drift the same way in this time: %s. This may be the bench and not the board", report.TrendWords(*b, "dB"))
	default:
		x.say("the bench's own checks in this time do not drift that way: %s", report.TrendWords(*b, "dB"))
	}
}

func (x *series) draw(dir, head string, number int, simulated bool) ([]string, error) {
	last := x.rows[len(x.rows)-1]
	p := report.TrendPlot{Heading: report.Heading{Board: head, Date: last.At, Run: last.Run, Simulated: simulated,
		Name: fmt.Sprintf("trend-%s-%d", x.of.Reading.Quantity, number)}, Limit: last.Limit}
	for _, r := range x.rows {
		p.Points = append(p.Points, r.TrendPoint)
	}
	if x.Trend != nil {
		p.Line = func(at time.Time) float64 { return x.Trend.At(at) }
	}
	if x.Chart != nil {
		p.Control = []float64{x.Chart.Lower, x.Chart.Centre, x.Chart.Upper}
	}
	return report.SaveTrend(dir, p)
}
