package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

type trendFlags struct {
	workshop.TrendRequest
	plots string
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
			if f.Bench != "" {
				return exactArgs("a quantity beside --bench")(cmd, args)
			}
			return exactArgs("a board's label", "a quantity")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withWorkshop(cmd.Context(), db.OpenReading, func(w *workshop.Workshop) error {
				f.Quantity, f.Board = args[len(args)-1], args[0]
				return a.trend(cmd.Context(), w, f)
			})
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.Bench, "bench", "", "over all boards measured on this bench")
	fl.StringVar(&f.Output, "output", "", "at this output only")
	fl.StringVar(&f.Weighting, "weighting", "", "with this weighting only: none, A or 468")
	fl.StringVar(&f.State, "state", "", "in this state only")
	fl.IntVar(&f.Harmonic, "harmonic", 0, "this mains harmonic only")
	fl.Float64Var(&f.FrequencyHz, "frequency", 0, "at this frequency only, in Hz, within 2 %")
	fl.IntVar(&f.Runs, "runs", 1000, "over so many of the latest runs, 0 for all")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	return cmd
}

func (a *app) trend(ctx context.Context, w *workshop.Workshop, f trendFlags) error {
	t, err := w.Trend(ctx, f.TrendRequest)
	if err != nil {
		return err
	}
	dir := plotsDir(w.Store, f.plots, "trend")
	noDir := makePlotsDir(dir)
	if err := a.drawn(f.plots, noDir); err != nil {
		return err
	}
	doc := trendDocument{report.Format, t.Simulated, t.Of, t.LeftAside, make([]series, len(t.Series))}
	var errs []error
	for i, x := range t.Series {
		s := &doc.Series[i]
		*s = newSeries(x)
		if noDir != nil {
			continue
		}
		var err error
		s.Plots, err = s.draw(dir, t.Of, i+1, t.Simulated)
		errs = append(errs, a.drawn(f.plots, err))
	}
	return errors.Join(append(errs, a.show(doc, func() error { return a.printTrend(doc) }))...)
}

func (a *app) printTrend(t trendDocument) error {
	if t.Simulated {
		a.printf("SIMULATED: no real board was measured\n\n")
	}
	if t.SimulatedLeft > 0 {
		a.printf("left aside: %s\n\n", report.Count(t.SimulatedLeft, "simulated run"))
	}
	var errs []error
	for i, x := range t.Series {
		if i > 0 {
			a.printf("\n")
		}
		a.wrapped("", fmt.Sprintf("%s: %s", t.Of, report.TrendName(x.of.Reading, x.of.Reading.State)))
		errs = append(errs, report.TrendTable(a.out, x.rows))
		for _, n := range x.Notes {
			a.wrapped("", n)
		}
		a.printPlots(x.Plots)
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
