package report

import (
	"bytes"
	"html"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"

	"pgregory.net/rapid"
)

var heading = Heading{
	Board: "PB-0042 stage board", Run: "17", Step: "all bypassed", Simulated: true,
	Date: time.Date(2031, 3, 4, 15, 6, 0, 0, time.UTC),
}

// logGrid is n frequencies from lo to hi.
func logGrid(lo, hi float64, n int) []float64 {
	f := make([]float64, n)
	for i := range f {
		f[i] = lo * math.Pow(hi/lo, float64(i)/float64(n-1))
	}
	return f
}

// bandpass is the response of first-order corners, with an uncertainty that
// grows towards low frequencies.
func bandpass(output string, gainDB, lowHz, highHz float64) analysis.Curve {
	c := analysis.Curve{Quantity: analysis.Response, Output: output, Unit: "dB", FrequencyHz: logGrid(10, 22000, 330)}
	for _, f := range c.FrequencyHz {
		c.Value = append(c.Value, gainDB-10*math.Log10(1+lowHz*lowHz/f/f)-10*math.Log10(1+f*f/highHz/highHz))
		c.PhaseDeg = append(c.PhaseDeg, (math.Atan(lowHz/f)-math.Atan(f/highHz))*180/math.Pi)
		c.PhaseUncertaintyDeg = append(c.PhaseUncertaintyDeg, 20/f)
		c.Uncertainty = append(c.Uncertainty, 0.01+4/f)
	}
	return c
}

func responseMask() Mask {
	nan := math.NaN()
	return Mask{
		FrequencyHz: []float64{20, 40, 40, 10000, 10000, 20000},
		Min:         []float64{nan, nan, -1, -1, -3, -3},
		Max:         []float64{0.8, 0.8, 0.8, 0.8, 0.8, 0.8},
	}
}

func responsePlot() ResponsePlot {
	return ResponsePlot{Heading: heading, Masks: []Mask{responseMask()},
		Curves: []analysis.Curve{bandpass("A", -0.2, 8, 48000), bandpass("B", -0.25, 8, 45000)}}
}

func noiseCurve(output string, level float64) analysis.Curve {
	c := analysis.Curve{Quantity: analysis.NoiseDensity, Output: output, Unit: "dBu", FrequencyHz: logGrid(10, 22000, 6000)}
	for i, f := range c.FrequencyHz {
		ragged := 1.5 * math.Sin(float64(i*i%977))
		c.Value = append(c.Value, level+10*math.Log10(1+100/f)+ragged)
	}
	return c
}

func noisePlot() NoisePlot {
	n := NoisePlot{Heading: heading, Curves: []analysis.Curve{noiseCurve("A", -131), noiseCurve("B", -127)}}
	floor := noiseCurve("", -140)
	n.Floor = &floor
	for _, out := range []string{"A", "B"} {
		for h := 1; h <= 40; h++ {
			n.Lines = append(n.Lines, analysis.Reading{Quantity: analysis.HumHarmonic, Output: out, Harmonic: h,
				FrequencyHz: 50.01 * float64(h), Value: -90 - 0.6*float64(h) + 8*float64(h%2), UpperBound: h > 30})
		}
	}
	for i, f := range []float64{1000, 8333, 8400, 15625, 19200} {
		n.Lines = append(n.Lines, analysis.Reading{Quantity: analysis.OtherTone, Output: "A", FrequencyHz: f, Value: -100 - float64(i)})
	}
	return n
}

func splitPlot() SplitPlot {
	c := analysis.Curve{Quantity: analysis.SplitDifference, Output: "B", Reference: "A", Unit: "dB", FrequencyHz: logGrid(10, 22000, 330)}
	for _, f := range c.FrequencyHz {
		c.Value = append(c.Value, -0.17-0.12*math.Pow(f/20000, 2)-0.4/(1+f*f/400))
		c.Uncertainty = append(c.Uncertainty, 0.008+0.8/f)
	}
	return SplitPlot{Heading: heading, Curves: []analysis.Curve{c},
		Masks: []Mask{{FrequencyHz: []float64{40, 18000}, Min: []float64{-0.25, -0.25}, Max: []float64{0.25, 0.25}}}}
}

