package verdict

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"boardproof/analysis"
)

// shape is a Judged in one line: what, where, verdict.
func shape(judged []Judged) []string {
	var lines []string
	for _, j := range judged {
		line := strings.Join([]string{j.Quantity, j.Output, j.Weighting, string(j.Verdict)}, "|")
		if j.Absent {
			line += "|" + j.Note
		}
		lines = append(lines, line)
	}
	return lines
}

func reading(quantity, output string, value, u float64) analysis.Reading {
	return analysis.Reading{Quantity: quantity, Output: output, Value: value, Uncertainty: u, K: 2, Unit: "dB"}
}

func TestApplyToEveryOutput(t *testing.T) {
	s := Step{Name: "path", State: "bypassed", Limits: []PlanLimit{
		{Quantity: analysis.Gain, Output: "A", Min: at(-1.4), Max: at(0.5)},
		{Quantity: analysis.Gain, Min: at(-1.5), Max: at(0.5)},
		{Quantity: analysis.Gain, Output: "B", Min: at(-0.2), Max: at(0.5)},
		{Quantity: analysis.LevelMatch, FrequencyHz: 1000, Min: at(-0.25), Max: at(0.25)},
	}}
	match := reading(analysis.LevelMatch, "B", -0.3, 0.01)
	match.Reference, match.FrequencyHz = "A", 999.8
	elsewhere := match
	elsewhere.FrequencyHz, elsewhere.Value = 5000, -40
	got := Apply(s, []string{"A", "B"}, Guarded, analysis.Result{Readings: []analysis.Reading{
		reading(analysis.Gain, "A", -0.3, 0.01), reading(analysis.Gain, "B", -0.3, 0.01),
		match, elsewhere, reading(analysis.Delay, "A", 1, 0),
	}})
	want := []string{"gain|A||pass", "gain|B||fail", "level_match|B||fail", "level_match|B||", "delay|A||"}
	if diff := cmp.Diff(want, shape(got)); diff != "" {
		t.Errorf("verdicts (-want +got):\n%s", diff)
	}
	if got[0].Step != "path" || *got[0].Limit.Min != -1.4 || *got[1].Limit.Min != -0.2 || got[3].Limit != nil {
		t.Errorf("limits came back as %+v", got)
	}
}

