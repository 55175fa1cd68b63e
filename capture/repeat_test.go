package capture

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// through is a recording of sig by way of a lead with noise of an RMS, as
// 32-bit floats, or rounded to PCM of so many bits.
func through(sig *testsignals.Signal, offset int, noise float64, bits int, draw *rand.Rand) []float64 {
	x := make([]float64, offset+sig.Frames+3000)
	copy(x[offset:], sig.Samples)
	for i := range x {
		x[i] = float64(float32(x[i] + noise*draw.NormFloat64()))
		if bits > 0 {
			x[i] = math.Ldexp(math.Round(math.Ldexp(x[i], bits-1)), 1-bits)
		}
	}
	return x
}

func eachKind(t *testing.T) (sigs []*testsignals.Signal) {
	t.Helper()
	for _, kind := range []testsignals.Kind{testsignals.Tone, testsignals.Silence, testsignals.Sweep, testsignals.Impulses} {
		sig, err := testsignals.Generate(testsignals.New(kind, 48000, -12, 1))
		if err != nil {
			t.Fatal(err)
		}
		sigs = append(sigs, sig)
	}
	return sigs
}

// Blocks that came twice are counted in every kind of signal, whichever their
// length, also where a block is that of two blocks before, and where it is
// lost for good behind it, so that the take stays as long. 480 frames are ten
// periods of the tone.
func TestBlocksThatCameTwiceAreCounted(t *testing.T) {
	if testing.Short() {
		t.Skip("many takes")
	}
	draw := rand.New(rand.NewPCG(21, 1))
	for _, sig := range eachKind(t) {
		for i, block := range []int{64, 256, 441, 480, 1024} {
			times, back := 1+4*(i%2), block*(1+i%3)
			x := through(sig, 1024, 1e-5, []int{24, 0}[i%2], draw)
			for k := range times {
				at := 1024 + sig.Body.Start + 5000 + 8000*k + draw.IntN(100)
				copy(x[at:at+block], x[at-back:])
			}
			p, err := Check(&Take{Samples: [][]float64{x, x}, RateHz: 48000}, sig, Expect{})
			if b := badTake(t, err); b.Fault != Repeats || !b.ByComputer() || p.RepeatedBlocks != times {
				t.Errorf("%s: %d blocks of %d, %d back: counted %d, %v", sig.Kind, times, block, back, p.RepeatedBlocks, b)
			}
		}
	}
}

// A path without noise shows a repetition where what was played does not
// repeat; where it does, nothing is harmed.
func TestRepeatsOfAPathWithoutNoise(t *testing.T) {
	draw := rand.New(rand.NewPCG(21, 2))
	tone, silence, sweep := eachKind(t)[0], eachKind(t)[1], eachKind(t)[2]
	for _, bits := range []int{0, 16, 24} {
		for _, c := range []struct {
			sig   *testsignals.Signal
			block int
			want  bool
		}{{sweep, 64, true}, {sweep, 1024, true}, {tone, 64, true}, {tone, 1024, true}, {tone, 960, false}, {silence, 1024, false}} {
			x := through(c.sig, 1024, 0, bits, draw)
			at := 1024 + c.sig.Body.Start + 21000
			copy(x[at:at+c.block], x[at-c.block:])
			if got := FindRepeated(x, c.sig.Samples, 1024); (len(got) > 0) != c.want {
				t.Errorf("%s: a block of %d in %d bits: %v", c.sig.Kind, c.block, bits, got)
			}
		}
	}
}

// No good recording repeats itself: floats and PCM, from no noise at all to
// more noise than signal, where the path delays a little more than is known.
func TestGoodRecordingsDoNotRepeat(t *testing.T) {
	if testing.Short() {
		t.Skip("many signals")
	}
	draw := rand.New(rand.NewPCG(21, 3))
	for k, sig := range eachKind(t) {
		for i, bits := range []int{0, 16, 24} {
			for j, noise := range []float64{0, 1e-6, 5e-6, 1e-5, 2e-5, 1e-3} {
				if (k+i+j)%2 == 1 {
					continue // each noise with other kinds and bits
				}
				x := through(sig, 1024, noise, bits, draw)
				if got := FindRepeated(x, sig.Samples, 1024+draw.IntN(20)); got != nil {
					t.Errorf("%s, %d bits, noise %g: %v", sig.Kind, bits, noise, got)
				}
			}
		}
	}
}

// A silence without marks, as with terminated inputs, shows it too.
func TestRepeatsWhereNothingWasPlayed(t *testing.T) {
	draw := rand.New(rand.NewPCG(21, 4))
	x := make([]float64, 96000)
	for i := range x {
		hum := 0.001 * math.Sin(2*math.Pi*50.02/48000*float64(i))
		x[i] = math.Ldexp(math.Round(math.Ldexp(hum+1e-6*draw.NormFloat64(), 23)), -23)
	}
	take := &Take{Samples: [][]float64{x}, RateHz: 48000}
	if _, err := Check(take, nil, Expect{NoSignal: true}); err != nil {
		t.Fatal(err)
	}
	copy(x[50000:50256], x[49744:])
	_, err := Check(take, nil, Expect{NoSignal: true})
	want := "repeated samples: the computer missed a block, the first of 256 samples at 1.042 s; close other programs"
	if b := badTake(t, err); !strings.HasPrefix(b.Reason, want) {
		t.Errorf("%v, want %s", b, want)
	}
	take.Samples[0] = append(x, x[:60000]...)
	take.Instrument.Kind = "wavtake"
	_, err = Check(take, nil, Expect{NoSignal: true})
	if b := badTake(t, err); !strings.Contains(b.Reason, "put together from pieces") {
		t.Errorf("one second twice: %v", b)
	}
}

// A file that was rounded to 16 bits at one rate and then taken to another has
// many codes and little noise: a step of 16 bits rings, the same each time.
func TestRoundedFilesAtAnotherRateDoNotRepeat(t *testing.T) {
	draw := rand.New(rand.NewPCG(21, 5))
	x := make([]float64, 200000)
	for at := 300; at < len(x)-300; at += 260 + draw.IntN(40) {
		for i := -128; i < 128; i++ {
			u := float64(i) + 0.3
			x[at+i] += math.Sin(0.9*math.Pi*u) / (math.Pi * u) / 32768
		}
	}
	for i := range x {
		x[i] = math.Ldexp(math.Round(math.Ldexp(x[i], 23)), -23)
	}
	file := &Take{Samples: [][]float64{x}, RateHz: 48000, Instrument: Description{Kind: fromFile}}
	if _, err := Check(file, nil, Expect{NoSignal: true}); err != nil {
		t.Error(err)
	}
	if len(equalRuns(x)) == 0 {
		t.Error("it does not repeat itself, so nothing is tested")
	}
}
