package capture

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// Each bound of a take from both sides: a third inside it is taken, a third
// outside refused, for its own reason. So no bound moves unseen.
func TestBoundsOfATakeFromBothSides(t *testing.T) {
	tone := shortSignal(t, testsignals.Tone, 48000)
	long, err := testsignals.Generate(testsignals.New(testsignals.Silence, 48000, -12, 5))
	if err != nil {
		t.Fatal(err)
	}
	quieter := func(db float64) func(x []float64, sig *testsignals.Signal) {
		return func(x []float64, sig *testsignals.Signal) {
			for i := range sig.RunIn.End {
				x[i] *= math.Pow(10, -db/20)
			}
		}
	}
	// Between the first and the last mark a clock that is off makes so many frames.
	apart := float64(tone.Marks[3].Start - tone.Marks[0].Start)
	for name, c := range map[string]struct {
		sig       *testsignals.Signal
		good, bad synth
		clocks    Clocks
		goodAfter func([]float64, *testsignals.Signal)
		badAfter  func([]float64, *testsignals.Signal)
		want      string
	}{
		"clock of a recorder, ppm": {sig: long, good: synth{noise: 1e-5, ppm: 200, after: 999}, bad: synth{noise: 1e-5, ppm: 400, after: 999}, clocks: TwoClocks, want: "unsteady timing: the recorder's clock is 400 ppm off"},
		"marks over noise":         {sig: tone, good: synth{noise: markSNR(tone, 1, 12)}, bad: synth{noise: markSNR(tone, 1, 4)}, want: "input 1: no signal: timing marks"},
		"run-in":                   {sig: tone, good: synth{noise: 1e-6}, bad: synth{noise: 1e-6}, goodAfter: quieter(15), badAfter: quieter(25), want: "input 1: no signal: run-in tone at"},
		"spacing in one clock":     {sig: tone, good: synth{noise: 1e-6, ppm: 0.03 / apart * 1e6, after: 99}, bad: synth{noise: 1e-6, ppm: 0.08 / apart * 1e6, after: 99}, want: "unsteady timing"},
	} {
		draw := rand.New(rand.NewPCG(31, 7))
		take := c.good.record(c.sig, draw)
		if c.goodAfter != nil {
			c.goodAfter(take.Samples[0], c.sig)
		}
		if _, err := Check(take, c.sig, Expect{Clocks: c.clocks}); err != nil {
			t.Errorf("%s, inside: %v", name, err)
		}
		take = c.bad.record(c.sig, draw)
		if c.badAfter != nil {
			c.badAfter(take.Samples[0], c.sig)
		}
		_, err := Check(take, c.sig, Expect{Clocks: c.clocks})
		var b *BadTake
		if !errors.As(err, &b) || !strings.HasPrefix(b.Error(), c.want) {
			t.Errorf("%s, outside: %v, want %q", name, err, c.want)
		}
	}
}