// PLOTS_DIR keeps the plots of this test where they can be looked at.
func plotDir(t *testing.T) string {
	if dir := os.Getenv("PLOTS_DIR"); dir != "" {
		return dir
	}
	return t.TempDir()
}

func named(name string) Heading {
	h := heading
	h.Name = name
	return h
}

func TestPlotsSayWhatTheyShow(t *testing.T) {
	dir := plotDir(t)
	dull := responsePlot()
	dull.Heading, dull.Phase = named("dull"), true
	dull.Curves[1] = bandpass("B", -1.4, 60, 3000)
	common := []string{"SIMULATED", heading.Date.Local().Format("2006-01-02 15:04") + "  ·  run 17  ·  all bypassed",
		"frequency, Hz", "10", "20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k"}
	tests := []struct {
		name string
		save func() ([]string, error)
		want []string
	}{
		{"response", func() ([]string, error) { return SaveResponse(dir, responsePlot()) },
			[]string{"Response: PB-0042 stage board", "gain, dB", "output A", "output B", "limit", "beyond the limit", "± uncertainty (k = 2)"}},
		{"dull", func() ([]string, error) { return SaveResponse(dir, dull) },
			[]string{"gain, dB", "phase, degrees", "output A", "output B", "limit"}},
		{"noise", func() ([]string, error) { return SaveNoise(dir, noisePlot()) },
			[]string{"noise density, dBu in 1 Hz", "output A", "output B", "bench floor", "mains A", "mains B", "tones A", "1", "3", "15.6k", "Noise: PB-0042 stage board"}},
		{"split", func() ([]string, error) { return SaveSplit(dir, splitPlot()) },
			[]string{"level difference, dB", "B − A", "limit", "beyond the limit"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			paths, err := tt.save()
			if err != nil {
				t.Fatal(err)
			}
			if want := []string{filepath.Join(dir, tt.name+".svg"), filepath.Join(dir, tt.name+".png")}; !slices.Equal(paths, want) {
				t.Fatalf("paths = %q, want %q", paths, want)
			}
			svg := read(t, paths[0])
			said := texts(svg)
			for _, want := range append(slices.Clone(common), tt.want...) {
				if !slices.Contains(said, want) {
					t.Errorf("%q is missing among %q", want, said)
				}
			}
			if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
				t.Error("a coordinate is not a number")
			}
			img, err := png.Decode(bytes.NewReader([]byte(read(t, paths[1]))))
			if err != nil {
				t.Fatal(err)
			}
			if b := img.Bounds(); b.Dx() != 1200 || b.Dy() != 800 {
				t.Errorf("PNG is %d × %d, want 1200 × 800", b.Dx(), b.Dy())
			}
		})
	}
}

// texts are the words of an SVG.
func texts(svg string) []string {
	var said []string
	for _, m := range regexp.MustCompile(`<text[^>]*>([^<]*)</text>`).FindAllStringSubmatch(svg, -1) {
		said = append(said, html.UnescapeString(m[1]))
	}
	return said
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestNothingToDrawLeavesNothing(t *testing.T) {
	empty := []analysis.Curve{{Output: "A", FrequencyHz: []float64{10, 20}, Value: []float64{math.NaN(), 1}}}
	tests := []struct {
		name string
		save func(dir string) ([]string, error)
		want string
	}{
		{"response", func(d string) ([]string, error) { return SaveResponse(d, ResponsePlot{}) }, "plot response: there is no curve to draw"},
		{"noise", func(d string) ([]string, error) { return SaveNoise(d, NoisePlot{}) }, "plot noise: there is no curve to draw"},
		{"split", func(d string) ([]string, error) { return SaveSplit(d, SplitPlot{}) }, "plot split: there is no curve to draw"},
		{"one point", func(d string) ([]string, error) { return SaveResponse(d, ResponsePlot{Curves: empty}) }, "plot response: the curve of output A has fewer than two points"},
		{"a folder in the way", func(d string) ([]string, error) {
			if err := os.Mkdir(filepath.Join(d, "response.png"), 0o755); err != nil {
				t.Fatal(err)
			}
			paths, err := SaveResponse(d, responsePlot())
			if err := os.Remove(filepath.Join(d, "response.png")); err != nil {
				t.Errorf("the folder is gone: %v", err)
			}
			return paths, err
		}, "write plot: "},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			paths, err := tt.save(dir)
			if err == nil || !strings.HasPrefix(err.Error(), tt.want) || paths != nil {
				t.Errorf("paths = %q, err = %v, want %q", paths, err, tt.want)
			}
			left, err := os.ReadDir(dir)
			if err != nil || len(left) > 0 {
				t.Errorf("left behind: %v, %v", left, err)
			}
		})
	}
}

