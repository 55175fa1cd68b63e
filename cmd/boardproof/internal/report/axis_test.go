package report

import (
	"math"
	"slices"
	"testing"

	"boardproof/analysis"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/plot/vg"
)

func TestAxesDoNotExaggerate(t *testing.T) {
	flat := analysis.Curve{FrequencyHz: []float64{10, 22000}, Value: []float64{0, 0.01}}
	deep := analysis.Curve{FrequencyHz: []float64{10, 22000}, Value: []float64{-120, 2}}
	below := analysis.Curve{FrequencyHz: []float64{1, 10, 22000}, Value: []float64{-20, 0, 0}}
	for name, tt := range map[string]struct {
		curve  analysis.Curve
		lo, hi float64
	}{
		"a flat curve gets 6 dB and room": {flat, 0.005 - 3 - 0.84, 0.005 + 3 + 0.84},
		"a deep one is cut 30 dB down":    {deep, -28 - 4.2, 2 + 4.2},
		"what is left of 10 Hz is not in": {below, -3 - 0.84, 3 + 0.84},
	} {
		got := levels{curves: []analysis.Curve{tt.curve}, spanDB: 6}.extent()
		if math.Abs(got.lo-tt.lo) > 1e-9 || math.Abs(got.hi-tt.hi) > 1e-9 {
			t.Errorf("%s: %+v, want %v to %v", name, got, tt.lo, tt.hi)
		}
	}
	if top := topHz([]analysis.Curve{{FrequencyHz: []float64{90e3}}, flat}); top != 90e3 {
		t.Errorf("top = %v", top)
	}
	if top := topHz([]analysis.Curve{{FrequencyHz: []float64{8e3}}}); top != 22e3 {
		t.Errorf("top = %v", top)
	}
}

func TestEvenTicksAreEven(t *testing.T) {
	var labels []string
	for _, tick := range stepFor(1.3, 9).Ticks(-0.65, 0.65) {
		if tick.Label != "" {
			labels = append(labels, tick.Label)
		}
	}
	if diff := cmp.Diff([]string{"−0.6", "−0.4", "−0.2", "0", "0.2", "0.4", "0.6"}, labels); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestSpectrumKeepsLinesAndPower(t *testing.T) {
	// Mean power of −100 and −110 dB: 10·log10((1e-10 + 1e-11)/2).
	if got, want := cellLevel([]float64{-110, -100}), -102.5963731; math.Abs(got-want) > 1e-6 {
		t.Errorf("mean = %v, want %v", got, want)
	}
	line := append(slices.Repeat([]float64{-120}, 20), -90)
	if got := cellLevel(line); got != -90 {
		t.Errorf("line = %v, want −90", got)
	}
}

func TestThinnedKeepsWhatIsSeen(t *testing.T) {
	var pts []vg.Point
	for i := range 10000 {
		pts = append(pts, vg.Point{X: vg.Length(i) / 1000, Y: vg.Length(i % 7)})
	}
	pts[4321].Y = 99
	got := thinned(pts)
	if len(got) > 80 || !slices.Contains(got, pts[4321]) || got[0] != pts[0] || got[len(got)-1] != pts[len(pts)-1] {
		t.Errorf("%d points, first %v, last %v", len(got), got[0], got[len(got)-1])
	}
}