// The limit that names most goes first, wherever it stands: one for a frequency
// or a harmonic before one for all. Of two that name as much the first counts.
func TestTheLimitThatNamesMostCounts(t *testing.T) {
	gain := func(hz float64) analysis.Reading {
		r := reading(analysis.Gain, "A", -0.3, 0.01)
		r.FrequencyHz = hz
		return r
	}
	third := reading(analysis.HumHarmonic, "A", -70, 0.1)
	third.Harmonic = 3
	fifth := third
	fifth.Harmonic = 5
	general := []PlanLimit{{Quantity: analysis.Gain, Min: at(-1)}, {Quantity: analysis.HumHarmonic, Max: at(-60)}}
	special := []PlanLimit{
		{Quantity: analysis.Gain, FrequencyHz: 5000, Min: at(-0.2)},
		{Quantity: analysis.Gain, FrequencyHz: 5010, Min: at(-0.9)}, // fits too, and stands later
		{Quantity: analysis.HumHarmonic, Harmonic: 3, Max: at(-80)},
	}
	for name, limits := range map[string][]PlanLimit{
		"general first": append(append([]PlanLimit{}, general...), special...),
		"special first": append(append([]PlanLimit{}, special...), general...),
	} {
		got := Apply(Step{Limits: limits}, []string{"A"}, Guarded, analysis.Result{Readings: readings(gain(1000), gain(5001), third, fifth)})
		if diff := cmp.Diff([]string{"gain|A||pass", "gain|A||fail", "hum_harmonic|A||fail", "hum_harmonic|A||pass"}, shape(got)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
	// A tone is placed on whole cycles, within half a percent of what was asked for.
	for hz, want := range map[float64]string{4976: "gain|A||pass", 5024: "gain|A||pass", 4974: "gain|A||", 5026: "gain|A||"} {
		got := Apply(Step{Limits: []PlanLimit{{Quantity: analysis.Gain, FrequencyHz: 5000, Min: at(-1)}}}, []string{"A"}, Guarded, analysis.Result{Readings: readings(gain(hz))})
		if shape(got)[0] != want {
			t.Errorf("a reading at %g Hz under a limit for 5000 Hz: %s, want %s", hz, shape(got)[0], want)
		}
	}
}

// A figure to which the bench can only add, and which it sets, says nothing
// against the board: neither plainly nor near the limit. One inside its limit
// passes, and a quantity that the bench does not make fails as ever.
func TestTheBenchIsNotHeldAgainstTheBoard(t *testing.T) {
	ofBench := []string{analysis.Noise, analysis.Hiss, analysis.Hum, analysis.HumHarmonic, analysis.OtherTone, analysis.THD, analysis.THDN}
	for quantity, adds := range map[string]bool{analysis.Gain: false, analysis.Flatness: false, analysis.LevelMatch: false} {
		checkBench(t, quantity, adds)
	}
	for _, quantity := range ofBench {
		checkBench(t, quantity, true)
	}
}

func checkBench(t *testing.T, quantity string, adds bool) {
	t.Helper()
	for value, plain := range map[float64]Outcome{-2: Pass, -0.5: ConditionalPass, 0.5: ConditionalFail, 2: Fail} {
		want := plain
		if adds && value > 0 {
			want = NotMeasured
		}
		r := reading(quantity, "A", value, 1)
		if got, _ := judgeReading(r, Limit{Max: at(0)}, Guarded); got != plain {
			t.Errorf("%s of %g ± 1 under 0 is %q, want %q", quantity, value, got, plain)
		}
		r.FloorLimited = true
		if got, _ := judgeReading(r, Limit{Max: at(0)}, Guarded); got != want {
			t.Errorf("%s of %g ± 1 under 0, set by the bench, is %q, want %q", quantity, value, got, want)
		}
	}
}

// Under a relative mask what all points share cancels, and what is left of both
// points counts: 0.3 of 0.5 shared leaves 0.4, of 0.5 and 0.4 alone the root of
// 0.16 + 0.07.
func TestRelativeMaskTakesWhatIsNotShared(t *testing.T) {
	c := analysis.Curve{Quantity: analysis.Response, Output: "A", Unit: "dB", FrequencyHz: []float64{100, 1000},
		Value: []float64{-1, 0}, Uncertainty: []float64{0.5, 0.4}, SharedUncertainty: 0.3}
	m := Mask{RelativeToHz: 1000, Points: []MaskPoint{{FrequencyHz: 100, Min: at(-0.9)}, {FrequencyHz: 1000, Min: at(-9)}}}
	j, err := m.worst(c, Guarded)
	want := math.Sqrt(0.5*0.5 - 0.3*0.3 + 0.4*0.4 - 0.3*0.3)
	if err != nil || math.Abs(j.Uncertainty-want) > 1e-12 || j.Verdict != ConditionalFail || j.FrequencyHz != 100 {
		t.Errorf("%+v, %v; want ± %g at 100 Hz", j, err, want)
	}
	m.RelativeToHz = 0
	if j, err = m.worst(c, Guarded); err != nil || j.Uncertainty != 0.5 {
		t.Errorf("not relative: ± %g, %v", j.Uncertainty, err)
	}
}

func TestApplyNamesWhatIsMissing(t *testing.T) {
	s := Step{Name: "path", State: "bypassed", Limits: []PlanLimit{
		{Quantity: analysis.Gain, Min: at(-1)},
		{Quantity: analysis.LevelMatch, Max: at(1)},
		{Quantity: analysis.Noise, Weighting: "A", Max: at(-85)},
	}}
	lost := "lost samples: marks 480064 apart, played 480000"
	noise := reading(analysis.Noise, "A", -70, 0.1)
	noise.Weighting = "468"
	got := Apply(s, []string{"A", "B", "C"}, Guarded, analysis.Result{
		Readings: []analysis.Reading{reading(analysis.Gain, "A", 0, 0), noise},
		Refused: []analysis.Refusal{
			{Quantity: analysis.Gain, Output: "B", Reason: lost},
			{Quantity: analysis.LevelMatch, Reason: "no second output"},
		},
	})
	none := "the step gave no reading of it"
	want := []string{
		"gain|A||pass", "noise|A|468|",
		"gain|B||not measured|" + lost, "gain|C||not measured|" + none,
		"level_match|B||not measured|no second output", "level_match|C||not measured|no second output",
		"noise|A|A|not measured|" + none, "noise|B|A|not measured|" + none, "noise|C|A|not measured|" + none,
	}
	if diff := cmp.Diff(want, shape(got)); diff != "" {
		t.Errorf("verdicts (-want +got):\n%s", diff)
	}
	if last := got[len(got)-1]; last.State != "bypassed" || last.Step != "path" || last.Limit == nil || last.Unit != "dBu" {
		t.Errorf("absent reading: %+v", last)
	}
	one := Apply(s, []string{"A"}, Guarded, analysis.Result{Readings: readings(reading(analysis.Gain, "A", 0, 0), noise)})
	want = []string{"gain|A||pass", "noise|A|468|", "noise|A|A|not measured|" + none}
	if diff := cmp.Diff(want, shape(one)); diff != "" {
		t.Errorf("a board with one output has no match to judge (-want +got):\n%s", diff)
	}
}

func readings(r ...analysis.Reading) []analysis.Reading { return r }

func TestApplyOtherTones(t *testing.T) {
	s := Step{Limits: []PlanLimit{{Quantity: analysis.OtherTone, Max: at(-90)}}}
	noise := reading(analysis.Noise, "A", -95, 0.1)
	loud := reading(analysis.OtherTone, "A", -60, 0.1)
	refused := []analysis.Refusal{{Quantity: analysis.OtherTone, Output: "A", Reason: "clipped"}}
	for name, c := range map[string]struct {
		got  analysis.Result
		want []string
	}{
		"none found":       {analysis.Result{Readings: readings(noise)}, []string{"noise|A||"}},
		"one too loud":     {analysis.Result{Readings: readings(noise, loud)}, []string{"noise|A||", "other_tone|A||fail"}},
		"silence not read": {analysis.Result{}, []string{"other_tone|A||not measured|the step gave no reading of it"}},
		"refused":          {analysis.Result{Readings: readings(noise), Refused: refused}, []string{"noise|A||", "other_tone|A||not measured|clipped"}},
	} {
		if diff := cmp.Diff(c.want, shape(Apply(s, []string{"A"}, Guarded, c.got))); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

func TestApplyFloorAndBounds(t *testing.T) {
	s := Step{Limits: []PlanLimit{{Quantity: analysis.Hum, Max: at(-80)}, {Quantity: analysis.Gain, Min: at(-1), Max: at(1)}}}
	hum := func(value float64, floor, bound bool) analysis.Reading {
		r := reading(analysis.Hum, "A", value, 1)
		r.FloorLimited, r.UpperBound, r.Note = floor, bound, "50 Hz"
		return r
	}
	floorGain := reading(analysis.Gain, "A", 3, 0.1)
	floorGain.FloorLimited = true
	for name, c := range map[string]struct {
		r    analysis.Reading
		want Outcome
		note string
	}{
		"floor above the limit":     {hum(-70, true, false), NotMeasured, "50 Hz; the bench itself"},
		"floor under the limit":     {hum(-90, true, false), Pass, "50 Hz"},
		"board above the limit":     {hum(-70, false, false), Fail, "50 Hz"},
		"bound above the limit":     {hum(-70, false, true), NotMeasured, "50 Hz; only a bound is known"},
		"floor does not excuse":     {floorGain, Fail, ""},
		"no figure could pass":      {reading(analysis.Gain, "A", 0, 1.1), ConditionalPass, "more than half of what the limits allow"},
		"clear passes are possible": {reading(analysis.Gain, "A", 0.3, 0.9), ConditionalPass, ""},
		"conditional for itself":    {reading(analysis.Gain, "A", 0.95, 0.1), ConditionalPass, ""},
		"uncertainty not a number":  {reading(analysis.Gain, "A", 0, math.NaN()), NotMeasured, ""},
		"bound below is bound well": {hum(-81, false, true), Pass, "50 Hz"},
	} {
		j := Apply(s, nil, Guarded, analysis.Result{Readings: readings(c.r)})[0]
		if j.Verdict != c.want || !strings.Contains(j.Note, c.note) || c.note == "" && j.Note != "" {
			t.Errorf("%s: %q, note %q; want %q, note %q", name, j.Verdict, j.Note, c.want, c.note)
		}
	}
}

// A first-order low-pass at 10 kHz: −10·log10(1 + (f/fc)²) dB, closed form.
func lowPass(output string, cornerHz, u float64) analysis.Curve {
	c := analysis.Curve{Quantity: analysis.Response, Output: output, Unit: "dB"}
	for f := 10.0; f < 22000; f *= math.Pow(2, 1.0/24) {
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Value = append(c.Value, -10*math.Log10(1+f/cornerHz*f/cornerHz))
		c.Uncertainty = append(c.Uncertainty, u)
	}
	return c
}

func TestApplyLowerBound(t *testing.T) {
	for _, c := range []struct {
		l    PlanLimit
		want Outcome
	}{
		{PlanLimit{Min: at(15000)}, Pass},
		{PlanLimit{Min: at(22000)}, Pass},
		{PlanLimit{Min: at(22001)}, NotMeasured},
		{PlanLimit{Max: at(22001)}, NotMeasured},
		{PlanLimit{Max: at(21999)}, Fail},
	} {
		c.l.Quantity = analysis.HighCorner
		r := reading(analysis.HighCorner, "A", 22000, 0)
		r.LowerBound = true
		got := Apply(Step{Limits: []PlanLimit{c.l}}, nil, Guarded, analysis.Result{Readings: readings(r)})[0]
		if got.Verdict != c.want {
			t.Errorf("at least 22 kHz against %v to %v: %q, want %q", c.l.Min, c.l.Max, got.Verdict, c.want)
		}
	}
}

func TestApplyMask(t *testing.T) {
	m := Mask{RelativeToHz: 1000, Points: []MaskPoint{
		{FrequencyHz: 100, Min: at(-1), Max: at(1)}, {FrequencyHz: 1000, Min: at(-1), Max: at(1)}, {FrequencyHz: 10000, Min: at(-2), Max: at(1)},
	}}
	s := Step{Name: "path", Masks: []Mask{m}}
	curves := []analysis.Curve{lowPass("A", 10000, 0.01), lowPass("B", 100000, 0.01)}
	got := Apply(s, []string{"A", "B", "C"}, Guarded, analysis.Result{Curves: curves})
	want := []string{"response|A||fail", "response|B||pass", "response|C||not measured|the step gave no response curve"}
	if diff := cmp.Diff(want, shape(got)); diff != "" {
		t.Fatalf("verdicts (-want +got):\n%s", diff)
	}
	// The mask's last point is the worst, which lies between two of the grid.
	a, f := got[0], 10000.0
	value := -10*math.Log10(1+f*f/1e8) + 10*math.Log10(1+0.01)
	limit := -1 - math.Log10(f/1000)
	if math.Abs(a.FrequencyHz-f) > 1e-6 || *a.Limit.Max != 1 || math.Abs(*a.Limit.Min-limit) > 1e-9 {
		t.Errorf("worst at %g Hz against %g to %g, want %g Hz against %g to 1", a.FrequencyHz, *a.Limit.Min, *a.Limit.Max, f, limit)
	}
	// A straight line over h = ln 2/24 errs by at most h²/8·|y″|, and this
	// curve has y″ = −(20/ln 10)·2g/(1+g)² with g = (f/10 kHz)², at both ends.
	h := math.Ln2 / 24
	bend := h * h / 8 * 20 / math.Ln10 * 2 * (0.01/(1.01*1.01) + 1.0/4)
	if math.Abs(a.Value-value) > bend || math.Abs(a.Uncertainty-0.01*math.Sqrt2) > 1e-12 || a.K != 2 {
		t.Errorf("worst value %g ± %g, want %g ± %g", a.Value, a.Uncertainty, value, 0.01*math.Sqrt2)
	}
}

// A notch between two points of the curve's grid, and a mask that is narrowest at a
// point of its own: both lie between the grid's points and both count.
func TestApplyMaskBetweenPoints(t *testing.T) {
	c := lowPass("A", 1e6, 0.01)
	notch := func(f float64) float64 { return -6 / (1 + math.Pow((f-3030)/10, 2)) }
	c.Fine = func(lowHz, highHz float64) (fine analysis.Curve) {
		for f := lowHz; ; f = math.Min(f+2, highHz) {
			fine.FrequencyHz, fine.Value, fine.Uncertainty = append(fine.FrequencyHz, f), append(fine.Value, notch(f)), append(fine.Uncertainty, 0.01)
			if f == highHz {
				return fine
			}
		}
	}
	for _, v := range []struct {
		hz, min float64
		want    Outcome
	}{{3030, -5.5, Fail}, {3030, -6.5, Pass}, {5000, -0.0005, ConditionalPass}} {
		m := Mask{Points: []MaskPoint{{FrequencyHz: 0.98 * v.hz, Min: at(-10)}, {FrequencyHz: v.hz, Min: at(v.min)}, {FrequencyHz: 1.02 * v.hz, Min: at(-10)}}}
		got := Apply(Step{Masks: []Mask{m}}, []string{"A"}, Guarded, analysis.Result{Curves: []analysis.Curve{c}})[0]
		if got.Verdict != v.want || math.Abs(got.FrequencyHz-v.hz) > 1 {
			t.Errorf("mask of %g dB at %g Hz: %q at %g Hz, %g dB", v.min, v.hz, got.Verdict, got.FrequencyHz, got.Value)
		}
	}
}

func TestApplyMaskUsesUncertaintyPerPoint(t *testing.T) {
	m := Mask{Points: []MaskPoint{{FrequencyHz: 10, Max: at(1)}, {FrequencyHz: 40, Max: at(1)}}}
	c := analysis.Curve{Quantity: analysis.Response, Output: "A", FrequencyHz: []float64{10, 20, 40},
		Value: []float64{0.9, 0.6, 0}, Uncertainty: []float64{0.05, 0.5, 0}}
	got := Apply(Step{Masks: []Mask{m}}, []string{"A"}, Guarded, analysis.Result{Curves: []analysis.Curve{c}})
	if got[0].FrequencyHz != 20 || got[0].Verdict != ConditionalPass || got[0].Uncertainty != 0.5 {
		t.Errorf("worst is %g Hz, %q: 20 Hz passes only conditionally, 10 Hz clearly", got[0].FrequencyHz, got[0].Verdict)
	}
}

func TestApplyMaskThatCannotBeJudged(t *testing.T) {
	m := Mask{RelativeToHz: 1000, Points: []MaskPoint{{FrequencyHz: 20, Max: at(1)}, {FrequencyHz: 20000, Max: at(1)}}}
	hole, short, bare := lowPass("A", 1e5, 0.1), lowPass("A", 1e5, 0.1), lowPass("A", 1e5, 0.1)
	low := lowPass("A", 1e5, 0.1)
	low.FrequencyHz, low.Value, low.Uncertainty = low.FrequencyHz[:240], low.Value[:240], low.Uncertainty[:240]
	hole.Value[100] = math.NaN()
	short.FrequencyHz, short.Value, short.Uncertainty = short.FrequencyHz[30:], short.Value[30:], short.Uncertainty[30:]
	bare.Uncertainty = nil
	for name, c := range map[string]struct {
		got  analysis.Result
		want string
	}{
		"a hole":         {analysis.Result{Curves: []analysis.Curve{hole}}, "the response has no value at 179.6 Hz"},
		"too short":      {analysis.Result{Curves: []analysis.Curve{short}}, "known from 23.78 to"},
		"no treble":      {analysis.Result{Curves: []analysis.Curve{low}}, "known from 10 to 9948 Hz only"},
		"no uncertainty": {analysis.Result{Curves: []analysis.Curve{bare}}, "0 uncertainties"},
		"no points":      {analysis.Result{Curves: []analysis.Curve{{Quantity: "response", Output: "A"}}}, "0 frequencies"},
		"refused":        {analysis.Result{Refused: []analysis.Refusal{{Quantity: "response", Output: "A", Reason: "clipped"}}}, "clipped"},
	} {
		got := Apply(Step{Masks: []Mask{m}}, []string{"A"}, Guarded, c.got)
		if len(got) != 1 || got[0].Verdict != NotMeasured || !got[0].Absent || !strings.Contains(got[0].Note, c.want) {
			t.Errorf("%s: %+v, want not measured, %q", name, got, c.want)
		}
	}
}

func TestMaskAt(t *testing.T) {
	m := Mask{Points: []MaskPoint{{FrequencyHz: 100, Min: at(-3)}, {FrequencyHz: 10000, Min: at(-1)}}}
	for f, want := range map[float64]float64{100: -3, 1000: -2, 10000: -1} {
		l, ok := m.At(f)
		if !ok || math.Abs(*l.Min-want) > 1e-12 || l.Max != nil {
			t.Errorf("mask at %g Hz: %v %v, want min %g only", f, l, ok, want)
		}
	}
	for _, f := range []float64{99, 10001} {
		if _, ok := m.At(f); ok {
			t.Errorf("mask judges %g Hz, outside its points", f)
		}
	}
}

// A board without hum meets a limit on hum by the bound that its hiss leaves: white noise of
// -86 dBu from 20 Hz to 20 kHz against the plan's own limit.
func TestABoardWithoutHumMeetsItsLimit(t *testing.T) {
	plan, err := ParsePlan(DefaultPlanTOML)
	if err != nil {
		t.Fatal(err)
	}
	rng, x := rand.New(rand.NewPCG(3, 1)), make([]float64, 4*48000)
	for i := range x {
		x[i] = 0.7746 * math.Pow(10, -86.0/20) * math.Sqrt(24000.0/19980) * rng.NormFloat64()
	}
	for _, mainsHz := range []float64{0, 50, 60} {
		rec := &analysis.Recording{Outputs: []string{"A"}, Samples: [][]float64{x}, RateHz: 48000, NominalMainsHz: mainsHz, Bench: []analysis.BenchInput{{VoltsPerUnit: 1}}}
		got, err := analysis.SilenceOf(rec)
		if err != nil {
			t.Fatal(err)
		}
		held := 0
		for _, s := range plan.Steps {
			if s.Name != "silence" {
				continue
			}
			for _, j := range Apply(s, []string{"A"}, plan.Rule, got) {
				if j.Quantity != analysis.Hum {
					continue
				}
				held++
				if j.Verdict != Pass || !j.UpperBound || math.IsInf(j.Value, 0) {
					t.Errorf("mains of %g Hz: hum %+v", mainsHz, j)
				}
			}
		}
		if held != 1 {
			t.Errorf("mains of %g Hz: %d verdicts on hum", mainsHz, held)
		}
	}
}

// Under the noise a response is at most its figure: that meets an upper limit, fails a
// lower one that it is under, and else does not tell. The outcomes follow from what a
// bound says (ILAC-G8:09/2019 has nothing of bounds).
func TestMaskAgainstABound(t *testing.T) {
	c := analysis.Curve{Quantity: analysis.Response, Unit: "dB", FrequencyHz: []float64{1000, 2000, 4000, 8000, 16000},
		Value: []float64{0, 0, -20, -50, -60}, Uncertainty: []float64{0.1, 0.1, 0.1, 0, 0}, UpperBound: []bool{false, false, false, true, true}}
	for name, w := range map[string]struct {
		min, max     *float64
		relativeToHz float64
		want         Outcome
		bound        bool
	}{
		"under an upper limit":      {nil, at(1), 0, Pass, false},
		"above a lower limit":       {at(-70), nil, 0, NotMeasured, true},
		"under a lower limit":       {at(-40), nil, 0, Fail, true},
		"between":                   {at(-70), at(1), 0, NotMeasured, true},
		"relative, a lower limit":   {at(-70), nil, 1000, NotMeasured, true},
		"relative, an upper limit":  {nil, at(1), 1000, Pass, false},
		"relative to what is under": {nil, at(1), 16000, "", false},
	} {
		m := Mask{RelativeToHz: w.relativeToHz, Points: []MaskPoint{{FrequencyHz: 1000, Min: w.min, Max: w.max}, {FrequencyHz: 16000, Min: w.min, Max: w.max}}}
		j, err := m.worst(c, Guarded)
		if j.Verdict != w.want || j.UpperBound != w.bound || (err != nil) != (w.want == "") {
			t.Errorf("%s: %q, a bound %v, %v; want %q, %v", name, j.Verdict, j.UpperBound, err, w.want, w.bound)
		}
	}
}
