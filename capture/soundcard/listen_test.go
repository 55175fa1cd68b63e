package soundcard

import (
	"context"
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"boardproof/capture"

	"github.com/gordonklaus/portaudio"
	"go.uber.org/goleak"
)

// count feeds r one block of n frames whose values on input 2 go on counting.
func count(r *ring, at, n int) {
	in, out := block(2, n), block(1, n)
	for i := range in[1] {
		in[1][i] = float32(at + i)
	}
	o := out[0]
	r.process(in, out, portaudio.StreamCallbackTimeInfo{}, 0)
	for _, v := range o {
		if v != 0 {
			panic("an output is not silent")
		}
	}
}

// Whatever the sizes of blocks and the receiver's pauses, what comes out is
// what went in, less what is said to have been left out, in its place.
func TestRingLosesNothingUnsaid(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	r := newRing([]int{2}, 1000)
	sent, want, left, lost := 0, 0, 0, 0
	for range 5000 {
		n := 1 + rng.IntN(300)
		count(r, sent, n)
		sent += n
		if rng.IntN(3) > 0 {
			continue
		}
		full := r.full.Load()
		row := r.take()[0]
		if len(row) > 0 {
			want += lost
			left += lost
			lost = 0
		}
		for _, v := range row {
			if v != float64(want) {
				t.Fatalf("frame %d came as %g", want, v)
			}
			want++
		}
		if full {
			lost = r.goOn()
		}
	}
	if left == 0 || want < sent/10 {
		t.Fatalf("of %d frames %d came, %d were left out: nothing was tested", sent, want, left)
	}
}

func TestRingWithoutAnInputBuffer(t *testing.T) {
	r := newRing([]int{1}, 100)
	count(r, 5, 60)
	r.process(make([][]float32, 1), block(1, 30), portaudio.StreamCallbackTimeInfo{}, 0)
	row := r.take()[0]
	if len(row) != 90 || row[59] != 9 || row[60] != 0 || row[89] != 0 {
		t.Errorf("%d frames, %v", len(row), row[55:])
	}
}

func TestListenEnds(t *testing.T) {
	errEnough := errors.New("enough")
	ended, cancel := context.WithCancel(context.Background())
	cancel()
	for name, c := range map[string]struct {
		ctx  context.Context
		fake *fake
		each error
		req  capture.ListenRequest
		want error
	}{
		"with its context":   {ended, &fake{}, nil, capture.ListenRequest{Inputs: []int{1}}, context.Canceled},
		"with its receiver":  {context.Background(), &fake{}, errEnough, capture.ListenRequest{Inputs: []int{1, 2}}, errEnough},
		"with the device":    {context.Background(), &fake{calls: 20}, nil, capture.ListenRequest{Inputs: []int{1}}, ErrStalled},
		"before it begins":   {context.Background(), &fake{startErr: portaudio.DeviceUnavailable}, nil, capture.ListenRequest{Inputs: []int{1}}, ErrBusy},
		"for want of inputs": {context.Background(), &fake{}, nil, capture.ListenRequest{Inputs: []int{3}}, ErrChannel},
	} {
		before := goleak.IgnoreCurrent()
		err := fakeCard(c.fake).Listen(c.ctx, c.req, func(b capture.Block) error {
			if len(b.Samples) != len(c.req.Inputs) || len(b.Samples[0]) == 0 || b.LostFrames != 0 {
				t.Errorf("%s: a block of %d inputs, %d frames lost", name, len(b.Samples), b.LostFrames)
			}
			return c.each
		})
		if !errors.Is(err, c.want) {
			t.Errorf("ending %s: %v", name, err)
		}
		if opened := c.fake.s != nil; opened != (c.fake.closed == 1) {
			t.Errorf("ending %s: opened %v, closed %d times", name, opened, c.fake.closed)
		}
		goleak.VerifyNone(t, before)
	}
}

// A receiver that takes its time finds everything waiting.
func TestListenWaitsForASlowReceiver(t *testing.T) {
	f := &fake{}
	frames, blocks := 0, 0
	errEnough := errors.New("enough")
	err := fakeCard(f).Listen(context.Background(), capture.ListenRequest{Inputs: []int{1}}, func(b capture.Block) error {
		time.Sleep(200 * time.Millisecond)
		frames, blocks = frames+len(b.Samples[0]), blocks+1
		if b.LostFrames != 0 {
			t.Errorf("%d frames lost", b.LostFrames)
		}
		if blocks == 3 {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) || frames < 3*480 {
		t.Errorf("%d frames in %d blocks, %v", frames, blocks, err)
	}
}
