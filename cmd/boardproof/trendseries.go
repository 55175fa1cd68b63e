package main

import (
	"fmt"
	"slices"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// seriesKey is what the readings of one series have in common.
type seriesKey struct {
	step, state, output, reference, weighting string
	harmonic                                  int
	frequency                                 string
}

// keyOf leaves the frequency out where it was found rather than set; of other
// tones it is what tells them apart, to a semitone or so.
func keyOf(j verdict.Judged, f trendFlags) seriesKey {
	k := seriesKey{j.Step, j.State, j.Output, j.Reference, j.Weighting, j.Harmonic, ""}
	if j.Quantity == analysis.OtherTone && f.frequencyHz == 0 {
		k.frequency = fmt.Sprintf("%.2g", j.FrequencyHz)
	}
	return k
}

// mostSeries is how many are shown at once.
const mostSeries = 6

// series sorts what is asked for into series.
func (p *trendPoints) series(quantity string, f trendFlags) ([]series, error) {
	var all []series
	index := map[seriesKey]int{}
	seen := map[string]map[seriesKey]bool{}
	for _, x := range p.of {
		k := keyOf(x.Reading, f)
		if !f.fits(x.Reading) || seen[x.RunID][k] {
			continue
		}
		if seen[x.RunID] == nil {
			seen[x.RunID] = map[seriesKey]bool{}
		}
		seen[x.RunID][k] = true
		i, ok := index[k]
		if !ok {
			i = len(all)
			index[k] = i
			all = append(all, series{Reading: x.Reading.Reading})
		}
		all[i].add(x, x.RunID == p.delivered)
	}
	switch {
	case len(all) == 0:
		return nil, wrongUsef("no reading of %s is as --output, --weighting, --state, --harmonic and --frequency ask for", quantity)
	case len(all) > mostSeries:
		return nil, wrongUsef("%s comes in %d kinds: choose with --output, --weighting, --state, --harmonic or --frequency; %s",
			quantity, len(all), "as in --output "+all[0].Reading.Output)
	}
	return all, nil
}

func sortedKeys(m map[string]bool) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// series is readings over time and what is to be said of them.
type series struct {
	Reading analysis.Reading `json:"-"`
	Points  []seriesPoint    `json:"points"`
	Trend   *change.Trend    `json:"trend,omitempty"`
	Chart   *change.Chart    `json:"chart,omitempty"`
	Notes   []string         `json:"notes,omitempty"`
	Plots   []string         `json:"plots,omitempty"`

	rows   []report.TrendRow
	points []change.Point
	// fitted is the line, with what was in its way.
	fitted change.Trend
	noFit  error
	// checks are the bench's own of the same runs, at the same output.
	checks []change.Point
}

type seriesPoint struct {
	Run       string    `json:"run"`
	Board     string    `json:"board"`
	At        time.Time `json:"at"`
	Profile   string    `json:"profile,omitempty"`
	Delivered bool      `json:"delivered,omitempty"`
	verdict.Judged
}

// MarshalJSON keeps Judged's own from taking the whole point over.
func (p seriesPoint) MarshalJSON() ([]byte, error) { return marshalPoint(p) }

func (x *series) add(p db.SeriesPoint, isDelivered bool) {
	j := p.Reading
	x.Points = append(x.Points, seriesPoint{p.RunID, p.Board, p.At, p.ProfileID, isDelivered, j})
	x.rows = append(x.rows, report.TrendRow{TrendPoint: report.TrendPoint{At: p.At, Judged: j, Delivered: isDelivered}, Run: p.RunID, Board: p.Board, Profile: p.ProfileID})
	x.points = append(x.points, changePoint(p))
}

// addChecks gives each series the bench's own checks of its runs, at its output.
func addChecks(all []series, checks []db.SeriesPoint) {
	byRun := map[string][]db.SeriesPoint{}
	for _, c := range checks {
		byRun[c.RunID] = append(byRun[c.RunID], c)
	}
	for i := range all {
		x := &all[i]
		for _, p := range x.Points {
			for _, c := range byRun[p.Run] {
				if c.Reading.Output == p.Output {
					x.checks = append(x.checks, changePoint(c))
				}
			}
		}
	}
}

func changePoint(p db.SeriesPoint) change.Point {
	return change.Point{At: p.At, Reading: p.Reading.Reading, Profile: p.ProfileID, Interface: p.Bench, Method: p.MethodVersion}
}

func (x *series) name() string { return report.TrendName(x.Reading, x.Reading.State) }
