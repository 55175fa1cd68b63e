package procedure

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
)

// playback is a Listener that hands on two rows in blocks of its own sizes.
type playback struct {
	capture.Instrument
	rows [][]float64
	// lostAt is the block before which frames are lost.
	lostAt int
}

func (p *playback) Describe() capture.Description {
	return capture.Description{Kind: "soundcard", Device: "playback", RateHz: 48000, Inputs: 2, Outputs: 1}
}

var errPlayed = errors.New("played to the end")

func (p *playback) Listen(_ context.Context, req capture.ListenRequest, each func(capture.Block) error) error {
	rng := rand.New(rand.NewPCG(3, 4))
	for at, k := 0, 0; at < len(p.rows[0]); k++ {
		n := min(1+rng.IntN(9000), len(p.rows[0])-at)
		b := capture.Block{}
		for _, in := range req.Inputs {
			b.Samples = append(b.Samples, append([]float64(nil), p.rows[in-1][at:at+n]...))
		}
		if k == p.lostAt && k > 0 {
			b.LostFrames = 700
		}
		if err := each(b); err != nil {
			return err
		}
		at += n
	}
	return errPlayed
}

// hummed is seconds of hiss and of hum that falls to a tenth half way.
func hummed(seconds, hz, rms float64) []float64 {
	rng := rand.New(rand.NewPCG(1, 9))
	x := make([]float64, int(48000*seconds))
	for i := range x {
		a := rms
		if i > len(x)/2 {
			a /= 10
		}
		x[i] = a*math.Sqrt2*math.Sin(2*math.Pi*hz*float64(i)/48000) + 1e-6*rng.NormFloat64()
	}
	return x
}

// humRead is what was told of the hum.
func humRead(who *ear) (all []talk.HumRead) {
	for _, e := range who.Told() {
		if now, ok := e.(talk.HumRead); ok {
			all = append(all, now)
		}
	}
	return all
}

func watched(t *testing.T, p *playback) []talk.HumRead {
	t.Helper()
	who := newEar("")
	s := &Sitting{Instrument: p, Person: who, Now: time.Now,
		Patching: []calibration.Patching{{Output: "left", Input: 2}, {Output: "right", Input: 1}}}
	if err := s.WatchHum(context.Background(), 0); !errors.Is(err, errPlayed) {
		t.Fatal(err)
	}
	return humRead(who)
}

func TestWatchHum(t *testing.T) {
	p := &playback{rows: [][]float64{hummed(5, 60, 1e-4), hummed(5, 50.02, 1e-3)}}
	all := watched(t, p)
	if n := len(all); n < 9 || n > 13 {
		t.Errorf("%d readings of 3 s and a window, want four a second", n)
	}
	first, last := all[0], all[len(all)-1]
	var hold report.HumHold
	for _, now := range all {
		hold.Add(now.Readings)
	}
	for i, c := range []struct {
		output  string
		hz, rms float64
	}{{"left", 50.02, 1e-3}, {"right", 60, 1e-4}} {
		a, b := first.Readings[i], last.Readings[i]
		if a.Output != c.output || math.Abs(a.MainsHz.Value-c.hz) > 0.01 {
			t.Errorf("reading %d is %s at %.3f Hz, want %s at %g Hz", i, a.Output, a.MainsHz.Value, c.output, c.hz)
		}
		was, is := report.LevelShown(a, a.Levels[hunt.Fundamental]), report.LevelShown(b, b.Levels[hunt.Fundamental])
		if want := analysis.DB(c.rms * math.Sqrt2); math.Abs(was-want) > 0.05 || math.Abs(is-want+20) > 0.05 {
			t.Errorf("%s: %.2f, then %.2f dBFS; want %.2f and 20 dB less", c.output, was, is, want)
		}
		best, worst, ok := hold.Of(c.output, hunt.Fundamental)
		if !ok || best > is || worst < was || best < is-0.1 || worst > was+0.1 {
			t.Errorf("%s: held %.2f to %.2f, read %.2f to %.2f", c.output, best, worst, is, was)
		}
	}
	if _, _, ok := hold.Of("left", "no such group"); ok {
		t.Error("something was held of no group")
	}
}

// A gap would read as a jump, so the window begins anew after it.
func TestWatchHumAcrossAGap(t *testing.T) {
	p := &playback{rows: [][]float64{hummed(6, 50, 1e-3), hummed(6, 50, 1e-3)}, lostAt: 30}
	all := watched(t, p)
	pause := 0.0
	for i := 1; i < len(all); i++ {
		pause = math.Max(pause, all[i].AtS-all[i-1].AtS)
	}
	if last := all[len(all)-1]; last.LostFrames != 700 || pause < watchWindowS {
		t.Errorf("%d frames lost, no pause over %.2f s; want 700 and a whole window", last.LostFrames, pause)
	}
}

func TestWatchHumThatClips(t *testing.T) {
	p := &playback{rows: [][]float64{hummed(3, 50, 1), hummed(3, 50, 1e-3)}}
	for i := range p.rows[0] {
		p.rows[0][i] = math.Max(-1, math.Min(1, p.rows[0][i]))
	}
	first := watched(t, p)[0]
	if first.Readings[1].Reason == "" || len(first.Readings[1].Levels) > 0 || first.Readings[0].Reason != "" {
		t.Errorf("right clips, but says %q; left says %q", first.Readings[1].Reason, first.Readings[0].Reason)
	}
}

// A block that came twice is as good as one that was lost: no window with it
// in is read, and the next ones are.
func TestWatchReadsNoBlockTwice(t *testing.T) {
	x := hummed(6, 50, 1e-4)
	copy(x[120000:121024], x[118976:])
	p := &playback{rows: [][]float64{x, hummed(6, 50, 1e-4)}}
	who := newEar("")
	s := &Sitting{Instrument: p, Output: 1, Person: who, Now: time.Now,
		Patching: []calibration.Patching{{Output: "A", Input: 1}, {Output: "B", Input: 2}}}
	var at []float64
	lost := 0
	err := s.WatchHum(context.Background(), 0)
	for _, now := range humRead(who) {
		at, lost = append(at, now.AtS), now.LostFrames
	}
	if !errors.Is(err, errPlayed) || lost != 1024 {
		t.Fatalf("%v, %d frames lost", err, lost)
	}
	for _, s := range at {
		if s >= 2.52 && s < 4.49 {
			t.Errorf("the window that ends at %.2f s was read, the block came twice at 2.5 s", s)
		}
	}
	if last := at[len(at)-1]; last < 5.5 {
		t.Errorf("the last window that was read ended at %.2f s", last)
	}
}
