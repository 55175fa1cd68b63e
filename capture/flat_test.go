package capture

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/testsignals"
)

func quantise(x []float64, bits int) {
	full := math.Ldexp(1, bits-1)
	for i, v := range x {
		x[i] = math.Round(v*full) / full
	}
}

func scaleBy(x []float64, g float64) {
	for i := range x {
		x[i] *= g
	}
}

func clamp(x []float64, at float64) {
	for i, v := range x {
		x[i] = math.Max(-at, math.Min(at, v))
	}
}

func levelled(t *testing.T, kind testsignals.Kind, rateHz int, levelDBFS float64) *testsignals.Signal {
	t.Helper()
	s := testsignals.New(kind, rateHz, levelDBFS, 0.6)
	s.LeadS, s.TailS, s.PeriodS = 0.1, 0.1, 0.1
	sig, err := testsignals.Generate(s)
	if err != nil {
		t.Fatal(err)
	}
	return sig
}

func TestNoFalseAlarmOfClippedOrStuck(t *testing.T) {
	if testing.Short() {
		t.Skip("many signals")
	}
	draw := rand.New(rand.NewPCG(1, 1))
	n := 0
	for _, kind := range []testsignals.Kind{testsignals.Sweep, testsignals.Impulses, testsignals.Tone, testsignals.Silence} {
		for _, rate := range []int{44100, 192000} {
			for _, level := range []float64{-0.5, -20, -70} {
				for _, bits := range []int{16, 24, 53} {
					for _, noiseCodes := range []float64{0, 0.3, 3} {
						if n++; n%2 == 0 {
							continue // 54 choices of kind, level, bits and noise at each rate
						}
						sig := levelled(t, kind, rate, level)
						x := sig.Samples
						for i := range x {
							x[i] += noiseCodes / 32768 * draw.NormFloat64()
						}
						if bits < 53 {
							quantise(x, bits)
						}
						if draw.IntN(2) == 0 {
							scaleBy(x, 0.7312)
						}
						if c := findClipped(x); c.frames > 0 {
							t.Errorf("%s %d Hz %g dBFS %d bits noise %g: clipped %+v", kind, rate, level, bits, noiseCodes, c)
						}
						if n, first := findStuck(x, rate); n > 0 {
							t.Errorf("%s %d Hz %g dBFS %d bits noise %g: stuck %d at %d", kind, rate, level, bits, noiseCodes, n, first)
						}
					}
				}
			}
		}
	}
}

// What a fuzz makes of a slow tone in a simulation without noise stays on one
// value for long, and steps far, but so it does before and after.
func TestASquareIsNotStuck(t *testing.T) {
	x := make([]float64, 48000)
	for i := range x {
		x[i] = 0.1 * float64(1-2*(i/240%2))
	}
	x[0] += 1e-6 // so that the steps are many codes
	if n, first := findStuck(x, 48000); n > 0 {
		t.Errorf("%d frames stuck at %d", n, first)
	}
}

func TestClippedIsFound(t *testing.T) {
	draw := rand.New(rand.NewPCG(2, 2))
	for name, c := range map[string]struct {
		clampAt, scale float64
		bits           int
	}{
		"float at full scale": {1, 1, 53},
		"24 bit":              {1 - 1.0/(1<<23), 1, 24},
		"16 bit":              {1 - 1.0/(1<<15), 1, 16},
		"turned down after":   {1, 0.31, 53},
		"a converter's rail":  {0.83, 1, 24},
		"16 bit turned down":  {0.9, 0.57, 16},
	} {
		// Without pilot tones, on which peaks would ride that are over for one frame.
		sig, err := testsignals.Generate(testsignals.New(testsignals.Sweep, 48000, 0, 0).WithoutPilots())
		if err != nil {
			t.Fatal(err)
		}
		x := sig.Samples
		scaleBy(x, 1.05*c.clampAt)
		for i := range x {
			x[i] += 1e-5 * draw.NormFloat64()
		}
		clamp(x, c.clampAt)
		beyond := 0
		for _, v := range x {
			if math.Abs(v) == c.clampAt {
				beyond++
			}
		}
		if c.bits < 53 {
			quantise(x, c.bits)
		}
		scaleBy(x, c.scale)
		got := findClipped(x)
		// Plateaus of one or two frames, at the sweep's high end, are not
		// counted below full scale.
		if got.frames < beyond/2 || got.frames > beyond+beyond/10 {
			t.Errorf("%s: %d frames found of %d", name, got.frames, beyond)
		}
	}
}

