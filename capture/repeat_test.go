package capture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"boardproof/testsignals"
)

// pathOf is a recording of sig with noise of an RMS, rounded to codes of
// 2^-bits; bits of 0 leave it as it is.
func pathOf(sig *testsignals.Signal, offset int, noise float64, bits int, draw *rand.Rand) []float64 {
	x := make([]float64, offset+sig.Frames+3000)
	copy(x[offset:], sig.Samples)
	for i := range x {
		x[i] = float64(float32(x[i] + noise*draw.NormFloat64()))
		if bits > 0 {
			x[i] = math.Round(math.Ldexp(x[i], bits)) / math.Ldexp(1, bits)
		}
	}
	return x
}

func allKinds(t *testing.T) (sigs []*testsignals.Signal) {
	t.Helper()
	for _, kind := range []testsignals.Kind{testsignals.Tone, testsignals.Silence, testsignals.Sweep, testsignals.Impulses} {
		sig, err := testsignals.Generate(testsignals.New(kind, 48000, -12, 2))
		if err != nil {
			t.Fatal(err)
		}
		sigs = append(sigs, sig)
	}
	return sigs
}

func TestRepeatedBlocksAreFoundInEveryKind(t *testing.T) {
	draw := rand.New(rand.NewPCG(1, 1))
	missed := 0
	for _, sig := range allKinds(t) {
		for _, block := range []int{64, 441, 480, 1024} {
			for _, times := range []int{1, 5} {
				for _, bits := range []int{0, 15, 23} {
					for _, noise := range []float64{0, 1e-5} {
						x := pathOf(sig, 1024, noise, bits, draw)
						for i := range times {
							at := sig.Body.Start + 1024 + block + (i*3+1)*sig.Body.Len()/20 + draw.IntN(100)
							copy(x[at:at+block], x[at-block:at])
						}
						got := FindRepeated(x, sig.Samples, 1024)
						if len(got) < times {
							missed++
							fmt.Println(sig.Kind, block, times, bits, noise, len(got))
						}
					}
				}
			}
		}
	}
	fmt.Println(missed)
}

func TestNoGoodRecordingRepeatsItself(t *testing.T) {
	draw := rand.New(rand.NewPCG(1, 1))
	for _, sig := range allKinds(t) {
		for _, bits := range []int{0, 7, 15, 23} {
			for _, noise := range []float64{0, 1e-6, 3e-6, 1e-5, 3e-5, 1e-4} {
				for _, off := range []int{0, 11, 1024} {
					x := pathOf(sig, 1024, noise, bits, draw)
					if got := FindRepeated(x, sig.Samples, 1024+off); got != nil {
						fmt.Println(sig.Kind, bits, noise, off, got)
					}
				}
			}
		}
	}
}

func BenchmarkRepeated(b *testing.B) {
	sig, _ := testsignals.Generate(testsignals.New(testsignals.Tone, 48000, -12, 5))
	for _, noise := range []float64{0, 1e-5} {
		x := pathOf(sig, 1024, noise, 23, rand.New(rand.NewPCG(1, 1)))
		b.Run(fmt.Sprint(noise), func(b *testing.B) {
			for b.Loop() {
				FindRepeated(x, sig.Samples, 1024)
			}
		})
	}
}
