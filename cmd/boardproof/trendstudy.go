package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/cmd/boardproof/internal/report"
)

func (x *series) fit() { x.fitted, x.noFit = change.FitTrend(x.points) }

// wantsChecks says whether the bench's own checks could tell whose drift it is.
func (x series) wantsChecks() bool {
	r := x.Reading
	return x.noFit == nil && x.fitted.Drifts && r.Quantity != analysis.BenchGainDrift && (r.Unit == "dB" || r.Unit == "dBu")
}

// study says what the trend shows.
func (x *series) study(severalBoards bool) {
	if !severalBoards {
		for i := range x.rows {
			x.rows[i].Board = ""
		}
	}
	t, err := x.fitted, x.noFit
	if t.Bounds > 0 {
		x.say("left out of the line: %s", report.Count(t.Bounds, "bound"))
	}
	switch {
	case errors.Is(err, change.ErrFewPoints):
		x.say("%s", err)
	case err != nil:
		x.say("no line could be fitted: %s", err)
	default:
		x.Trend = &t
		x.say("%s", report.TrendWords(t, x.Reading.Unit))
		if severalBoards && t.Scattered && x.Reading.Quantity != analysis.BenchGainDrift {
			x.say("boards differ from one another, which is scatter here")
		}
		if x.wantsChecks() {
			x.blame(t)
		}
	}
	if x.Reading.Quantity == analysis.BenchGainDrift {
		x.chart()
	}
}

func (x *series) say(format string, args ...any) {
	x.Notes = append(x.Notes, fmt.Sprintf(format, args...))
}

// blame tells a drifting bench from a drifting board by the bench's own checks
// at the same output, made in the same runs.
func (x *series) blame(t change.Trend) {
	bench, err := change.FitTrend(x.checks)
	switch {
	case err != nil:
		x.say("whether the bench drifted too cannot be told: these runs have %s of its own", report.Count(len(x.checks), "check"))
	case bench.Drifts && (bench.PerYear > 0) == (t.PerYear > 0):
		x.say("the bench's own checks drift the same way in this time: %s. This may be the bench and not the board", report.TrendWords(bench, "dB"))
	default:
		x.say("the bench's own checks in this time do not drift that way: %s", report.TrendWords(bench, "dB"))
	}
}

func (x *series) chart() {
	values, profiles := make([]float64, len(x.Points)), make([]string, len(x.Points))
	for i, p := range x.Points {
		values[i], profiles[i] = p.Value, p.Profile
	}
	c, ok := change.ControlChart(values, profiles)
	if !ok {
		x.say("control limits need two checks under one profile")
		return
	}
	x.Chart = &c
	x.say("%s", report.ChartWords(c, len(values), x.Reading.Unit))
}

func (x *series) draw(dir, head string, number int, simulated bool) ([]string, error) {
	last := x.rows[len(x.rows)-1]
	p := report.TrendPlot{Heading: report.Heading{Board: head, Date: last.At, Run: last.Run, Simulated: simulated,
		Name: fmt.Sprintf("trend-%s-%d", x.Reading.Quantity, number)}, Limit: last.Limit}
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

// marshalPoint puts a reading's own keys beside those of its run.
func marshalPoint(p seriesPoint) ([]byte, error) {
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
