package report

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// huntReading has a level for each group in dBu, upper bounds below the noise.
func huntReading(output string, c hunt.Condition, dBu ...float64) hunt.Reading {
	r := hunt.Reading{Output: output, Condition: c, InVolts: true, LengthS: 8, Levels: map[string]hunt.Level{},
		MainsHz: analysis.Estimate{Value: 50.0123, Std: 0.0004}}
	for i, g := range hunt.Groups() {
		v := math.Sqrt(0.6) * math.Pow(10, dBu[i]/20)
		l := hunt.Level{RMS: analysis.Estimate{Value: v, Std: 0.02 * v}, RawRMS: v, BenchRMS: math.Sqrt(0.6) * math.Pow(10, -115.0/20)}
		if dBu[i] < -108 && g != hunt.Hiss {
			l.UpperBound, l.RMS.Std = true, 0
		}
		l.FloorLimited = dBu[i] < -112
		r.Levels[g] = l
	}
	return r
}

var huntConditions = []hunt.Condition{
	hunt.AsFound, {Change: hunt.OutputUnplugged, Subject: "B"}, {Change: hunt.LaptopOnBattery}, {Change: hunt.BoardTurned},
	{Change: hunt.SupplyOff, Subject: "gull chorus"}, {Change: hunt.OtherOutlet}, {Change: hunt.InputShorted}, {Change: hunt.OutputIsolated, Subject: "B"},
	{Change: "telephone moved to the other room"},
}

func huntReadings() []hunt.Reading {
	loud := []float64{-62.3, -95, -70.1, -84, -105, -92}
	quiet := []float64{-93.5, -111, -101, -110, -105.2, -92}
	var all []hunt.Reading
	for i, c := range huntConditions {
		levels := loud
		if i == 1 || i == 7 {
			levels = quiet
		}
		all = append(all, huntReading("B", c, levels...))
	}
	return all
}

func TestHuntTable(t *testing.T) {
	unplugged := huntConditions[1]
	b := huntReading("B", unplugged, -93.54, -111, -101, -110, -105.2, -113)
	a := huntReading("A", unplugged, -99.5, -100, -101, -102, -103, -92)
	a.Moving = "the mains drifted by 21 mHz/s"
	c := hunt.Reading{Output: "C", Reason: "the input clips"}
	change := func(output, group string, dB float64) hunt.Change {
		return hunt.Change{Output: output, Group: group, Condition: unplugged, DB: analysis.Estimate{Value: dB, Std: 0.12}, ExpandedDB: 0.24}
	}
	fell := change("B", hunt.Even, -16)
	fell.AtMost = true
	same := change("B", hunt.Odd, 0.11)
	same.NoChange = true
	rose := change("B", hunt.OtherTones, 4)
	rose.AtLeast = true
	never := change("B", hunt.Buzz, 0)
	never.AtMost, never.AtLeast = true, true
	var b1 strings.Builder
	err := HuntTable(&b1, []hunt.Reading{a, b, c}, []hunt.Change{change("B", hunt.Fundamental, -31.24), fell, same, rose, never, change("A", hunt.Hiss, 2)})
	if err != nil {
		t.Fatal(err)
	}
	got := b1.String()
	for _, want := range []string{
		"A, dBu", "B, dBu", "change, dB", "bench",
		"−93.5 ± 0.4", "−31.2 ± 0.3", "−115.0", "< −111.0", "≤ −16.0", "no change ± 0.3", "≥ +4.0", "* −113.0 ± 0.4", "+2.0 ± 0.3",
		"output C: not read: the input clips", "output A: the mains drifted by 21 mHz/s: not a sure reading, repeat it",
		"< no more than this, below the noise; * within 3 dB of the bench's own",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	for _, line := range strings.Split(got, "\n") {
		if len([]rune(line)) > tableWidth {
			t.Errorf("%d columns: %s", len([]rune(line)), line)
		}
		if strings.HasPrefix(line, hunt.Buzz) && strings.ContainsAny(line, "≤≥") {
			t.Errorf("a change between two bounds is shown: %s", line)
		}
	}
	found := huntReading("B", hunt.AsFound, -60, -60, -60, -60, -60, -60)
	found.InVolts = false
	b1.Reset()
	if err := HuntTable(&b1, []hunt.Reading{found}, nil); err != nil || strings.Contains(b1.String(), "change") || !strings.Contains(b1.String(), "B, dBFS") {
		t.Errorf("as found, in full scales: %v\n%s", err, b1.String())
	}
	if got := HuntMains([]hunt.Reading{c, a}); got != "mains 50.012 ± 0.001 Hz" {
		t.Errorf("mains %q", got)
	}
}

func TestHuntPlot(t *testing.T) {
	dir := plotDir(t)
	head := named("hunt-B")
	paths, err := SaveHunt(dir, HuntPlot{Heading: head, Output: "B", Readings: append(huntReadings(), hunt.Reading{Output: "B", Reason: "clips"})})
	if err != nil || len(paths) != 2 {
		t.Fatalf("%v, %v", paths, err)
	}
	svg := read(t, filepath.Join(dir, "hunt-B.svg"))
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
		t.Error("a coordinate is not a number")
	}
	said := strings.Join(texts(svg), "|")
	for _, want := range []string{"SIMULATED", "level, dBu", "fundamental", "buzz above 1 kHz", "no more than this", "the bench's own",
		"as found", "± uncertainty (k = 2)", "unplugged"} {
		if !strings.Contains(said, want) {
			t.Errorf("the plot does not say %q: %s", want, said)
		}
	}
	few := HuntPlot{Heading: named("hunt-few"), Output: "B", Readings: huntReadings()[:2]}
	few.Simulated = false
	if _, err := SaveHunt(dir, few); err != nil {
		t.Error(err)
	}
	if _, err := SaveHunt(dir, HuntPlot{Heading: head, Readings: []hunt.Reading{{Reason: "clips"}}}); err == nil {
		t.Error("a hunt of nothing was drawn")
	}
}
