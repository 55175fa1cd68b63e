package capture

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"boardproof/testsignals"

	"pgregory.net/rapid"
)

func badTake(t *testing.T, err error) *BadTake {
	t.Helper()
	var b *BadTake
	if !errors.As(err, &b) {
		t.Fatalf("error is %v, want a *BadTake", err)
	}
	return b
}

// scatter gathers deviations in units of their stated uncertainty.
type scatter struct{ sum, worst, n float64 }

func (s *scatter) add(deviation, std float64) {
	z := deviation / std
	s.sum += z * z
	s.worst = math.Max(s.worst, math.Abs(z))
	s.n++
}

func (s *scatter) rms() float64 { return math.Sqrt(s.sum / s.n) }

// Over random good takes the estimates must scatter as stated, neither more
// nor less, and no take may be refused. The truth is the synthesis.
func TestGoodTakesAreProvedAndTheirErrorsAsStated(t *testing.T) {
	if testing.Short() {
		t.Skip("statistics of many takes")
	}
	draw := rand.New(rand.NewPCG(1, 1))
	var found, offset, clock, change scatter
	for range 40 {
		rate := []int{44100, 48000, 48000, 96000}[draw.IntN(4)]
		sig := shortSignal(t, testsignals.Silence, rate)
		s := synth{offset: draw.Float64() * float64(rate), after: draw.IntN(rate / 5), channels: 1 + draw.IntN(2)}
		s.gain = math.Pow(10, -draw.Float64()*2)
		want := Expect{Clocks: Clocks(draw.IntN(2))}
		snr := 24 + 40*draw.Float64()
		if want.Clocks == TwoClocks {
			s.ppm = 600*draw.Float64() - 300
			snr += 16
		}
		s.noise = markSNR(sig, s.gain, snr)
		s.humPeak = 0.005 * s.gain * draw.Float64()
		if draw.IntN(2) == 0 {
			s.gain = -s.gain
		}
		p, err := Check(s.record(sig, draw), sig, want)
		if err != nil {
			t.Fatalf("%+v at %d Hz, %.0f dB: %v", s, rate, snr, err)
		}
		stretch := 1 + s.ppm*1e-6
		found.add(p.FoundFrames-stretch*float64(p.PlayedFrames), p.FoundStdFrames)
		clock.add(p.ClockError.PPM-s.ppm, p.ClockError.StdPPM)
		for _, c := range p.Channels {
			if want.Clocks == OneClock {
				offset.add(c.OffsetFrames-s.offset, c.OffsetStdFrames)
			} else if math.Abs(c.OffsetFrames-s.offset) > 4*c.OffsetStdFrames+0.005 {
				t.Errorf("%+v: arrived at %.3f ± %.3f", s, c.OffsetFrames, c.OffsetStdFrames)
			}
			change.add(c.MarkChangeDB, c.MarkChangeStdDB)
		}
	}
	for name, s := range map[string]*scatter{"found": &found, "offset": &offset, "clock": &clock, "change": &change} {
		t.Logf("%s: rms %.2f, worst %.2f of %g", name, s.rms(), s.worst, s.n)
		// Three standard errors of the RMS of so many draws.
		if math.Abs(s.rms()-1) > 3/math.Sqrt(2*s.n) {
			t.Errorf("%s: deviations are %.2f of the stated uncertainty", name, s.rms())
		}
	}
}

// One lost or added frame must be found at 40 dB, wherever it was between
// the first mark and the last, and counted exactly.
func TestLostAndAddedFramesAreCounted(t *testing.T) {
	if testing.Short() {
		t.Skip("many takes")
	}
	draw := rand.New(rand.NewPCG(2, 2))
	sig := shortSignal(t, testsignals.Silence, 48000)
	quiet := []testsignals.Span{
		{Start: sig.Marks[0].End, End: sig.Marks[1].Start},
		{Start: sig.Marks[1].End, End: sig.Marks[2].Start},
		{Start: sig.Marks[2].End, End: sig.Marks[3].Start},
	}
	for i := range 45 {
		clocks := Clocks(i % 2)
		where := quiet[draw.IntN(3)]
		s := synth{offset: 20000 * draw.Float64(), after: 3000, noise: markSNR(sig, 1, 40), poleHz: 3000}
		// Clear of the window in which a mark is looked at.
		s.lostAt = float64(where.Start + 600 + draw.IntN(where.Len()-1200))
		s.lost = []int{1, 1, 2, 64, 512, -1, -2, -480}[draw.IntN(8)]
		if clocks == TwoClocks {
			s.ppm = 400*draw.Float64() - 200
		}
		p, err := Check(s.record(sig, draw), sig, Expect{Clocks: clocks})
		b := badTake(t, err)
		kind := "lost samples: marks "
		if s.lost < 0 {
			kind = "added samples: marks "
		}
		if !strings.HasPrefix(b.Reason, kind) || p.LostFrames != s.lost {
			t.Errorf("%+v: %d frames, %v", s, p.LostFrames, b)
		}
	}
}

