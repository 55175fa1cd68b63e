package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

type trendFlags struct {
	bench, output, weighting, state, plots string
	harmonic, runs                         int
	frequencyHz                            float64
}

func (a *app) trendCommand() *cobra.Command {
	var f trendFlags
	cmd := &cobra.Command{
		Use:   "trend BOARD QUANTITY | trend --bench NAME QUANTITY",
		Short: "Show a reading over all runs of a board or a bench, and whether it drifts",
		Long: "Show a quantity, as it is called in the JSON, over all runs of a board, or of all boards\n" +
			"on a bench, with limits and the delivered value, and tell drift from scatter. The bench's\n" +
			"own checks (bench_gain_drift) come with control limits.",
		Args: func(cmd *cobra.Command, args []string) error {
			if f.bench != "" {
				return exactArgs("a quantity beside --bench")(cmd, args)
			}
			return exactArgs("a board's label", "a quantity")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.readStore(cmd.Context(), func(s *db.Store) error {
				return a.trend(cmd.Context(), s, args, f)
			})
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.bench, "bench", "", "over all boards measured on this bench")
	fl.StringVar(&f.output, "output", "", "at this output only")
	fl.StringVar(&f.weighting, "weighting", "", "with this weighting only: none, A or 468")
	fl.StringVar(&f.state, "state", "", "in this state only")
	fl.IntVar(&f.harmonic, "harmonic", 0, "this mains harmonic only")
	fl.Float64Var(&f.frequencyHz, "frequency", 0, "at this frequency only, in Hz, within 2 %")
	fl.IntVar(&f.runs, "runs", 1000, "over so many of the latest runs, 0 for all")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	return cmd
}

func (a *app) trend(ctx context.Context, s *db.Store, args []string, f trendFlags) error {
	quantity := args[len(args)-1]
	if f.runs < 0 {
		return wrongUsef("--runs %d is no number of runs", f.runs)
	}
	points, err := readPoints(ctx, s, args, quantity, f)
	if err != nil {
		return err
	}
	left := points.keepOneKind()
	all, err := points.series(quantity, f)
	if err != nil {
		return err
	}
	for i := range all {
		all[i].fit()
	}
	if slices.ContainsFunc(all, series.wantsChecks) {
		q := points.query
		q.Quantity = analysis.BenchGainDrift
		checks, err := s.Series(ctx, q)
		if err != nil {
			return err
		}
		addChecks(all, checks)
	}
	head := points.head
	dir := plotsDir(s, f.plots, "trend")
	noDir := makePlotsDir(dir)
	if err := a.drawn(f.plots, noDir); err != nil {
		return err
	}
	simulated := points.of[0].Simulated
	var errs []error
	for i := range all {
		x := &all[i]
		x.study(f.bench != "")
		if noDir != nil {
			continue
		}
		var err error
		x.Plots, err = x.draw(dir, head, i+1, simulated)
		errs = append(errs, a.drawn(f.plots, err))
	}
	if a.json {
		return errors.Join(append(errs, a.printJSON(trendDocument{report.Format, simulated, head, left, all}))...)
	}
	if simulated {
		a.printf("SIMULATED: no real board was measured\n\n")
	}
	if left > 0 {
		a.printf("left aside: %s\n\n", report.Count(left, "simulated run"))
	}
	for i, x := range all {
		if i > 0 {
			a.printf("\n")
		}
		a.wrapped("", fmt.Sprintf("%s: %s", head, x.name()))
		errs = append(errs, report.TrendTable(a.out, x.rows))
		for _, n := range x.Notes {
			a.wrapped("", n)
		}
		for _, p := range x.Plots {
			a.printf("plot: %s\n", p)
		}
	}
	return errors.Join(errs...)
}

// trendDocument is trends as JSON.
type trendDocument struct {
	Format        string   `json:"format"`
	Simulated     bool     `json:"simulated"`
	Of            string   `json:"of"`
	SimulatedLeft int      `json:"simulated_left_aside,omitempty"`
	Series        []series `json:"series"`
}

// trendPoints are the readings of one quantity, oldest first.
type trendPoints struct {
	head  string
	query db.SeriesQuery
	of    []db.SeriesPoint
	// delivered is the run with which the board went out, "" for a bench.
	delivered string
}

func readPoints(ctx context.Context, s *db.Store, args []string, quantity string, f trendFlags) (*trendPoints, error) {
	p := &trendPoints{}
	q := db.SeriesQuery{Quantity: quantity, Budget: true, Runs: f.runs}
	var latest string
	if f.bench == "" {
		board, err := s.FindBoard(ctx, args[0])
		if err != nil {
			return nil, err
		}
		runs, err := s.Runs(ctx, board.ID)
		if err != nil {
			return nil, err
		}
		if len(runs) == 0 {
			return nil, wrongUsef("board %s has no run yet", board.Label)
		}
		left, _, err := asDelivered(ctx, s, board.ID, measuredRuns(runs), firstDelivery)
		if err != nil {
			return nil, err
		}
		if left != nil {
			p.delivered = left.ID
		}
		p.head, q.BoardID, latest = "board "+board.Label, board.ID, runs[len(runs)-1].ID
	} else {
		b, err := s.Bench(ctx, f.bench)
		if err != nil {
			return nil, err
		}
		p.head, q.Bench = "bench "+b.Name, b.Name
	}
	var err error
	if p.of, err = s.Series(ctx, q); err != nil {
		return nil, err
	}
	if len(p.of) == 0 {
		return nil, noSuchSeries(ctx, s, p.head, quantity, latest)
	}
	p.query = q
	return p, nil
}

// noSuchSeries says which quantities there are, by the run named.
func noSuchSeries(ctx context.Context, s *db.Store, head, quantity, latest string) error {
	if latest == "" {
		return wrongUsef("%s has no reading of %q", head, quantity)
	}
	run, err := s.FindRun(ctx, latest)
	if err != nil {
		return err
	}
	have := map[string]bool{}
	for _, j := range run.Readings {
		have[j.Quantity] = true
	}
	return wrongUsef("there is no reading of %q: there is %s", quantity, strings.Join(sortedKeys(have), ", "))
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
func (f trendFlags) fits(j verdict.Judged) bool {
	const near = 0.02
	return (f.output == "" || strings.EqualFold(f.output, j.Output)) && (f.weighting == "" || strings.EqualFold(f.weighting, j.Weighting)) &&
		(f.state == "" || strings.EqualFold(f.state, j.State)) && (f.harmonic == 0 || f.harmonic == j.Harmonic) &&
		(f.frequencyHz == 0 || math.Abs(j.FrequencyHz/f.frequencyHz-1) <= near)
}
