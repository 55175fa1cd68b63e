package workshop

import (
	"context"
	"slices"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
)

// TrendRequest asks for a quantity over all runs of a board or on a bench.
type TrendRequest struct {
	Quantity string
	// Board or Bench: one of them is named.
	Board, Bench string
	// What is asked for only, where it is not "" or 0. A frequency is in Hz,
	// within 2 %.
	Output, Weighting, State string
	Harmonic                 int
	FrequencyHz              float64
	// Runs is over how many of the latest, 0 for all.
	Runs int
}

// Trend is a quantity over time, in as many series as it comes in kinds.
type Trend struct {
	// Of names the board or the bench.
	Of        string
	Simulated bool
	// LeftAside counts simulated runs where there are real ones.
	LeftAside int
	Series    []Series
}

// Series is readings over time, and what there is to say of them.
type Series struct {
	// Reading is the first of them.
	Reading analysis.Reading
	Points  []SeriesPoint
	// Fit is the line through them, NoFit what was in its way.
	Fit   change.Trend
	NoFit error
	// SeveralBoards: they are of a bench, and boards differ.
	SeveralBoards bool
	// Bench is the line through the bench's own checks of the same runs, where they
	// could tell whose drift it is; nil where they could not. NoBench is what was in
	// its way, Checks how many there are.
	Bench   *change.Trend
	NoBench error
	Checks  int
	// Chart has the control limits of the bench's own checks, nil where it needs
	// more of them.
	Chart *change.Chart

	points, checks []change.Point
}

// SeriesPoint is a reading and the run that it is of.
type SeriesPoint struct {
	Run       string
	Board     string
	At        time.Time
	Profile   string
	Delivered bool
	verdict.Judged
}

// Trend reads a quantity over time.
func (w *Workshop) Trend(ctx context.Context, r TrendRequest) (*Trend, error) {
	if r.Runs < 0 {
		return nil, fieldf("runs", " %d is no number of runs", r.Runs)
	}
	points, err := w.readPoints(ctx, r)
	if err != nil {
		return nil, err
	}
	t := &Trend{Of: points.head, LeftAside: points.keepOneKind()}
	t.Simulated = points.of[0].Simulated
	if t.Series, err = points.series(r); err != nil {
		return nil, err
	}
	for i := range t.Series {
		x := &t.Series[i]
		x.SeveralBoards = r.Bench != ""
		x.Fit, x.NoFit = change.FitTrend(x.points)
	}
	if slices.ContainsFunc(t.Series, Series.WantsChecks) {
		q := points.query
		q.Quantity = analysis.BenchGainDrift
		checks, err := w.Store.Series(ctx, q)
		if err != nil {
			return nil, err
		}
		addChecks(t.Series, checks)
	}
	for i := range t.Series {
		t.Series[i].study()
	}
	return t, nil
}

// WantsChecks says whether the bench's own checks could tell whose drift it is.
func (x Series) WantsChecks() bool {
	r := x.Reading
	return x.NoFit == nil && x.Fit.Drifts && r.Quantity != analysis.BenchGainDrift && (r.Unit == "dB" || r.Unit == "dBu")
}

// BenchDriftsAlike says whether the bench's own checks drift as the readings do,
// so that this may be the bench and not the board.
func (x Series) BenchDriftsAlike() bool {
	return x.Bench != nil && x.Bench.Drifts && (x.Bench.PerYear > 0) == (x.Fit.PerYear > 0)
}

// study finds what the trend shows.
func (x *Series) study() {
	if x.WantsChecks() {
		bench, err := change.FitTrend(x.checks)
		x.Checks, x.NoBench = len(x.checks), err
		if err == nil {
			x.Bench = &bench
		}
	}
	if x.Reading.Quantity != analysis.BenchGainDrift {
		return
	}
	values, profiles := make([]float64, len(x.Points)), make([]string, len(x.Points))
	for i, p := range x.Points {
		values[i], profiles[i] = p.Value, p.Profile
	}
	if c, ok := change.ControlChart(values, profiles); ok {
		x.Chart = &c
	}
}
