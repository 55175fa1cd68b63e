package simboard

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"boardproof/capture"
)

// Full-wave rectified sine without a reservoir: lines at 2n times the mains
// of 4·Vp/π/(4n²-1), the second ripple line 14.0 dB under the first (Fourier
// series; figures from shared/reference/README.md), and nothing between.
func TestRectifiedSine(t *testing.T) {
	c := (&Hum{Ripple: &Ripple{PeakVolts: 10, LoadAmps: 0.1}}).comb(50)
	for n := 1; n <= 20; n++ {
		want := 40 / math.Pi / float64(4*n*n-1) / math.Sqrt2
		near(t, "ripple line over its series", cmplx.Abs(c[2*n])/want, 1, 1e-4)
		near(t, "odd line", cmplx.Abs(c[2*n-1]), 0, 1e-9)
	}
	near(t, "second under first in dB", 20*math.Log10(cmplx.Abs(c[2])/cmplx.Abs(c[4])), 14.0, 0.05)
}

// With a large reservoir the ripple is a sawtooth of I/(2fC) at 2f, whose
// first line is its height over π·√2 RMS (textbook approximation, from
// memory: it ignores the time in which the diodes conduct).
func TestReservoirRipple(t *testing.T) {
	r := &Ripple{PeakVolts: 15, ReservoirFarads: 0.1, LoadAmps: 0.2, RejectionDB: 20}
	c := (&Hum{Ripple: r}).comb(50)
	height := 0.2 / (2 * 50 * 0.1)
	near(t, "first ripple line over a sawtooth's", cmplx.Abs(c[2])*10/(height/math.Pi/math.Sqrt2), 1, 0.05)
	near(t, "second over first", cmplx.Abs(c[4])/cmplx.Abs(c[2]), 0.5, 0.02)
}

// RMS of a phase-cut sine over the whole one's: √((π-α+½·sin 2α)/π)
// (textbook of power electronics, from memory). The lines beyond the 200th of
// a step of sin α hold less than 2·sin²α/π²/200 of the power.
func TestPhaseCutSine(t *testing.T) {
	for _, deg := range []float64{0, 45, 90, 135} {
		a := deg * math.Pi / 180
		power := 0.0
		for n := 1; n < 200; n += 2 {
			power += square(phaseCut(a, n))
		}
		want := (math.Pi - a + math.Sin(2*a)/2) / math.Pi
		near(t, "power of the cut sine", power, want, 1e-12+2*math.Pow(math.Sin(a), 2)/math.Pi/math.Pi/200*2)
	}
	near(t, "phase of the whole sine", cmplx.Phase(phaseCut(0, 1)), -math.Pi/2, 1e-12)
	near(t, "third of the whole sine", cmplx.Abs(phaseCut(0, 3)), 0, 1e-15)
}

// Each coupling against its formula by hand, at the fundamental and fifth.
func TestCouplings(t *testing.T) {
	loop := (&Hum{GroundLoop: &GroundLoop{AmpsRMS: 0.01, ShieldOhms: 0.05}}).comb(50)
	near(t, "ground loop, V", cmplx.Abs(loop[1]), 0.5e-3, 1e-12)
	field := (&Hum{Magnetic: &Magnetic{AmpsRMS: 1, MutualHenrys: 1e-6}}).comb(50)
	near(t, "magnetic, V", cmplx.Abs(field[1]), 2*math.Pi*50*1e-6, 1e-12)
	near(t, "fifth comes up by 5", cmplx.Abs(field[5])/cmplx.Abs(field[1])/(cmplx.Abs(loop[5])/cmplx.Abs(loop[1])), 5, 1e-9)
	electric := (&Hum{Electric: &Electric{MainsVoltsRMS: 230, StrayFarads: 1e-12, NodeOhms: 1e6}}).comb(50)
	near(t, "electric, V", cmplx.Abs(electric[1]), 230*2*math.Pi*50*1e-6, 1e-5)
	// Where the capacitor's reactance is the resistance: 1/√2 and 45° ahead.
	corner := stray(1/(2*math.Pi*1e-9*1e6), 1e-9, 1e6)
	near(t, "stray coupling at its corner", cmplx.Abs(corner-complex(0.5, 0.5)), 0, 1e-12)
	both := (&Hum{GroundLoop: &GroundLoop{AmpsRMS: 0.01, ShieldOhms: 0.05},
		Magnetic: &Magnetic{AmpsRMS: 1, MutualHenrys: 1e-6}}).comb(50)
	near(t, "kinds add as phasors", cmplx.Abs(both[3]-loop[3]-field[3]), 0, 1e-15)
}