// Outputs must differ in print without colour, also where they coincide: each
// pair in dashes, in marker and in grey value or width.
func TestOutputsDifferWithoutColour(t *testing.T) {
	for i := range 4 {
		for k := range i {
			a, b := inkOf(i), inkOf(k)
			if slices.Equal(a.line.Dashes, b.line.Dashes) {
				t.Errorf("outputs %d and %d have the same dashes", k, i)
			}
			if a.marker.Shape == nil || a.marker.Shape == b.marker.Shape {
				t.Errorf("outputs %d and %d have the same marker", k, i)
			}
		}
	}
	a, b := inkOf(0).line, inkOf(1).line
	grey := func(c color.Color) int { return int(color.GrayModel.Convert(c).(color.Gray).Y) }
	if grey(a.Color)-grey(b.Color) < 80 || a.Width < 2*b.Width {
		t.Errorf("B on top of A is not seen: grey %d and %d, width %v and %v", grey(a.Color), grey(b.Color), a.Width, b.Width)
	}
	p := responsePlot()
	p.Curves[1] = p.Curves[0]
	paths, err := SaveResponse(t.TempDir(), p)
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Count(read(t, paths[0]), "stroke-dasharray:8,3.5"); got != 2 {
		t.Errorf("%d dashed lines, want the second output's and its sample in the legend", got)
	}
}

func TestBoundsAreNotMarkedAsLines(t *testing.T) {
	n := noisePlot()
	for i := range n.Lines {
		n.Lines[i].UpperBound = true
	}
	paths, err := SaveNoise(t.TempDir(), n)
	if err != nil {
		t.Fatal(err)
	}
	for _, said := range texts(read(t, paths[0])) {
		if strings.HasPrefix(said, "mains") || strings.HasPrefix(said, "tones") {
			t.Errorf("%q marks what was not found", said)
		}
	}
}

func TestSimulatedIsSaidOnlyWhereItIs(t *testing.T) {
	p := responsePlot()
	p.Simulated = false
	paths, err := SaveResponse(t.TempDir(), p)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(read(t, paths[0]), "SIMULATED") {
		t.Error("a real board is called simulated")
	}
}

func TestNoCurvePanics(t *testing.T) {
	number := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-100, 100), rapid.Float64Range(10, 90000),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.MaxFloat64, -math.MaxFloat64}))
	numbers := rapid.SliceOfN(number, 0, 6)
	drawn := 0
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		curve := rapid.Custom(func(t *rapid.T) analysis.Curve {
			return analysis.Curve{Quantity: "response", Output: rapid.String().Draw(t, "output"), FrequencyHz: rapid.SliceOfN(number, 4, 6).Draw(t, "f"),
				Value: rapid.SliceOfN(number, 4, 6).Draw(t, "v"), Uncertainty: numbers.Draw(t, "u"), PhaseDeg: numbers.Draw(t, "p"), PhaseUncertaintyDeg: numbers.Draw(t, "pu")}
		})
		c := rapid.SliceOfN(curve, 1, 2).Draw(t, "curves")
		m := []Mask{{FrequencyHz: numbers.Draw(t, "mf"), Min: numbers.Draw(t, "min"), Max: numbers.Draw(t, "max")}}
		r := []analysis.Reading{{Quantity: "other_tone", Output: c[0].Output, FrequencyHz: number.Draw(t, "tone"), Value: number.Draw(t, "level")}}
		for _, err := range []error{
			second(SaveResponse(dir, ResponsePlot{Curves: c, Masks: m, Phase: true})),
			second(SaveNoise(dir, NoisePlot{Curves: c, Floor: &c[0], Lines: r})),
			second(SaveSplit(dir, SplitPlot{Curves: c, Masks: m})),
		} {
			if err == nil {
				drawn++
			} else if !strings.Contains(err.Error(), "curve") {
				t.Error(err)
			}
		}
	})
	if drawn == 0 {
		t.Error("no plot was drawn at all")
	}
}

func second(_ []string, err error) error { return err }
