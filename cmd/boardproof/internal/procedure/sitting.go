package procedure

import (
	"context"
	"errors"
	"fmt"
	"time"

	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// Sitting is one bench, connected, with the person at it.
type Sitting struct {
	Instrument capture.Instrument
	// Output is the channel that plays.
	Output int
	// Patching says which input records which output of the board.
	Patching []calibration.Patching
	// Profile is nil on a bench that was not calibrated.
	Profile *calibration.Profile
	// Person is whoever is at the bench.
	Person talk.Person
	// Repeats, above 0, is how often each signal of a step is taken, whatever
	// the step says.
	Repeats int
	// BoardIn: the operator's word that a board is in even where what comes back
	// is what the loopback lead gives.
	BoardIn bool
	Now     func() time.Time
	// MainsHz is the nominal frequency of the mains, 50 or 60; 0 where nobody named it.
	MainsHz float64

	// made is the last signal, so that repeated takes share one. Several would be
	// as large as the takes.
	made *testsignals.Signal
	// log, where not nil, is what the sitting came to so far.
	log *Record
	// seriesOhms is the resistor in the lead.
	seriesOhms float64
	// conditions are how the bench differs from how the board was found, in a
	// hum hunt. Under any of them the signal may not come through.
	conditions []capture.Condition
	// checked is what the level was found to be right for already, and the gains
	// that were seen.
	checked map[levelChecked]seen
	// oddities are those that the operator goes on with.
	oddities map[string]bool
	// boardSeen: what came back is not the loopback lead, or is said not to be.
	boardSeen bool
	likeLead  string
}

// levelChecked is a level in dBFS in one patch and state of the board.
type levelChecked struct {
	patch, state string
	levelDBFS    float64
}

// CheckProfile reports why no reading can be had with the profile on this
// bench, before anything is played. A profile that only absolute readings
// must be refused with is told to the operator.
func (s *Sitting) CheckProfile(ctx context.Context) error {
	p := s.Profile
	if p == nil {
		return nil
	}
	d := s.Instrument.Describe()
	refused, err := p.Check(d.Device, d.RateHz, s.Now())
	if err != nil {
		return err
	}
	if p.Output != s.Output {
		return fmt.Errorf("profile %s is of output %d, the bench plays on output %d: calibrate the bench again", p.ID, p.Output, s.Output)
	}
	for _, c := range s.Patching {
		if _, err := p.Known(c.Input); err != nil {
			return err
		}
	}
	if refused != "" {
		s.Person.Tell(ctx, talk.Remarkf("absolute readings are refused: %s", refused))
	}
	return nil
}

// Taken is a take that proved itself.
type Taken struct {
	Signal *testsignals.Signal
	Take   *capture.Take
	Proof  *capture.Proof
	// Attempt counts from 1: how often the take had to be made.
	Attempt int
	// load, where not nil, reads the take back from where it is kept.
	load func() (*capture.Take, error)
}

// putDown lets go of the samples of a take that can be read back: the takes of a
// long step at a high rate, each several times, would fill a laptop's memory.
func (t *Taken) putDown() {
	if t.load != nil {
		t.Take.Samples, t.Signal = nil, nil
	}
}

// whole is a take with its samples, and what it is a take of.
func (s *Sitting) whole(t *Taken) (*capture.Take, *testsignals.Signal, error) {
	if t.Take.Samples != nil {
		return t.Take, t.Signal, nil
	}
	take, err := t.load()
	if err != nil {
		return nil, nil, err
	}
	sig, err := s.signal(t.Take.Signal)
	return take, sig, err
}

// maxTries is how often a take is asked for before it is refused.
const maxTries = 3

// maxComputerTries is how often it is where the computer does not keep up,
// which is nobody's work to mend at the board: a machine that spoils every
// second take lets one step in a thousand fail.
const maxComputerTries = 10

// RefusedTake is the reason for which takes kept being thrown away.
type RefusedTake struct {
	Reason string
	// Fault is the kind of the reason, "" where no take was thrown away.
	Fault capture.Fault
	// Last is what the last one showed.
	Last *capture.Proof
}

func (r *RefusedTake) Error() string { return r.Reason }

func (s *Sitting) inputs() []int {
	in := make([]int, len(s.Patching))
	for i, p := range s.Patching {
		in[i] = p.Input
	}
	return in
}

func (s *Sitting) outputs() []string {
	names := make([]string, len(s.Patching))
	for i, p := range s.Patching {
		names[i] = p.Output
	}
	return names
}

// Take plays spec and records it until a take proves itself, at most maxTries
// times, unless it was taken before the sitting was left. The error is a
// *RefusedTake when none did, another when the instrument failed.
func (s *Sitting) Take(ctx context.Context, what string, spec testsignals.Spec, patch capture.Patch, state string) (*Taken, error) {
	return s.takeAgain(ctx, what, spec, patch, state, func() error { return nil })
}

// take is takeAgain at the instrument.
func (s *Sitting) take(ctx context.Context, what string, spec testsignals.Spec, patch capture.Patch, state string, again func() error) (*Taken, error) {
	sig, err := s.signal(spec)
	if err != nil {
		return nil, err
	}
	want := expected(patch)
	var count tries
	for try := 1; ; try++ {
		take, err := s.record(ctx, what, sig, patch, state)
		if err != nil {
			return nil, err
		}
		proof, err := s.check(take, sig, want)
		var bad *capture.BadTake
		switch {
		case err == nil:
			taken := &Taken{Signal: sig, Take: take, Proof: proof, Attempt: try}
			missing, err := s.boardMissing(ctx, taken, patch, state)
			if err != nil {
				return nil, err
			}
			if !missing {
				return taken, nil
			}
			if err := again(); err != nil {
				return nil, err
			}
			continue
		case !errors.As(err, &bad):
			return nil, err
		}
		next, most := count.more(bad)
		if next > most {
			return nil, &RefusedTake{Reason: bad.Error(), Fault: bad.Fault, Last: proof}
		}
		s.Person.Tell(ctx, talk.TakeThrownAway{Reason: bad.Error(), Fault: bad.Fault, Try: next, Of: most})
		if err := again(); err != nil {
			return nil, err
		}
	}
}

// signal is what spec makes, made once in a sitting.
func (s *Sitting) signal(spec testsignals.Spec) (*testsignals.Signal, error) {
	if s.made != nil && s.made.Spec == spec {
		return s.made, nil
	}
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return nil, err
	}
	s.made = sig
	return sig, nil
}

