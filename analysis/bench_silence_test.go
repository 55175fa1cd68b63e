package analysis

import (
	"fmt"
	"testing"
)

// BenchmarkSilence is one output of one acceptance: 10 s of silence with
// drifting mains to the 40th harmonic and two tones.
func BenchmarkSilence(b *testing.B) {
	for _, rate := range []float64{48000, 96000, 192000} {
		b.Run(fmt.Sprintf("%gkHz", rate/1000), func(b *testing.B) {
			x := quietRecord{
				rateHz: rate, lengthS: 10, noiseStd: 1e-5, mainsHz: 49.97, driftHzPerS: 0.002,
				harmonicsRMS: rectifierHum(1e-4, 40), tones: []line{{1000, 1e-5, 0}, {12345.6, 3e-6, 0}}, seed: 1,
			}.make()
			b.ReportAllocs()
			for b.Loop() {
				if _, err := AnalyseSilence(x, rate, SilenceOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