func TestASingleClippedPeakIsEnough(t *testing.T) {
	sig := levelled(t, testsignals.Tone, 48000, -6)
	x := sig.Samples
	at := sig.Body.Start + 15000
	for i := at; i < at+5; i++ {
		x[i] = 1
	}
	take := &Take{Samples: [][]float64{x}, RateHz: 48000, Inputs: []int{3}}
	p, err := Check(take, sig, Expect{})
	b := badTake(t, err)
	if !strings.HasPrefix(b.Error(), "input 3: clipped: 5 frames at 0.00 dBFS, the first at ") || p.Channels[0].ClippedFrames != 5 {
		t.Errorf("%v, %d frames", b, p.Channels[0].ClippedFrames)
	}
}

// Three equal samples at the top of a take in noise are chance; where they come twice at one
// level, or five of them, they are not.
func TestChanceIsNotClipping(t *testing.T) {
	flat := func(frames ...int) []float64 {
		draw := rand.New(rand.NewPCG(5, 5))
		x := levelled(t, testsignals.Tone, 48000, -20).Samples
		for i := range x {
			x[i] += 1e-6 * draw.NormFloat64()
		}
		quantise(x, 24)
		_, hi, _ := extent(x)
		for i, n := range frames {
			for k := range n {
				x[20000+5000*i+k] = hi + 10.0/(1<<23)
			}
		}
		return x
	}
	for _, c := range []struct {
		frames []int
		want   int
	}{{[]int{3}, 0}, {[]int{4}, 0}, {[]int{5}, 5}, {[]int{3, 3}, 6}, {[]int{3, 4, 3}, 10}, {[]int{3, 7}, 10}, {[]int{7, 3}, 10}} {
		if got := findClipped(flat(c.frames...)); got.frames != c.want || c.want > 0 && got.first != 20000 {
			t.Errorf("plateaus of %v frames: %+v, want %d", c.frames, got, c.want)
		}
	}
}

func TestStuckIsFound(t *testing.T) {
	for name, fill := range map[string]func(x []float64, at, n int){
		"zeros":       func(x []float64, at, n int) { clear(x[at : at+n]) },
		"last sample": func(x []float64, at, n int) { scaleFrom(x, at, n) },
	} {
		for _, bits := range []int{16, 24, 53} {
			for _, n := range []int{32, 64, 1024, 5000} {
				draw := rand.New(rand.NewPCG(3, 3))
				sig := levelled(t, testsignals.Sweep, 48000, -12)
				x := sig.Samples
				for i := range x {
					x[i] += 1e-4 * draw.NormFloat64()
				}
				if bits < 53 {
					quantise(x, bits)
				}
				fill(x, sig.Body.Start+draw.IntN(sig.Body.Len()-n), n)
				got, _ := findStuck(x, 48000)
				// A neighbour may happen to have the same value.
				if got < n || got > n+4 {
					t.Errorf("%s, %d bits: %d frames found of %d", name, bits, got, n)
				}
			}
		}
	}
	sig := levelled(t, testsignals.Sweep, 48000, -12)
	clear(sig.Samples[sig.Body.Start+15000 : sig.Body.Start+15480])
	_, err := Check(&Take{Samples: [][]float64{sig.Samples}, RateHz: 48000, Inputs: []int{1}}, sig, Expect{})
	if b := badTake(t, err); !strings.HasPrefix(b.Error(), "input 1: stuck: 480 frames hold one value, the first at ") {
		t.Error(b)
	}
}

func scaleFrom(x []float64, at, n int) {
	for i := at; i < at+n; i++ {
		x[i] = x[at-1]
	}
}
