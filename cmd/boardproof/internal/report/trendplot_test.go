package report

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

func trendPlot(n int) TrendPlot {
	p := TrendPlot{Heading: named(fmt.Sprint("trend-", n)), Line: func(time.Time) float64 { return 0.05 }}
	for i := range n {
		r := analysis.Reading{Quantity: analysis.LevelMatch, Output: "B", Unit: "dB", Value: 0.05 + 0.01*float64(i%7-3), Uncertainty: 0.01, K: 2}
		p.Points = append(p.Points, TrendPoint{At: heading.Date.AddDate(0, 0, i-n), Judged: verdict.Judged{Reading: r}})
	}
	return p
}

// Where the uncertainties would be one blot they are left to the table, and the
// plot says so; the line lies over the readings.
func TestManyReadingsStayLegible(t *testing.T) {
	const bars, none = "reading ± uncertainty (k = 2)", "reading, its uncertainty in the table"
	for n, want := range map[int][2]string{mostBars: {bars, none}, mostBars + 1: {none, bars}} {
		paths, err := SaveTrend(plotDir(t), trendPlot(n))
		if err != nil {
			t.Fatal(err)
		}
		svg := read(t, paths[0])
		if said := texts(svg); !slices.Contains(said, want[0]) || slices.Contains(said, want[1]) {
			t.Errorf("%d readings: the legend says %q", n, said)
		}
		if said := texts(svg); !slices.Contains(said, "level match, dB") {
			t.Errorf("the axis is called otherwise: %q", said)
		}
		// The legend's sample of the line comes first, the line itself last.
		const line, mark = "stroke:#B35900", "fill:#2B5F8A"
		if strings.Count(svg, line) != 2 || strings.LastIndex(svg, line) < strings.LastIndex(svg, mark) {
			t.Errorf("%d readings: the line is not over them", n)
		}
	}
}

func BenchmarkSaveTrend(b *testing.B) {
	for _, n := range []int{100, 1000, 10000} {
		p, dir := trendPlot(n), b.TempDir()
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := SaveTrend(dir, p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
