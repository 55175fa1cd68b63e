package report

import (
	"math"
	"slices"
	"strings"
	"testing"

	"boardproof/analysis/verdict"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func TestPlanMasksAreSortedByTheirReference(t *testing.T) {
	p := func(v float64) *float64 { return &v }
	points := []verdict.MaskPoint{{FrequencyHz: 20, Min: p(-3), Max: p(1)}, {FrequencyHz: 20000, Max: p(2)}}
	got := PlanMasks([]verdict.Mask{{RelativeToHz: 1000, Points: points}, {Points: points}, {Output: "B", RelativeToHz: 1000, Points: points}})
	mask := func(output string) Mask {
		return Mask{Output: output, FrequencyHz: []float64{20, 20000}, Min: []float64{-3, math.NaN()}, Max: []float64{1, 2}}
	}
	want := []MaskSet{{RelativeToHz: 1000, Masks: []Mask{mask(""), mask("B")}}, {Masks: []Mask{mask("")}}}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("masks (-want +got):\n%s", diff)
	}
}

func TestRelativeResponseNamesWhatItTookOff(t *testing.T) {
	p := responsePlot()
	p.Heading, p.RelativeToHz, p.Phase = named("relative"), 1000, true
	p.Curves[0].Note = "the board is not linear and time-invariant in this state"
	p.Curves[1].Uncertainty[0], p.Curves[1].SharedUncertainty = 0.5, 0.3
	before := slices.Clone(p.Curves[1].Value)
	paths, err := SaveResponse(plotDir(t), p)
	if err != nil {
		t.Fatal(err)
	}
	said := texts(read(t, paths[0]))
	// 10·log10(1 + 0.008²) and 10·log10(1 + 1/45²) together are 0.002 dB.
	for _, want := range []string{"gain relative to 1 kHz, dB", "output A (−0.20 dB at 1 kHz)", "output B (−0.25 dB at 1 kHz)",
		"note: the board is not linear and time-invariant in this state"} {
		if !slices.Contains(said, want) {
			t.Errorf("%q is missing among %q", want, said)
		}
	}
	shifted, _, err := relative(p.Curves, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if level, _ := levelNear(shifted[1], 1000); level != 0 {
		t.Errorf("level at 1 kHz = %v", level)
	}
	if u := shifted[1].Uncertainty[0]; math.Abs(u-0.4) > 1e-12 {
		t.Errorf("uncertainty = %v, want √(0.5² − 0.3²)", u)
	}
	if !slices.Equal(before, p.Curves[1].Value) {
		t.Error("the caller's curve was changed")
	}
	p.RelativeToHz = 50000
	if _, err := SaveResponse(t.TempDir(), p); err == nil || !strings.Contains(err.Error(), "not known at 50 kHz") {
		t.Errorf("err = %v", err)
	}
}
