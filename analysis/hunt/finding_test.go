package hunt

import (
	"math"
	"strings"
	"testing"

	"boardproof/analysis"
)

// levels makes a reading of output B with an RMS in volts for each group.
func levels(c Condition, volts map[string]float64) Reading {
	r := Reading{Output: "B", Condition: c, InVolts: true, LengthS: 8, MainsHz: analysis.Estimate{Value: 49.98, Std: 1e-4}, Levels: map[string]Level{}}
	for _, g := range Groups() {
		v := volts[g]
		r.Levels[g] = Level{RMS: analysis.Estimate{Value: v, Std: 0.001 * v}, RawRMS: v}
		if v == 0 {
			r.Levels[g] = Level{RMS: analysis.Estimate{Value: 1e-7}, UpperBound: true}
		}
	}
	return r
}

func TestHelpedPutsCuresFirst(t *testing.T) {
	loud := map[string]float64{Fundamental: 1e-3, Odd: 5e-4, Hiss: 2e-2}
	with := func(c Condition, fundamental float64) Reading {
		return levels(c, map[string]float64{Fundamental: fundamental, Odd: 5e-4, Hiss: 2e-2})
	}
	unplugged, isolated, lights := Condition{OutputUnplugged, "B"}, Condition{OutputIsolated, "B"}, Condition{LightsOff, ""}
	w := Weighing{Output: "B", Decided: true, Causes: []Weighed{{Cause: GroundLoop, Score: 0.97, Present: 0.97, Output: "B"}}}
	readings := []Reading{levels(AsFound, loud), with(unplugged, 1e-5), with(isolated, 2.75e-5), with(lights, 1.001e-3)}
	got := helped(w, readings)
	if got == nil || got.Condition != isolated || math.Abs(got.DB.Value+31.2) > 0.05 {
		t.Fatalf("helped most: %+v, want the isolated output by 31.2 dB: one wants to play through the amplifier", got)
	}
	if words := helpWords(got, readings); !strings.HasPrefix(words, "the isolated output cures it, 31.2 ± ") || !strings.HasSuffix(words, " dB less at 50 Hz") {
		t.Errorf("in words: %s", words)
	}
	// A cure that does not do much gives way to what does.
	readings[2] = with(isolated, 6e-4)
	if got = helped(w, readings); got == nil || got.Condition != unplugged {
		t.Errorf("helped most: %+v, want unplugging", got)
	}
	if words := helpWords(got, readings); !strings.HasPrefix(words, "unplugging output B takes it away, 40.0 ± ") {
		t.Errorf("what one cannot play with, in words: %s", words)
	}
	// Nothing helped: no change, and a change too small to be of use.
	if got = helped(w, []Reading{readings[0], with(unplugged, 8e-4), readings[3]}); got != nil {
		t.Errorf("helped: %s by %s", got.Condition, got)
	}
	readings = []Reading{readings[0], with(unplugged, 5e-4)}
	if words := helpWords(helped(w, readings), readings); !strings.HasPrefix(words, "unplugging output B lowers it, 6.0 ± ") {
		t.Errorf("6 dB in words: %s", words)
	}
	// Of a whine it is the tones that count, however loud the hum.
	w.Causes[0].Cause = Converter
	if g := loudest(w, []Reading{readings[0]}); g != OtherTones {
		t.Errorf("of a converter, %s counts", g)
	}
}

func TestCuresArePossible(t *testing.T) {
	all := Board{Battery: true, LaptopBattery: true, Isolator: true}
	for cause, want := range map[string]Condition{
		GroundLoop: {OutputIsolated, "B"}, Magnetic: {BoardTurned, ""}, Ripple: {OnBattery, "delay"}, Dimmer: {LightsOff, ""},
		Converter: {SupplyOff, "delay"}, Beat: {SupplyOff, "delay"}, USB: {LaptopOnBattery, ""},
	} {
		w := Weighing{Output: "B", Causes: []Weighed{{Cause: cause, Device: "delay"}}}
		if got := Cures(all, w); len(got) == 0 || got[0] != want {
			t.Errorf("%s: %v, want %s first", cause, got, want)
		}
		for _, c := range Cures(Board{NoLights: true}, w) {
			if c.Change == OutputIsolated || c.Change == OnBattery || c.Change == LaptopOnBattery || c.Change == LightsOff {
				t.Errorf("%s: %s is not possible", cause, c)
			}
		}
	}
	if Cures(all, Weighing{}) != nil {
		t.Error("a cure of nothing")
	}
}

func TestFindSaysWhatItKnows(t *testing.T) {
	f := Find(Board{Outputs: []string{"B"}}, nil)
	if f.Decided || f.Text == "" || f.Cure != nil {
		t.Errorf("of no reading: %+v", f)
	}
	for cause, want := range map[string]string{
		GroundLoop: "the loop runs through output B's amplifier and its mains outlet", Ripple: "ripple of the supply of delay gets through at output B",
		Bench: "what is read is the bench's own, not the board's", Converter: "a converter whines in the supply of delay",
	} {
		if got := where(Weighed{Cause: cause, Output: "B", Device: "delay"}); got != want {
			t.Errorf("%s is put as %q, want %q", cause, got, want)
		}
	}
}

func TestSearchTakeOf(t *testing.T) {
	r := levels(AsFound, map[string]float64{Fundamental: 3e-4, Odd: 4e-4, Hiss: 1})
	got := SearchTakeOf([]string{"delay"}, r)
	// √(3² + 4²) = 5; each is known to 0.1 %.
	if got.UpperBound || math.Abs(got.RMS.Value-5e-4) > 1e-12 || math.Abs(got.RMS.Std-math.Sqrt(9*9+16*16)/5*1e-7) > 1e-12 {
		t.Errorf("together %+v", got)
	}
	quiet := SearchTakeOf(nil, levels(AsFound, map[string]float64{Hiss: 1}))
	if !quiet.UpperBound || math.Abs(quiet.RMS.Value-math.Sqrt(5)*1e-7) > 1e-12 {
		t.Errorf("nothing above the noise: %+v", quiet)
	}
	if got := MostHum([]Reading{{Output: "C", Reason: "clips"}}); got != "" {
		t.Errorf("most hum at %q, which could not be read", got)
	}
	loud := r
	loud.Output = "A"
	if got := MostHum([]Reading{{Output: "C", Reason: "clips"}, levels(AsFound, map[string]float64{Fundamental: 1e-5}), loud}); got != "A" {
		t.Errorf("most hum at %q", got)
	}
}
