package simboard

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"boardproof/capture"
	"boardproof/testsignals"
)

func TestLostFrames(t *testing.T) {
	c := silenced(mustReady(t, "good"))
	sig := toneSignal(t, 48000, -12, 997)
	s := bench(t, c)
	whole := take(t, s, sig, capture.ToBoard, "").Samples
	if err := s.Queue(Faults{Lost: []LostFrames{{AtS: 1.5, Frames: 64}, {AtS: 0.5, Frames: 3}}}); err != nil {
		t.Fatal(err)
	}
	short := take(t, s, sig, capture.ToBoard, "").Samples
	for ch := range short {
		if len(short[ch]) != len(whole[ch]) {
			t.Fatalf("a take with lost frames has %d frames, one without %d", len(short[ch]), len(whole[ch]))
		}
		for at, shift := range map[int]int{23999: 0, 24000: 3, 71000: 3, 71997: 67, 100000: 67} {
			// Two padded lengths round their transforms differently.
			near(t, "sample after the loss", short[ch][at], whole[ch][at+shift], 2.0/codes)
		}
	}
	again := take(t, s, sig, capture.ToBoard, "").Samples
	if !slices.Equal(again[0], whole[0]) {
		t.Error("the fault stayed for the take after it")
	}
}

func TestStuckSamples(t *testing.T) {
	c := mustReady(t, "good")
	s := bench(t, c)
	if err := s.Queue(Faults{Stuck: []StuckSamples{{Input: 2, AtS: 1.25, Frames: 40}}}); err != nil {
		t.Fatal(err)
	}
	got := take(t, s, toneSignal(t, 48000, -12, 997), capture.ToBoard, "").Samples
	longest := func(x []float64) (run, at int) {
		start := 0
		for i := range x {
			if x[i] != x[start] {
				start = i
			}
			if i-start+1 > run {
				run, at = i-start+1, start
			}
		}
		return run, at
	}
	if run, at := longest(got[1]); run < 40 || at > 60000 || at < 59999 {
		t.Errorf("longest run in input 2 is %d from frame %d, want 40 from 60000", run, at)
	}
	if run, _ := longest(got[0][60000:62000]); run > 3 {
		t.Errorf("input 1 is stuck for %d frames too", run)
	}
}

// 15 dB more gain takes a tone that came back at -3 dBFS over full scale.
func TestKnobAndClipping(t *testing.T) {
	c := mustReady(t, "good")
	s := bench(t, c)
	sig := toneSignal(t, 48000, -3, 1000)
	peaks := func() (p [2]float64) {
		got := take(t, s, sig, capture.Loopback, "")
		return [2]float64{slices.Max(got.Samples[0]), slices.Max(got.Samples[1])}
	}
	before := peaks()
	if err := s.SetInputGainDB(1, -2); err != nil {
		t.Fatal(err)
	}
	turned := peaks()
	near(t, "turned input in dB", 20*math.Log10(turned[0]/before[0]), -2, 0.01)
	near(t, "other input in dB", 20*math.Log10(turned[1]/before[1]), 0, 0.01)
	near(t, "full scale in dBu", s.Truth().InputFullScaleDBu(1), c.Interface.Inputs[0].FullScaleDBu+2, 1e-12)
	if err := s.SetInputGainDB(1, 15); err != nil {
		t.Fatal(err)
	}
	if clipped := peaks(); clipped[0] != 1 || clipped[1] == 1 {
		t.Errorf("peaks are %v, want input 1 alone at full scale", clipped)
	}
}

// Samples lie on the steps of a 24-bit converter.
func TestSamplesAreQuantised(t *testing.T) {
	got := take(t, bench(t, mustReady(t, "good")), silence(t, 48000, 0.5), capture.ToBoard, "").Samples[0]
	for i, v := range got {
		if v*codes != math.Trunc(v*codes) {
			t.Fatalf("sample %d, %.17g, is between two steps", i, v)
		}
	}
}

func TestDropOuts(t *testing.T) {
	c := silenced(mustReady(t, "good"))
	c.Board.Joints = []Joint{{Output: "A", AtS: []float64{1.75}, DurationS: 0.05, Gain: 0.1}}
	s := bench(t, c)
	sig := toneSignal(t, 48000, -12, 1000)
	got := take(t, s, sig, capture.ToBoard, "").Samples
	drops := s.LastTake().DropOuts
	if len(drops) != 1 || drops[0].Output != "A" {
		t.Fatalf("drop-outs are %+v", drops)
	}
	near(t, "start in the take in s", drops[0].StartS, 1.75+253.37/48000, 1e-9)
	level := func(x []float64, fromS, toS float64) float64 {
		sum := 0.0
		part := x[int(fromS*48000):int(toS*48000)]
		for _, v := range part {
			sum += v * v
		}
		return math.Sqrt(sum / float64(len(part)))
	}
	at, end := drops[0].StartS, drops[0].StartS+drops[0].DurationS
	// Whole cycles of 1 kHz, clear of the joint's 0.2 ms ends and, at the
	// end, of the coupling capacitors' recovery.
	open, shut := level(got[0], at+0.005, end-0.005), level(got[0], at-0.045, at-0.005)
	near(t, "level while open over that before", open/shut, 0.1, 0.005)
	near(t, "level after over that before", level(got[0], end+0.005, end+0.045)/shut, 1, 0.005)
	near(t, "output B", level(got[1], at+0.005, end-0.005)/level(got[1], at-0.045, at-0.005), 1, 1e-4)
}