// Every harmonic in the samples against Truth, mains at 50 Hz exactly.
func TestRecordedHum(t *testing.T) {
	if testing.Short() {
		t.Skip("several takes")
	}
	c := silenced(mustReady(t, "good"))
	c.Mains = Mains{StartHz: 50}
	c.Interface.Inputs[1].Hum = []Harmonic{{1, 2e-3, 1}, {7, 1e-3, 2}}
	c.Board.Outputs[1].Hum = Hum{
		GroundLoop: &GroundLoop{AmpsRMS: 0.2, ShieldOhms: 0.1, PhaseRad: 0.7},
		Magnetic:   &Magnetic{AmpsRMS: 1, MutualHenrys: 1e-5},
		Ripple:     &Ripple{PeakVolts: 13, ReservoirFarads: 1e-3, LoadAmps: 0.3, RejectionDB: 20},
		Electric:   &Electric{MainsVoltsRMS: 230, StrayFarads: 1e-12, NodeOhms: 1e5},
		Dimmer:     &Dimmer{MainsVoltsRMS: 230, FiringDeg: 70, StrayFarads: 1e-12, NodeOhms: 1e5},
	}
	s := bench(t, c)
	sig := silence(t, 48000, 2)
	for _, patch := range []capture.Patch{capture.ToBoard, capture.Swapped, capture.Terminated} {
		got := take(t, s, sig, patch, "")
		for ch := range got.Samples {
			want := s.Truth().RecordedHumVolts(patch, ch+1)
			peak := volts(s.Truth().InputFullScaleDBu(ch + 1))
			in := &c.Interface.Inputs[ch]
			for n := 1; n <= maxHarmonic; n++ {
				f := 50 * float64(n)
				x := got.Samples[ch][sig.Body.Start+38400:][:48000]
				v := cmplx.Abs(lockIn(x, f, 48000, 0)) * peak / cmplx.Abs(in.response(f, 48000))
				// 50 nV is a fortieth of a 24-bit step; the marks' last trace is less.
				near(t, string(patch), v, want[n], 50e-9+1e-6*want[n])
			}
		}
	}
	if s.Truth().RecordedHumVolts(capture.ToBoard, 2)[1] < 1e-3 {
		t.Error("there was no hum to find")
	}
}

// The drifting frequency of the recorded hum, from its phase in two windows,
// against the track's, and each harmonic's phase following the fundamental's.
func TestMainsDrift(t *testing.T) {
	c := bare()
	c.Mains = Mains{StartHz: 49.9, DriftHzPerS: 0.02, WanderHzPerRootS: 0.003}
	c.Interface.Inputs[0].Hum = []Harmonic{{1, 0.1, 0}, {5, 0.05, 0}}
	sig := silence(t, 48000, 8)
	s := bench(t, c)
	got := take(t, s, sig, capture.Terminated, "").Samples[0]
	seconds := float64(len(got)) / 48000
	near(t, "end less start in Hz", s.LastTake().MainsEndHz-s.LastTake().MainsStartHz, 0.02*seconds, 4*0.003*math.Sqrt(seconds))

	// Phase against a steady 50 Hz, in windows of one cycle at both ends.
	phase := func(at int, n float64) float64 {
		return cmplx.Phase(lockIn(got[at:at+960], 50*n, 48000, at)) / 2 / math.Pi
	}
	last := len(got) - 960
	cycles := phase(last, 1) - phase(0, 1)
	want := (s.LastTake().MainsMeanHz - 50) * float64(last) / 48000
	near(t, "cycles gained, less whole ones", math.Remainder(cycles-want, 1), 0, 0.003)
	near(t, "fifth against five times the first", math.Remainder(phase(last, 5)-5*phase(last, 1)-phase(0, 5)+5*phase(0, 1), 1), 0, 0.01)
}

func TestTrackIntegratesItsFrequency(t *testing.T) {
	tr := newTrack(Mains{StartHz: 60, DriftHzPerS: -0.01, WanderHzPerRootS: 0.01}, 10, rand.New(rand.NewPCG(1, 1)))
	sum, step := 0.0, 1e-4
	for i := range 50500 {
		sum += tr.hzAt((float64(i)+0.5)*step) * step
	}
	near(t, "cycles in 5.05 s", tr.at(5.05)-tr.at(0), sum, 1e-6)
}

func mustReady(t *testing.T, name string) Config {
	t.Helper()
	c, err := Ready(name)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The comb of the truth is what it says of each harmonic, and the phase of the
// mains turns as often as its mean frequency says.
func TestTruthOfCombAndPhase(t *testing.T) {
	s := bench(t, mustReady(t, "ground-loop"))
	comb := s.Truth().HumComb("B")
	if len(comb) <= 40 || s.Truth().HumComb("nowhere") != nil {
		t.Fatalf("a comb of %d harmonics, and %v of no output", len(comb), s.Truth().HumComb("nowhere"))
	}
	sum := 0.0
	for n := 1; n <= 40; n++ {
		near(t, "harmonic", comb[n], s.Truth().HumVolts("B", n), 0)
		sum += comb[n] * comb[n]
	}
	near(t, "total in volts", math.Sqrt(sum), s.Truth().HumTotalVolts("B", 40), 1e-15)
	seconds := float64(len(take(t, s, toneSignal(t, 48000, -12, 1000), capture.ToBoard, "").Samples[0])) / 48000
	last := s.LastTake()
	near(t, "mean frequency in Hz", (last.MainsCycles(seconds)-last.MainsCycles(0))/seconds, last.MainsMeanHz, 1e-9)
}
