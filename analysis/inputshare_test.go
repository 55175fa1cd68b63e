package analysis

import (
	"math"
	"math/cmplx"
	"testing"
)

// A bench whose loopback has a first-order corner at 10 Hz takes
// 10·log10(1+(10/50)²) = 0.17 dB off a line at 50 Hz (circuit theory): of
// that the input's share is between none and all, and the interval must hold
// both ends.
func TestInputShareHoldsBothEnds(t *testing.T) {
	h := highPass(10)
	loop := Transfer{FrequencyHz: Grid(48000)}
	for _, f := range loop.FrequencyHz {
		loop.Re, loop.Im = append(loop.Re, real(h(f))), append(loop.Im, imag(h(f)))
		loop.RelStd = append(loop.RelStd, 0)
	}
	bench := BenchInput{Loopback: &loop}
	fallen := 10 * math.Log10((1+sq(10./50))/(1+sq(10./1000)))
	got := bench.inputShare(50)
	if math.Abs(got.db-fallen/2) > 1e-4 {
		t.Errorf("put right by %.5f dB, want half of %.5f", got.db, fallen)
	}
	for _, truth := range []float64{0, fallen} {
		if math.Abs(got.db-truth) > CoverageK*got.std {
			t.Errorf("%.4f ± %.4f dB does not hold %.4f", got.db, CoverageK*got.std, truth)
		}
	}
	if s := (BenchInput{}).inputShare(50); s != (share{}) {
		t.Errorf("without a profile nothing is put right, got %+v", s)
	}
	// Two lines of one power, of which only the lower has fallen.
	both := bench.inputShareOf([]float64{50, 5000}, []float64{1, 1})
	up := DB(cmplx.Abs(h(1000)) / cmplx.Abs(h(5000)))
	want := 10 * math.Log10((math.Pow(10, fallen/20)+math.Pow(10, up/20))/2)
	if math.Abs(both.db-want) > 1e-4 {
		t.Errorf("two lines are put right by %.5f dB, want %.5f", both.db, want)
	}
}