func TestCrackle(t *testing.T) {
	c := silenced(mustReady(t, "good"))
	c.Board.Joints = []Joint{{AtS: []float64{1.2}, DurationS: 0.4, CrackleVoltsRMS: 0.02}}
	s := bench(t, c)
	sig := silence(t, 48000, 2)
	got := take(t, s, sig, capture.ToBoard, "").Samples
	for ch, x := range got {
		sum := 0.0
		part := x[int(1.25*48000):int(1.55*48000)]
		for _, v := range part {
			sum += v * v
		}
		v := math.Sqrt(sum/float64(len(part))) * volts(s.Truth().InputFullScaleDBu(ch+1)) * math.Sqrt2
		// 14,400 samples tell it within 0.6 %; the droop near 24 kHz takes some.
		near(t, "crackle in V", v, 0.02, 0.0012)
	}
}

// Random drop-outs at 30 a minute for 2000 s: 1000, with a standard deviation
// of √1000, and gaps of an exponential distribution, whose median is ln 2 of
// its mean.
func TestRandomDropOutsArePoisson(t *testing.T) {
	all := openings([]Joint{{PerMinute: 30}}, 2000, rand.New(rand.NewPCG(8, 9)))
	near(t, "count", float64(len(all)), 1000, 4.5*math.Sqrt(1000))
	var gaps []float64
	for i := 1; i < len(all); i++ {
		gaps = append(gaps, all[i].startS-all[i-1].startS)
	}
	slices.Sort(gaps)
	near(t, "median gap in s", gaps[len(gaps)/2], 2*math.Ln2, 0.3)
}

// A signal on another output does not reach the board.
func TestUnconnectedOutput(t *testing.T) {
	c := silenced(mustReady(t, "good"))
	sig := signal(t, testsignals.New(testsignals.Tone, 48000, -12, 0.5))
	got, err := bench(t, c).Record(t.Context(), capture.Request{Signal: sig, Outputs: []int{2}, Inputs: []int{1}})
	if err != nil {
		t.Fatal(err)
	}
	if slices.Max(got.Samples[0]) != 0 {
		t.Error("the board heard output 2")
	}
}

func TestImpossibleFaults(t *testing.T) {
	s := bench(t, mustReady(t, "good"))
	for i, err := range []error{
		s.SetInputGainDB(0, 1), s.SetInputGainDB(3, 1), s.SetInputGainDB(1, math.NaN()),
		s.Queue(Faults{Lost: []LostFrames{{AtS: 1, Frames: 0}}}),
		s.Queue(Faults{Lost: []LostFrames{{AtS: math.NaN(), Frames: 1}}}),
		s.Queue(Faults{Stuck: []StuckSamples{{Input: 3, Frames: 9}}}),
	} {
		if err == nil {
			t.Errorf("case %d was taken", i)
		}
	}
	if err := s.Queue(Faults{Lost: []LostFrames{{AtS: 1e300, Frames: 9}}, Stuck: []StuckSamples{{Input: 1, AtS: 1e300, Frames: 9}}}); err != nil {
		t.Fatal(err)
	}
	take(t, s, silence(t, 48000, 0.5), capture.ToBoard, "")
}

// Each fault is one that capture.Check finds and names, with the mains, noise
// and distortion of a whole board around it; without a fault it is content.
func TestFaultsAreFound(t *testing.T) {
	if testing.Short() {
		t.Skip("several takes")
	}
	sig := signal(t, testsignals.New(testsignals.Sweep, 48000, -12, 1))
	for want, spoil := range map[string]func(*Simboard) error{
		"":             func(*Simboard) error { return nil },
		"lost samples": func(s *Simboard) error { return s.Queue(Faults{Lost: []LostFrames{{AtS: 2, Frames: 64}}}) },
		"stuck":        func(s *Simboard) error { return s.Queue(Faults{Stuck: []StuckSamples{{Input: 1, AtS: 2, Frames: 64}}}) },
		"clipped":      func(s *Simboard) error { return s.SetInputGainDB(2, 20) },
	} {
		s := bench(t, mustReady(t, "good"))
		if err := spoil(s); err != nil {
			t.Fatal(err)
		}
		proof, err := capture.Check(take(t, s, sig, capture.ToBoard, ""), sig, capture.Expect{})
		if want == "" {
			if err != nil {
				t.Fatalf("a take without a fault: %v", err)
			}
			// The board's own delay is some microseconds, less than a frame.
			near(t, "offset in frames", proof.OffsetFrames, 253.37, 1)
			continue
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("check says %v, want %q", err, want)
		}
	}
}
