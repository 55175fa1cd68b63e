package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/analysis/change"
	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

type trendFlags struct {
	bench, output, weighting, state, plots string
	harmonic                               int
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
			return a.withStore(cmd.Context(), func(s *db.Store) error {
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
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	return cmd
}

func (a *app) trend(ctx context.Context, s *db.Store, args []string, f trendFlags) error {
	quantity := args[len(args)-1]
	runs, head, err := trendRuns(ctx, s, args, f.bench)
	if err != nil {
		return err
	}
	kept, left := oneKind(runs)
	all, err := collectSeries(ctx, s, kept, quantity, f)
	if err != nil {
		return err
	}
	dir := f.plots
	if dir == "" {
		dir = filepath.Join(s.Path()+".plots", "trend")
	}
	if err := makePlotsDir(dir); err != nil {
		return err
	}
	simulated := kept[0].Simulated
	var errs []error
	for i := range all {
		x := &all[i]
		x.study(f.bench != "")
		var err error
		x.Plots, err = x.draw(dir, head, i+1, simulated)
		errs = append(errs, err)
	}
	if a.json {
		return errors.Join(append(errs, a.printJSON(trendDocument{report.Format, simulated, head, left, all}))...)
	}
	if simulated {
		a.printf("SIMULATED: no real board was measured\n\n")
	}
	if left > 0 {
		a.printf("%d simulated runs are left aside\n\n", left)
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

// trendRuns lists the runs to look at, in the order they were made, without their
// readings, and says whose they are.
func trendRuns(ctx context.Context, s *db.Store, args []string, bench string) (runs []db.Run, head string, err error) {
	if bench == "" {
		board, err := s.FindBoard(ctx, args[0])
		if err != nil {
			return nil, "", err
		}
		if runs, err = s.Runs(ctx, board.ID); err != nil {
			return nil, "", err
		}
		head = "board " + board.Label
	} else {
		b, err := s.Bench(ctx, bench)
		if err != nil {
			return nil, "", err
		}
		boards, err := s.Boards(ctx)
		if err != nil {
			return nil, "", err
		}
		for _, board := range boards {
			of, err := s.Runs(ctx, board.ID)
			if err != nil {
				return nil, "", err
			}
			runs = append(runs, slices.DeleteFunc(of, func(r db.Run) bool { return r.OriginID != "" || !strings.EqualFold(r.Bench, b.Name) })...)
		}
		head = "bench " + b.Name
	}
	runs = measuredRuns(runs)
	if len(runs) == 0 {
		return nil, "", wrongUsef("%s has no run yet", head)
	}
	slices.SortStableFunc(runs, func(a, b db.Run) int { return a.Started.Compare(b.Started) })
	return runs, head, nil
}

// fits says whether a reading is asked for.
func (f trendFlags) fits(j verdict.Judged) bool {
	const near = 0.02
	return (f.output == "" || strings.EqualFold(f.output, j.Output)) && (f.weighting == "" || strings.EqualFold(f.weighting, j.Weighting)) &&
		(f.state == "" || strings.EqualFold(f.state, j.State)) && (f.harmonic == 0 || f.harmonic == j.Harmonic) &&
		(f.frequencyHz == 0 || math.Abs(j.FrequencyHz/f.frequencyHz-1) <= near)
}

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

// collectSeries reads the runs, each once, and sorts what is asked for into
// series.
func collectSeries(ctx context.Context, s *db.Store, runs []db.Run, quantity string, f trendFlags) ([]series, error) {
	left, _, err := asDelivered(ctx, s, runs[0].BoardID, runs)
	if err != nil {
		return nil, err
	}
	var all []series
	index := map[seriesKey]int{}
	have := map[string]bool{}
	for _, r := range runs {
		run, err := s.FindRun(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		seen := map[seriesKey]bool{}
		for _, j := range run.Readings {
			have[j.Quantity] = true
			k := keyOf(j, f)
			if j.Quantity != quantity || j.Absent || !f.fits(j) || seen[k] {
				continue
			}
			seen[k] = true
			i, ok := index[k]
			if !ok {
				i = len(all)
				index[k] = i
				all = append(all, series{Reading: j.Reading})
			}
			all[i].add(run, j, left != nil && f.bench == "" && run.ID == left.ID)
		}
	}
	switch {
	case len(all) == 0 && have[quantity]:
		return nil, wrongUsef("no reading of %s is as --output, --weighting, --state, --harmonic and --frequency ask for", quantity)
	case len(all) == 0:
		return nil, wrongUsef("there is no reading of %q: there is %s", quantity, strings.Join(sortedKeys(have), ", "))
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

// local to one series: readings over time and what is to be said of them.
type series struct {
	Reading analysis.Reading `json:"-"`
	Points  []seriesPoint    `json:"points"`
	Trend   *change.Trend    `json:"trend,omitempty"`
	Chart   *change.Chart    `json:"chart,omitempty"`
	Notes   []string         `json:"notes,omitempty"`
	Plots   []string         `json:"plots,omitempty"`

	rows   []report.TrendRow
	points []change.Point
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

func (x *series) add(run db.Run, j verdict.Judged, isDelivered bool) {
	label := run.BoardAsWas.Label
	x.Points = append(x.Points, seriesPoint{run.ID, label, run.Started, run.ProfileID, isDelivered, j})
	x.rows = append(x.rows, report.TrendRow{TrendPoint: report.TrendPoint{At: run.Started, Judged: j, Delivered: isDelivered}, Run: run.ID, Board: label, Profile: run.ProfileID})
	point := func(r analysis.Reading) change.Point {
		return change.Point{At: run.Started, Reading: r, Profile: run.ProfileID, Interface: run.Bench, Method: run.MethodVersion}
	}
	x.points = append(x.points, point(j.Reading))
	for _, c := range run.Readings {
		if c.Quantity == analysis.BenchGainDrift && c.Output == j.Output {
			x.checks = append(x.checks, point(c.Reading))
		}
	}
}

func (x *series) name() string { return report.TrendName(x.Reading, x.Reading.State) }
