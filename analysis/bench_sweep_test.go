package analysis

import (
	"fmt"
	"testing"

	"boardproof/testsignals"
)

func BenchmarkSweep(b *testing.B) {
	for _, rate := range []int{48000, 192000} {
		b.Run(fmt.Sprintf("%d Hz", rate), func(b *testing.B) {
			h := chain(lowPass(20000), highPass(5))
			rec := recorded(b, testsignals.New(testsignals.Sweep, rate, -12, 0), 1e-5, 1, h, h)
			b.ReportAllocs()
			b.ResetTimer()
			for range b.N {
				if _, err := SweepResult(rec, nil, DefaultBand); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkTone(b *testing.B) {
	for _, rate := range []int{48000, 192000} {
		b.Run(fmt.Sprintf("%d Hz", rate), func(b *testing.B) {
			rec := recorded(b, testsignals.New(testsignals.Tone, rate, -12, 0), 1e-5, 1, gainOf(1), gainOf(0.9))
			b.ReportAllocs()
			b.ResetTimer()
			for range b.N {
				if _, err := ToneResult(rec); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
