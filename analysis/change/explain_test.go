package change

import (
	"math"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// grid is 24 points an octave from 10 Hz.
func grid() []float64 {
	var f []float64
	for x := 10.0; x < 22000; x *= math.Pow(2, 1.0/24) {
		f = append(f, x)
	}
	return f
}

func responseOf(output string, db func(hz float64) float64) analysis.Curve {
	c := analysis.Curve{Quantity: analysis.Response, Output: output, Unit: "dB", State: "bypassed"}
	for _, f := range grid() {
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Value = append(c.Value, db(f))
		c.Uncertainty = append(c.Uncertainty, 0.1)
		c.NoiseUncertainty = append(c.NoiseUncertainty, 0.004)
	}
	return c
}

func flat(float64) float64 { return 0 }

func lowPass(corner float64) func(float64) float64 {
	return func(f float64) float64 { return -10 * math.Log10(1+f*f/corner/corner) }
}

func highPass(corner float64) func(float64) float64 {
	return func(f float64) float64 { return -10 * math.Log10(1+corner*corner/f/f) }
}

func level(db float64) func(float64) float64 { return func(float64) float64 { return db } }

// One resistor and one capacitor are found again, in closed form.
func TestShapes(t *testing.T) {
	for name, c := range map[string]struct {
		db                func(float64) float64
		level, zero, pole float64
	}{
		"nothing but level": {level(-1.2), -1.2, math.Inf(1), math.Inf(1)},
		"low-pass":          {lowPass(5000), 0, math.Inf(1), 5000},
		"low-pass undone":   {func(f float64) float64 { return -lowPass(5000)(f) }, 0, 5000, math.Inf(1)},
		// A high-pass is a zero at its corner and a pole too low to be seen.
		"high shelf": {func(f float64) float64 { return lowPass(800)(f) - lowPass(1600)(f) }, 0, 1600, 800},
	} {
		var d []float64
		for _, f := range grid() {
			d = append(d, c.db(f))
		}
		s := shapeOf(grid(), d)
		off := func(got, want float64) bool {
			// A corner is found to the grid it is looked for on.
			return math.IsInf(want, 1) != math.IsInf(got, 1) && got < 100e3 || !math.IsInf(want, 1) && math.Abs(math.Log(got/want)) > 0.1
		}
		if !s.fits || math.Abs(s.LevelDB-c.level) > 0.1 || off(s.ZeroHz, c.zero) || off(s.PoleHz, c.pole) {
			t.Errorf("%s: %+v", name, s)
		}
	}
	var comb []float64
	for _, f := range grid() {
		comb = append(comb, 2*math.Sin(f/300))
	}
	if s := shapeOf(grid(), comb); s.fits {
		t.Errorf("a comb is no first-order shape: %+v", s)
	}
}

func TestResponseInWords(t *testing.T) {
	for name, c := range map[string]struct {
		a, b func(float64) float64
		want []string
		not  []string
	}{
		"unchanged":           {flat, flat, nil, []string{"output"}},
		"capacitance ahead":   {lowPass(6000), lowPass(6000), []string{"outputs A and B", "lost", "at 10 kHz", "first-order from about", "like added capacitance", "ahead of the buffer", "ahead of the split"}, []string{"behind"}},
		"capacitance at B":    {flat, lowPass(8000), []string{"output B lost", "in its own lead", "behind the split, at output B"}, []string{"ahead of", "outputs"}},
		"series resistance":   {level(-1.5), flat, []string{"output A is 1.50 dB quieter at all frequencies alike", "series resistance"}, []string{"10 kHz", "50 Hz"}},
		"dried-out capacitor": {highPass(40), highPass(40), []string{"lost", "at 50 Hz", "coupling capacitor"}, []string{"at 10 kHz"}},
		"brighter":            {func(f float64) float64 { return -lowPass(9000)(f) }, flat, []string{"output A gained", "capacitance that is gone"}, nil},
		"a comb":              {func(f float64) float64 { return 2 * math.Sin(f/300) }, flat, []string{"like no single part"}, nil},
	} {
		before := Side{Curves: []analysis.Curve{responseOf("A", flat), responseOf("B", flat)}}
		after := Side{Curves: []analysis.Curve{responseOf("A", c.a), responseOf("B", c.b)}}
		var all []string
		for _, f := range Compare(before, after, sameProfile).Findings {
			all = append(all, f.What+" | "+f.Like+" | "+f.Look)
		}
		text := strings.Join(all, "\n")
		for _, w := range c.want {
			if !strings.Contains(text, w) {
				t.Errorf("%s: %q is not in %q", name, w, text)
			}
		}
		for _, w := range c.not {
			if strings.Contains(text, w) {
				t.Errorf("%s: %q is in %q", name, w, text)
			}
		}
	}
}

// Under another profile the whole uncertainty counts: 0.1 dB each hides what
// 0.004 dB of noise each show.
func TestCurvesUnderAnotherProfile(t *testing.T) {
	before, after := Side{Curves: []analysis.Curve{responseOf("A", flat)}}, Side{Curves: []analysis.Curve{responseOf("A", level(0.1))}}
	if k := Compare(before, after, sameProfile).Curves[0]; k.Outcome != Real || math.Abs(k.Uncertainty[3]-0.004*math.Sqrt2) > 1e-9 {
		t.Errorf("one profile: %s ± %g", k.Outcome, k.Uncertainty[3])
	}
	if k := Compare(before, after, Ties{Method: true}).Curves[0]; k.Outcome != Unchanged || math.Abs(k.Uncertainty[3]-0.1*math.Sqrt2) > 1e-9 {
		t.Errorf("two profiles: %s ± %g", k.Outcome, k.Uncertainty[3])
	}
}

func TestSilenceInWords(t *testing.T) {
	hum := func(quantity string, harmonic int, dbu float64) verdict.Judged {
		return verdict.Judged{Step: "hush", Reading: analysis.Reading{Quantity: quantity, Output: "B", Harmonic: harmonic,
			FrequencyHz: 50 * float64(harmonic), Value: dbu, Unit: "dBu", Uncertainty: 0.4, K: 2}}
	}
	tone := func(hz, dbu float64) verdict.Judged {
		return verdict.Judged{Step: "hush", Reading: analysis.Reading{Quantity: analysis.OtherTone, Output: "B", FrequencyHz: hz, Value: dbu, Unit: "dBu", Uncertainty: 0.4, K: 2}}
	}
	drops := func(n float64) verdict.Judged {
		return verdict.Judged{Step: "flex", Reading: analysis.Reading{Quantity: analysis.DropOuts, Output: "A", Value: n, K: 2}}
	}
	before := Side{Readings: []verdict.Judged{hum(analysis.Hum, 0, -90), hum(analysis.HumHarmonic, 1, -92), hum(analysis.HumHarmonic, 2, -95), drops(0)}}
	after := Side{Readings: []verdict.Judged{hum(analysis.Hum, 0, -70), hum(analysis.HumHarmonic, 1, -70.2), hum(analysis.HumHarmonic, 2, -94.9), drops(3), tone(9800, -88)}}
	f := Compare(before, after, sameProfile).Findings
	if len(f) != 3 {
		t.Fatalf("%+v", f)
	}
	if !strings.Contains(f[0].What, "3 drop-outs") || f[0].Outcome == Real || !strings.Contains(f[0].Like, "a sound joint has none") {
		t.Errorf("drop-outs: %+v", f[0])
	}
	if !strings.Contains(f[1].What, "output B hums more, by 20.0 dB, most at 50 Hz (21.8 dB)") || !strings.Contains(f[1].Like, "ground loop") {
		t.Errorf("hum: %+v", f[1])
	}
	if !strings.Contains(f[2].What, "a tone at 9.8 kHz of −88.0 dBu that was not found then") {
		t.Errorf("tone: %+v", f[2])
	}
	after.Readings[2].Value, after.Readings[1].Value, after.Readings[0].Value = -70, -91.9, -69.9
	if f := Compare(before, after, sameProfile).Findings[1]; !strings.Contains(f.Like, "supply ripple") {
		t.Errorf("even harmonics: %+v", f)
	}
}
