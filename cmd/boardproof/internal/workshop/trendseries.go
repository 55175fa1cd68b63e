package workshop

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
	"boardproof/db"
)

// trendPoints are the readings of one quantity, oldest first.
type trendPoints struct {
	head  string
	query db.SeriesQuery
	of    []db.SeriesPoint
	// delivered is the run with which the board went out, "" for a bench.
	delivered string
}

func (w *Workshop) readPoints(ctx context.Context, r TrendRequest) (*trendPoints, error) {
	p := &trendPoints{}
	q := db.SeriesQuery{Quantity: r.Quantity, Budget: true, Runs: r.Runs}
	var latest string
	if r.Bench == "" {
		board, err := w.Store.FindBoard(ctx, r.Board)
		if err != nil {
			return nil, err
		}
		runs, err := w.Store.Runs(ctx, board.ID)
		if err != nil {
			return nil, err
		}
		if len(runs) == 0 {
			return nil, invalidf("board %s has no run yet", board.Label)
		}
		left, _, err := w.asDelivered(ctx, board.ID, measuredRuns(runs), FirstDelivery)
		if err != nil {
			return nil, err
		}
		if left != nil {
			p.delivered = left.ID
		}
		p.head, q.BoardID, latest = "board "+board.Label, board.ID, runs[len(runs)-1].ID
	} else {
		b, err := w.Store.Bench(ctx, r.Bench)
		if err != nil {
			return nil, err
		}
		p.head, q.Bench = "bench "+b.Name, b.Name
	}
	var err error
	if p.of, err = w.Store.Series(ctx, q); err != nil {
		return nil, err
	}
	if len(p.of) == 0 {
		return nil, w.noSuchSeries(ctx, p.head, r.Quantity, latest)
	}
	p.query = q
	return p, nil
}

// noSuchSeries says which quantities there are, by the run named.
func (w *Workshop) noSuchSeries(ctx context.Context, head, quantity, latest string) error {
	if latest == "" {
		return invalidf("%s has no reading of %q", head, quantity)
	}
	run, err := w.Store.FindRun(ctx, latest)
	if err != nil {
		return err
	}
	have := map[string]bool{}
	for _, j := range run.Readings {
		have[j.Quantity] = true
	}
	return invalidf("there is no reading of %q: there is %s", quantity, strings.Join(sortedKeys(have), ", "))
}

// keepOneKind leaves simulated runs aside where there are real ones, and
// returns how many.
func (p *trendPoints) keepOneKind() (left int) {
	if !slices.ContainsFunc(p.of, func(x db.SeriesPoint) bool { return !x.Simulated }) {
		return 0
	}
	aside := map[string]bool{}
	p.of = slices.DeleteFunc(p.of, func(x db.SeriesPoint) bool {
		if x.Simulated {
			aside[x.RunID] = true
		}
		return x.Simulated
	})
	return len(aside)
}

// fits says whether a reading is asked for.
func (r TrendRequest) fits(j verdict.Judged) bool {
	const near = 0.02
	return (r.Output == "" || strings.EqualFold(r.Output, j.Output)) && (r.Weighting == "" || strings.EqualFold(r.Weighting, j.Weighting)) &&
		(r.State == "" || strings.EqualFold(r.State, j.State)) && (r.Harmonic == 0 || r.Harmonic == j.Harmonic) &&
		(r.FrequencyHz == 0 || math.Abs(j.FrequencyHz/r.FrequencyHz-1) <= near)
}

// seriesKey is what the readings of one series have in common.
type seriesKey struct {
	step, state, output, reference, weighting string
	harmonic                                  int
	frequency                                 string
}

// keyOf leaves the frequency out where it was found rather than set; of other
// tones it is what tells them apart, to a semitone or so.
func keyOf(j verdict.Judged, r TrendRequest) seriesKey {
	k := seriesKey{j.Step, j.State, j.Output, j.Reference, j.Weighting, j.Harmonic, ""}
	if j.Quantity == analysis.OtherTone && r.FrequencyHz == 0 {
		k.frequency = fmt.Sprintf("%.2g", j.FrequencyHz)
	}
	return k
}

// mostSeries is how many are shown at once.
const mostSeries = 6

// series sorts what is asked for into series.
func (p *trendPoints) series(r TrendRequest) ([]Series, error) {
	var all []Series
	index := map[seriesKey]int{}
	seen := map[string]map[seriesKey]bool{}
	for _, x := range p.of {
		k := keyOf(x.Reading, r)
		if !r.fits(x.Reading) || seen[x.RunID][k] {
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
			all = append(all, Series{Reading: x.Reading.Reading})
		}
		all[i].add(x, x.RunID == p.delivered)
	}
	switch {
	case len(all) == 0:
		return nil, invalidf("no reading of %s is as --output, --weighting, --state, --harmonic and --frequency ask for", r.Quantity)
	case len(all) > mostSeries:
		return nil, invalidf("%s comes in %d kinds: choose with --output, --weighting, --state, --harmonic or --frequency; %s",
			r.Quantity, len(all), "as in --output "+all[0].Reading.Output)
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

func (x *Series) add(p db.SeriesPoint, isDelivered bool) {
	x.Points = append(x.Points, SeriesPoint{p.RunID, p.Board, p.At, p.ProfileID, isDelivered, p.Reading})
	x.points = append(x.points, changePoint(p))
}

// addChecks gives each series the bench's own checks of its runs, at its output.
func addChecks(all []Series, checks []db.SeriesPoint) {
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
