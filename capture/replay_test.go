package capture

import (
	"errors"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// A block that is played twice, in place of the next one, comes back with new
// noise and through the board. Where the host says that it missed a cycle, it is
// found in a tone and in a sweep; a silence is not harmed by it.
func TestBlocksPlayedTwiceAreFound(t *testing.T) {
	if testing.Short() {
		t.Skip("many takes")
	}
	draw := rand.New(rand.NewPCG(51, 1))
	for _, sig := range eachKind(t)[:3] {
		for _, block := range []int{64, 441, 1024} {
			s := synth{offset: 1024, noise: 1e-5, poleHz: 6000, channels: 2, after: 3000}
			glitched := *sig
			glitched.Samples = append([]float64{}, sig.Samples...)
			at := sig.Body.Start + 20000
			if sig.Kind == testsignals.Sweep {
				at += 100000
			}
			copy(glitched.Samples[at:at+block], glitched.Samples[at-block:])
			take := s.record(&glitched, draw)
			if _, err := Check(take, sig, Expect{}); err != nil {
				t.Errorf("%s: looked at though the host said nothing: %v", sig.Kind, err)
			}
			take.HostMissed = true
			_, err := Check(take, sig, Expect{})
			if sig.Kind == testsignals.Silence {
				if err != nil {
					t.Errorf("silence: %v", err)
				}
				continue
			}
			var b *BadTake
			if !errors.As(err, &b) || b.Fault != Repeats {
				t.Errorf("%s, a block of %d: %v", sig.Kind, block, err)
			}
		}
	}
}

// A joint that opens, and a lead as it is, are not taken for one.
func TestNoDropOutIsTakenForABlockPlayedTwice(t *testing.T) {
	draw := rand.New(rand.NewPCG(51, 2))
	for _, sig := range eachKind(t) {
		for _, frames := range []int{0, 64, 1024, 2400} {
			x := through(sig, 1024, 1e-5, 24, draw)
			for i := 53000; i < 53000+frames; i++ {
				x[i] = 1e-5 * draw.NormFloat64()
			}
			if got := findReplayed(x, sig.Samples, 1024); got != nil {
				t.Errorf("%s, %d frames without signal: %v", sig.Kind, frames, got)
			}
		}
	}
}
