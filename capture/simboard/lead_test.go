package simboard

import (
	"context"
	"math"
	"math/cmplx"
	"testing"

	"boardproof/capture"
)

// leadTake is the level of a 1 kHz tone at each of inputs in dBFS.
func leadTake(t *testing.T, s *Simboard, patch capture.Patch, seriesOhms float64, inputs ...int) []float64 {
	t.Helper()
	sig := toneSignal(t, 48000, -12, 1000)
	got, err := s.Record(context.Background(), capture.Request{
		Signal: sig, Outputs: []int{1}, Inputs: inputs, Patch: patch, SeriesOhms: seriesOhms,
	})
	if err != nil {
		t.Fatal(err)
	}
	levels := make([]float64, len(inputs))
	for i := range inputs {
		x, first := inBody(sig, got.Samples[i])
		levels[i] = 20 * math.Log10(cmplx.Abs(lockIn(x, 1000, 48000, first)))
	}
	return levels
}

// The complex divider (circuit theory): 9 kΩ nominal, 10 kΩ in truth, into
// 10 kΩ beside 15.9155 nF, whose reactance at 1 kHz is 10 kΩ: 1/(2+j).
func TestSeriesResistorInTheLead(t *testing.T) {
	c := bare()
	c.Interface.SeriesOff = 1.0 / 9
	c.Interface.Inputs[1].Ohms, c.Interface.Inputs[1].Farads = 10e3, 15.91549431e-9
	levels := leadTake(t, bench(t, c), capture.LoopbackSeries, 9e3, 2, 1)
	near(t, "level behind the divider", levels[0], -12-10*math.Log10(5), 1e-4)
	if levels[1] > -120 {
		t.Errorf("the terminated input is at %.1f dBFS", levels[1])
	}
	if levels = leadTake(t, bench(t, c), capture.LoopbackOne, 0, 1, 2); levels[1] > -120 {
		t.Errorf("with the lead at input 1 alone, input 2 is at %.1f dBFS", levels[1])
	}
	near(t, "level at the input that has the lead", levels[0], -12, 1e-4)
}

// 159.155 pF into 1 kΩ has its corner at 1 MHz: 1 kHz comes across at -60 dB
// (first-order high-pass, circuit theory), in quadrature.
func TestCrosstalkBetweenInputs(t *testing.T) {
	c := bare()
	c.Interface.CrosstalkFarads, c.Interface.CrosstalkOhms = 159.154943e-12, 1e3
	levels := leadTake(t, bench(t, c), capture.LoopbackOne, 0, 1, 2)
	near(t, "crosstalk", levels[1]-levels[0], -60, 0.01)
	h := bench(t, c).Truth().SampleResponse(capture.ToBoard, 2, 1000)
	near(t, "what it does to the same signal beside it", cmplx.Abs(h), math.Hypot(1, 1e-3), 1e-6)
}

// 600 Ω in the lead, into 600 Ω, is 6.02 dB down at whichever input the lead
// is in.
func TestSwappedLeads(t *testing.T) {
	c := bare()
	c.Interface.LeadOhms = []float64{600, 0}
	c.Interface.Inputs[0].Ohms, c.Interface.Inputs[1].Ohms = 600, 600
	s := bench(t, c)
	for patch, want := range map[capture.Patch][2]float64{
		capture.Loopback:        {-18.0206, -12},
		capture.LoopbackSwapped: {-12, -18.0206},
	} {
		levels := leadTake(t, s, patch, 0, 1, 2)
		near(t, string(patch)+", input 1", levels[0], want[0], 1e-4)
		near(t, string(patch)+", input 2", levels[1], want[1], 1e-4)
	}
}

// 0 dBu is 0.7746 V RMS; nothing of what is played arrives beside it. The
// output's control moves what is played and not the source.
func TestKnownSource(t *testing.T) {
	c := bare()
	s := bench(t, c)
	if _, err := s.Record(context.Background(), capture.Request{
		Signal: toneSignal(t, 48000, -12, 1000), Outputs: []int{1}, Inputs: []int{1}, Patch: capture.KnownSource,
	}); err == nil {
		t.Error("a source that is not there was recorded")
	}
	c.Interface.Source = Tone{FrequencyHz: 1000, VoltsRMS: math.Sqrt(0.6)}
	s = bench(t, c)
	if err := s.SetOutputGainDB(2); err != nil {
		t.Fatal(err)
	}
	for _, dBFS := range leadTake(t, s, capture.KnownSource, 0, 1, 2) {
		near(t, "source of 0 dBu at an input of 12 dBu", dBFS, -12, 1e-4)
	}
	near(t, "loopback with the output 2 dB up", leadTake(t, s, capture.Loopback, 0, 1)[0], -10, 1e-4)
}
