package simboard

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"boardproof/capture"
)

const (
	// listenBlockS is the length of a block.
	listenBlockS = 0.1
	// waitingS is how far the receiver may lag before frames are left out, as
	// behind a sound card.
	waitingS = 8.0
)

// Listen hands on what the inputs record; see capture.Listener. It goes by the
// clock but where the Config says Unpaced. Mains, tones and swings run on from
// block to block. The noise is made in pieces of two blocks that fade into one
// another in power; a change of conditions is heard in the hum with the next
// block. Joints stay closed.
func (s *Simboard) Listen(ctx context.Context, req capture.ListenRequest, each func(capture.Block) error) error {
	return fmt.Errorf("listening on the simulated bench: %w", s.listen(ctx, req, each))
}

// listen goes on until there is an error.
func (s *Simboard) listen(ctx context.Context, req capture.ListenRequest, each func(capture.Block) error) error {
	l, err := s.newListening(req)
	if err != nil {
		return err
	}
	for {
		lost, err := l.wait(ctx)
		if err != nil {
			return err
		}
		samples, err := l.block()
		if err != nil {
			return err
		}
		if err := each(capture.Block{Samples: samples, LostFrames: lost}); err != nil {
			return err
		}
	}
}

// listening is a bench that is listened to.
type listening struct {
	*run
	req     capture.ListenRequest
	frames  int // of a block
	done    int // frames so far
	began   time.Time
	now     []capture.Condition
	heard   []heard     // of each input under now
	fading  [][]float64 // second half of each input's last piece of noise
	ringing map[ringing]*oscillator
}

// ringing is one tone at one input.
type ringing struct {
	channel int
	tone    Tone
}

func (s *Simboard) newListening(req capture.ListenRequest) (*listening, error) {
	if req.Patch == "" {
		req.Patch = capture.ToBoard
	}
	asked := capture.Request{Inputs: req.Inputs, Patch: req.Patch}
	if err := s.checkInputs(asked); err != nil {
		return nil, err
	}
	rate := float64(s.cfg.RateHz)
	rng := rand.New(rand.NewPCG(s.cfg.Seed, s.takes))
	s.takes++
	l := &listening{
		run: &run{bench: s, req: asked, rateHz: rate, rng: rng, startS: s.elapsedS, track: newTrack(s.cfg.Mains, listenBlockS, rng)},
		req: req, frames: goodSize(int(2*listenBlockS*rate)) / 2, began: time.Now(), ringing: map[ringing]*oscillator{},
	}
	l.transform = newTransform(2*l.frames, rate)
	if err := l.meet(); err != nil {
		return nil, err
	}
	l.fading = make([][]float64, len(req.Inputs))
	l.noise()
	return l, nil
}

// meet brings the bench under the conditions of the moment.
func (l *listening) meet() error {
	var now []capture.Condition
	if l.req.Conditions != nil {
		now = slices.Clone(l.req.Conditions())
	}
	if l.cfg != nil && slices.Equal(now, l.now) {
		return nil
	}
	cfg, err := l.bench.cfg.under(now)
	if err != nil {
		return err
	}
	effects, err := cfg.Board.effects("")
	if err != nil {
		return err
	}
	l.now, l.cfg, l.effects = now, cfg, effects
	l.wires = newWires(cfg, l.run.req.Patch)
	l.heard = nil
	for _, ch := range l.req.Inputs {
		l.heard = append(l.heard, l.heardAt(ch))
	}
	return nil
}

// wait returns when the next block has come in, and how many frames before it
// had to be left out.
func (l *listening) wait(ctx context.Context) (lost int, err error) {
	if l.bench.cfg.Unpaced {
		return 0, ctx.Err()
	}
	due := time.Duration(float64(l.done+l.frames) / l.rateHz * float64(time.Second))
	timer := time.NewTimer(time.Until(l.began.Add(due)))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return 0, ctx.Err()
	case <-timer.C:
	}
	if late := (time.Since(l.began) - due).Seconds(); late > waitingS {
		lost = int(late * l.rateHz)
		l.done += lost
	}
	return lost, nil
}

// block makes the next block of every input.
func (l *listening) block() ([][]float64, error) {
	if err := l.meet(); err != nil {
		return nil, err
	}
	clock := l.rateHz * (1 + l.cfg.Interface.ClockPPM*1e-6)
	l.track.extend(l.cfg.Mains, float64(l.done+l.frames)/clock, l.rng)
	samples := l.noise()
	for i, ch := range l.req.Inputs {
		in, h := &l.cfg.Interface.Inputs[ch-1], l.heard[i]
		l.track.addHum(samples[i], h.hum, in, l.done, clock, l.startS)
		for _, t := range h.own {
			if t.FrequencyHz < l.rateHz/2 {
				l.ring(ch, t, l.rng).add(samples[i], in, clock)
			}
		}
		for _, t := range h.common {
			l.ring(ch, t, l.bench.commonRand(t)).add(samples[i], in, clock)
		}
		l.bench.digitise(samples[i], ch)
	}
	l.done += l.frames
	l.bench.elapsedS = l.startS + float64(l.done)/l.rateHz
	return samples, nil
}

// ring is the oscillator of a tone at an input, made with rng where the tone
// was not heard before.
func (l *listening) ring(channel int, t Tone, rng *rand.Rand) *oscillator {
	key := ringing{channel, t}
	if l.ringing[key] == nil {
		l.ringing[key] = newOscillator(t, rng)
	}
	return l.ringing[key]
}

// noise makes the next block of each input's noise: the end of the piece
// before and the beginning of a new one, whose weights add to 1 in power.
func (l *listening) noise() [][]float64 {
	emf, buffer := l.before()
	samples := make([][]float64, len(l.req.Inputs))
	for i, ch := range l.req.Inputs {
		bins := l.terminals(ch, emf, buffer)
		l.received(bins, &l.cfg.Interface.Inputs[ch-1])
		piece := l.transform.inverse(bins)
		for k := range piece {
			piece[k] *= math.Sin(math.Pi * (float64(k) + 0.5) / float64(len(piece)))
		}
		samples[i] = piece[:l.frames:l.frames]
		for k, v := range l.fading[i] {
			samples[i][k] += v
		}
		l.fading[i] = piece[l.frames:]
	}
	return samples
}