func TestLostSamplesAreToldInTheAgreedWords(t *testing.T) {
	draw := rand.New(rand.NewPCG(3, 3))
	sig := shortSignal(t, testsignals.Tone, 48000)
	s := synth{offset: 700, lost: 64, lostAt: float64(sig.Body.Start + 9000), noise: 1e-5}
	_, err := Check(s.record(sig, draw), sig, Expect{})
	// 0.02 + 0.15 s twice, 0.1 s lead, 0.5 s body, 0.2 s tail less a mark's
	// length: from start to start 0.15 + 0.02 + 0.1 + 0.5 + 0.2 + 0.15 s.
	if want := "lost samples: marks 53696 apart, played 53760; the computer did not keep up: close other programs, or set a larger buffer in the audio system"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// 64 frames lost in the 6 s of a real sweep stretch the spacing like a clock
// that is 200 ppm slow; both must be told for what they are.
func TestLossIsToldFromAClockThatIsOff(t *testing.T) {
	draw := rand.New(rand.NewPCG(4, 4))
	sig, err := testsignals.Generate(testsignals.New(testsignals.Silence, 48000, -12, 5))
	if err != nil {
		t.Fatal(err)
	}
	noise := markSNR(sig, 1, 45)
	ppm := -64 / (6.7 * 48000) * 1e6
	p, err := Check(synth{offset: 3e4, noise: noise, ppm: ppm, after: 99}.record(sig, draw), sig, Expect{Clocks: TwoClocks})
	if err != nil {
		t.Fatalf("a slow clock: %v", err)
	}
	if d := p.ClockError.PPM - ppm; math.Abs(d) > 4*p.ClockError.StdPPM || p.ClockError.StdPPM > 0.02 {
		t.Errorf("clock %+v, true %g ppm", p.ClockError, ppm)
	}
	lossy := synth{offset: 3e4, noise: noise, lost: 64, lostAt: float64(sig.Body.Start + 100000), after: 99}
	p, err = Check(lossy.record(sig, draw), sig, Expect{Clocks: TwoClocks})
	if b := badTake(t, err); !strings.HasPrefix(b.Reason, "lost samples") || p.LostFrames != 64 {
		t.Errorf("64 lost: %d, %v", p.LostFrames, b)
	}
	noisy := synth{offset: 3e4, noise: markSNR(sig, 1, 26), ppm: ppm, after: 99}
	_, err = Check(noisy.record(sig, draw), sig, Expect{Clocks: TwoClocks})
	if b := badTake(t, err); !strings.HasPrefix(b.Reason, "not proved") {
		t.Errorf("too noisy to tell: %v", b)
	}
}

// Through a board that inverts, is dulled at 3 kHz and hums as loud as the
// marks themselves, with 24 dB over the hiss: good takes pass, their errors
// are as stated, and with 40 dB one lost frame is found.
func TestABadBoardDoesNotHideTheMarks(t *testing.T) {
	if testing.Short() {
		t.Skip("many takes")
	}
	draw := rand.New(rand.NewPCG(13, 13))
	sig := shortSignal(t, testsignals.Silence, 48000)
	var found scatter
	for i := range 60 {
		s := synth{offset: math.Floor(9e4 * draw.Float64()), after: 2000, gain: -1, poleHz: 3000, humPeak: 0.17, noise: markSNR(sig, 1, 24)}
		s.humHz = []float64{50.02, 60.01, 100.02}[i%3]
		if i%2 == 1 {
			s.noise = markSNR(sig, 1, 40)
			s.lost, s.lostAt = 1, float64(sig.Body.Start+draw.IntN(sig.Body.Len()))
		}
		p, err := Check(s.record(sig, draw), sig, Expect{})
		if (err == nil) != (s.lost == 0) || p.LostFrames != s.lost {
			t.Fatalf("%+v: %d frames, %v", s, p.LostFrames, err)
		}
		found.add(p.FoundFrames-float64(p.PlayedFrames-s.lost), p.FoundStdFrames)
	}
	t.Logf("rms %.2f, worst %.2f of the stated uncertainty", found.rms(), found.worst)
	// Hum is not white: it may make the stated uncertainty too large.
	if found.rms() > 1.3 {
		t.Errorf("deviations are %.2f of the stated uncertainty", found.rms())
	}
}

// An echo repeats the marks at their own spacing. Offset and count must be
// those of the marks and not of their echo, however clear it is.
func TestEchoesAreNotTakenForMarks(t *testing.T) {
	draw := rand.New(rand.NewPCG(12, 12))
	sig := shortSignal(t, testsignals.Silence, 48000)
	for _, echo := range []int{7200, 14400, 20000} {
		take := synth{offset: 5000, after: 48000}.record(sig, draw)
		x := take.Samples[0]
		for i := range x {
			if i >= echo {
				x[i] += 0.7 * x[i-echo]
			}
		}
		for i := range x {
			x[i] += 1e-6 * draw.NormFloat64()
		}
		p, err := Check(take, sig, Expect{})
		if err != nil || math.Abs(p.OffsetFrames-5000) > 0.1 {
			t.Errorf("echo after %d frames: %v, offset %.3f", echo, err, p.OffsetFrames)
		}
	}
}

func TestTakesThatProveNothing(t *testing.T) {
	sig := shortSignal(t, testsignals.Tone, 48000)
	vibrato := func(x []float64) []float64 {
		y := make([]float64, len(x))
		for i := range y {
			y[i] = interpolate(x, float64(i)-40-20.3*math.Sin(2*math.Pi*1.3*float64(i)/48000))
		}
		return y
	}
	cases := map[string]struct {
		take  synth
		after func([]float64) []float64
		want  string
	}{
		"only noise":          {synth{gain: 1e-9, noise: 1e-4}, nil, "input 1: no signal: timing marks not found"},
		"marks under noise":   {synth{noise: markSNR(sig, 1, -3)}, nil, "input 1: no signal: timing marks"},
		"cut before the end":  {synth{noise: 1e-5}, func(x []float64) []float64 { return x[:sig.Marks[3].Start] }, "input 1: no signal: timing marks"},
		"vibrato":             {synth{noise: 1e-5, after: 999}, vibrato, "unsteady timing"},
		"digital zero":        {synth{gain: 1e-300}, func(x []float64) []float64 { return make([]float64, len(x)) }, "input 1: no signal: stuck, every sample is the same"},
		"not a number":        {synth{noise: 1e-5}, func(x []float64) []float64 { x[777] = math.NaN(); return x }, "input 1: broken: frame 777 is NaN"},
		"run-in missing":      {synth{noise: 1e-4}, func(x []float64) []float64 { return muteRunIn(x, sig) }, "input 1: no signal: run-in tone at"},
		"half a second short": {synth{noise: 1e-5, lost: 9000, lostAt: float64(sig.Body.Start + 2000)}, nil, "lost samples"},
	}
	for name, c := range cases {
		draw := rand.New(rand.NewPCG(5, 5))
		take := c.take.record(sig, draw)
		if c.after != nil {
			take.Samples[0] = c.after(take.Samples[0])
		}
		_, err := Check(take, sig, Expect{})
		var b *BadTake
		if !errors.As(err, &b) || !strings.HasPrefix(b.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

func muteRunIn(x []float64, sig *testsignals.Signal) []float64 {
	draw := rand.New(rand.NewPCG(6, 6))
	for i := range sig.RunIn.End {
		x[i] = 1e-4 * draw.NormFloat64()
	}
	return x
}

func TestADeadOutputIsItsOwnProblem(t *testing.T) {
	draw := rand.New(rand.NewPCG(7, 7))
	sig := shortSignal(t, testsignals.Tone, 48000)
	take := synth{offset: 1234, noise: 1e-5, channels: 3}.record(sig, draw)
	for i := range take.Samples[1] {
		take.Samples[1][i] = 1e-5 * draw.NormFloat64()
		take.Samples[2][i] = 0
	}
	take.Inputs = []int{5, 6, 8}
	p, err := Check(take, sig, Expect{})
	if err != nil {
		t.Fatal(err)
	}
	c := p.Channels
	if c[0].Problem != "" || !strings.HasPrefix(c[1].Problem, "no signal") || !strings.HasPrefix(c[2].Problem, "no signal: stuck") {
		t.Errorf("problems: %q, %q, %q", c[0].Problem, c[1].Problem, c[2].Problem)
	}
	if c[1].Input != 6 || c[2].PeakDBFS != zeroDBFS {
		t.Errorf("%+v", c)
	}
	// -12 dBFS less 12 dB.
	if math.Abs(c[0].RunInDBFS+24) > 0.01 || c[1].RunInDBFS > -100 {
		t.Errorf("run-in at %.3f and %.1f dBFS", c[0].RunInDBFS, c[1].RunInDBFS)
	}
}

func TestALevelThatChangesIsReportedNotRefused(t *testing.T) {
	draw := rand.New(rand.NewPCG(8, 8))
	sig := shortSignal(t, testsignals.Tone, 48000)
	take := synth{offset: 100, noise: 1e-4}.record(sig, draw)
	for i := 100 + sig.Body.Start; i < len(take.Samples[0]); i++ {
		take.Samples[0][i] *= 0.8
	}
	p, err := Check(take, sig, Expect{})
	if err != nil {
		t.Fatal(err)
	}
	c := p.Channels[0]
	if d := c.MarkChangeDB - 20*math.Log10(0.8); math.Abs(d) > 4*c.MarkChangeStdDB || c.MarkChangeStdDB > 0.05 {
		t.Errorf("change %.4f ± %.4f dB", c.MarkChangeDB, c.MarkChangeStdDB)
	}
}

func TestSilenceThatIsDigitalZeroCannotBeMeasured(t *testing.T) {
	draw := rand.New(rand.NewPCG(9, 9))
	sig := shortSignal(t, testsignals.Silence, 48000)
	_, err := Check(synth{offset: 500}.record(sig, draw), sig, Expect{})
	if b := badTake(t, err); !strings.HasPrefix(b.Reason, "stuck: every sample of the silence") {
		t.Error(b)
	}
	hiss := synth{gain: 1e-12, noise: 1e-6}.record(sig, draw)
	if _, err := Check(hiss, nil, Expect{NoSignal: true}); err != nil {
		t.Errorf("terminated inputs with noise: %v", err)
	}
	clear(hiss.Samples[0])
	if _, err := Check(hiss, nil, Expect{NoSignal: true}); err == nil {
		t.Error("terminated inputs that are zero passed")
	}
}

func TestArgumentsThatDoNotFitAreNoBadTake(t *testing.T) {
	sig := shortSignal(t, testsignals.Tone, 48000)
	draw := rand.New(rand.NewPCG(10, 10))
	good := synth{}.record(sig, draw)
	if p, err := Check(good, sig, Expect{}); err != nil || math.Abs(p.OffsetFrames) > 1e-6 {
		t.Errorf("the signal itself, without noise: %v, %+v", err, p)
	}
	ragged := &Take{RateHz: 48000, Samples: [][]float64{{0, 1}, {0}}}
	other := &Take{RateHz: 44100, Samples: slices.Clone(good.Samples)}
	for name, c := range map[string]struct {
		take *Take
		sig  *testsignals.Signal
	}{"nil": {nil, sig}, "empty": {&Take{RateHz: 48000}, sig}, "ragged": {ragged, sig}, "rate": {other, sig}, "no signal known": {good, nil}} {
		_, err := Check(c.take, c.sig, Expect{})
		var b *BadTake
		if err == nil || errors.As(err, &b) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// At 192 kHz a frame is short beside what 8 dB leave of the marks.
func TestMarksTooNoisyToCountFrames(t *testing.T) {
	draw := rand.New(rand.NewPCG(11, 11))
	sig := shortSignal(t, testsignals.Silence, 192000)
	_, err := Check(synth{offset: 5000, noise: markSNR(sig, 1, 8)}.record(sig, draw), sig, Expect{})
	if b := badTake(t, err); !strings.HasPrefix(b.Reason, "not proved: the timing marks are known to 0.") {
		t.Error(b)
	}
}

func BenchmarkCheck(b *testing.B) {
	sig, err := testsignals.Generate(testsignals.New(testsignals.Sweep, 192000, -12, 7))
	if err != nil {
		b.Fatal(err)
	}
	take := synth{offset: 2000, noise: 1e-5, channels: 2}.record(sig, rand.New(rand.NewPCG(1, 1)))
	b.ReportMetric(sig.Seconds(), "s_of_signal")
	for b.Loop() {
		if _, err := Check(take, sig, Expect{}); err != nil {
			b.Fatal(err)
		}
	}
}

// Whatever is in a take, Check answers; nothing random proves itself.
func TestNoTakeMakesCheckPanic(t *testing.T) {
	sig := shortSignal(t, testsignals.Tone, 44100)
	odd := rapid.SampledFrom([]float64{0, 1, -1, 1e-300, 5e-324, 999, 1e9, math.NaN(), math.Inf(1), 0.25})
	rapid.Check(t, func(t *rapid.T) {
		x := make([]float64, rapid.SampledFrom([]int{1, 2, 3, 100, 5000, sig.Frames, sig.Frames + 9000}).Draw(t, "frames"))
		if rapid.Bool().Draw(t, "signal") {
			copy(x, sig.Samples)
		}
		for range rapid.IntRange(0, 5).Draw(t, "spoiled") {
			x[rapid.IntRange(0, len(x)-1).Draw(t, "at")] = odd.Draw(t, "v")
		}
		take := &Take{Samples: [][]float64{x}, RateHz: 44100}
		want := Expect{Clocks: Clocks(rapid.IntRange(0, 1).Draw(t, "clocks")), NoSignal: rapid.Bool().Draw(t, "no signal")}
		p, err := Check(take, sig, want)
		if p == nil || len(p.Channels) != 1 {
			t.Fatalf("no proof, %v", err)
		}
		if err == nil && !want.NoSignal && len(x) < sig.Frames {
			t.Fatal("a take shorter than its signal proved itself")
		}
	})
}