// tries counts takes that were thrown away.
type tries struct{ board, computer int }

// more counts one and says which take comes next of the most that there are.
func (t *tries) more(bad *capture.BadTake) (next, of int) {
	n, most := &t.board, maxTries
	if bad.ByComputer() {
		n, most = &t.computer, maxComputerTries
	}
	*n++
	return *n + 1, most
}

// check is capture.Check, but that under a condition of a hum hunt which keeps
// the marks out, such as a shorted input, the silence is taken without them.
func (s *Sitting) check(take *capture.Take, sig *testsignals.Signal, want capture.Expect) (*capture.Proof, error) {
	proof, err := capture.Check(take, sig, want)
	var bad *capture.BadTake
	if len(s.conditions) > 0 && errors.As(err, &bad) && bad.Fault == capture.NoSignal {
		return capture.Check(take, sig, capture.Expect{NoSignal: true})
	}
	return proof, err
}

// expected is what a take in patch must show.
func expected(patch capture.Patch) capture.Expect {
	return capture.Expect{NoSignal: patch == capture.Terminated || patch == capture.KnownSource}
}

func (s *Sitting) record(ctx context.Context, what string, sig *testsignals.Signal, patch capture.Patch, state string) (*capture.Take, error) {
	s.Person.Tell(ctx, talk.TakeBegun{What: what, Seconds: sig.Seconds()})
	defer s.Person.Tell(ctx, talk.TakeEnded{})
	progress := func(p capture.Progress) {
		p.Inputs = s.inputs()
		s.Person.Tell(ctx, talk.TakeRunning{Progress: p})
	}
	take, err := s.Instrument.Record(ctx, capture.Request{
		Signal: sig, Outputs: []int{s.Output}, Inputs: s.inputs(), Patch: patch, State: state, SeriesOhms: s.seriesOhms, Conditions: s.conditions, Progress: progress,
	})
	if take != nil {
		take.MainsHz = s.MainsHz
	}
	return take, err
}

// ready asks for something to be done, and waits until it is.
func (s *Sitting) ready(ctx context.Context, prompt, caution string) error {
	_, err := s.Person.Ask(ctx, talk.Question{Kind: talk.Do, Prompt: prompt, Caution: caution, Flag: "yes"})
	return err
}

// LevelDBFS is what to play for levelDBu at the board's input. Without a
// profile the output's full scale is not known and assumedFullScaleDBu, what
// interfaces of the trade have at most, is taken.
func (s *Sitting) LevelDBFS(levelDBu float64) float64 {
	if s.Profile == nil {
		return levelDBu - assumedFullScaleDBu
	}
	return s.Profile.LevelDBFS(levelDBu)
}

// assumedFullScaleDBu is a high figure, so that the level played is rather
// too low than too high: common practice, no source.
const assumedFullScaleDBu = 20.0
