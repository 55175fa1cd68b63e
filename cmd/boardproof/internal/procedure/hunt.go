package procedure

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"boardproof/analysis/hunt"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// huntLevelDBu is the level at the board's input that the marks beside each
// silence are derived from, as in a single measurement.
const huntLevelDBu = -10

// Hunt is a hum hunt under way: the board's silences under one condition after
// another.
type Hunt struct {
	*Sitting
	Board hunt.Board
	// SilenceS is the length of each silence in seconds; 0 is the default.
	SilenceS float64
	// AtMost, above 0, is how many silences are recorded at most.
	AtMost int
	// Rounds, above 1, is how often each condition is recorded in all, the
	// later rounds in random order.
	Rounds int
	// Conditions, where not nil, are all that is tried after the board as found,
	// in order. Otherwise the person is asked, or, where nobody is there, the
	// proposals are followed.
	Conditions []hunt.Condition
	// Done are the silences so far; each is whole.
	Done []HuntTake

	began time.Time
	// searchedBy is how a search takes devices out, "" where none is on.
	searchedBy string
	// choosing: what is tried now was chosen from a list by a person.
	choosing bool
	// alone: nobody is there to choose.
	alone bool
	// restless are the reasons for which a repeat was no better than the
	// silence before it: what always moves is not asked about again.
	restless []string
}

// HuntTake is one silence of a hunt.
type HuntTake struct {
	hunt.Condition
	// On are the devices that were on, in a search for one of them.
	On []string
	// Why says why it was proposed, "" where the operator chose it.
	Why      string
	Readings []hunt.Reading
	Take     *capture.Take
	Attempt  int
}

// Choice is what to do next in a hunt.
type Choice struct {
	hunt.Condition
	Why string
	// End: the hunt is over.
	End bool
}

// Run carries the hunt out: as found, then whatever is chosen, then further
// rounds. What was recorded before an error is in Done, whole.
func (h *Hunt) Run(ctx context.Context) error {
	if err := h.tried(ctx, Choice{}, nil); err != nil {
		return err
	}
	for h.room() {
		c, err := h.next(ctx)
		if err != nil {
			return err
		}
		if c.End {
			break
		}
		err = h.tried(ctx, c, nil)
		h.choosing = false
		if err != nil && !errors.Is(err, talk.ErrBack) {
			return err
		}
	}
	for round := 2; round <= h.Rounds; round++ {
		all := h.Tried()
		rand.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		for _, c := range all {
			if err := h.tried(ctx, Choice{Condition: c, Why: fmt.Sprintf("round %d of %d, in random order, against drift", round, h.Rounds)}, nil); err != nil {
				return err
			}
		}
	}
	return nil
}

// room says whether one more silence may be recorded.
func (h *Hunt) room() bool { return h.AtMost == 0 || len(h.Done) < h.AtMost }

// tried records a condition and tells of it, and once more where it was moving.
func (h *Hunt) tried(ctx context.Context, c Choice, search *searching) error {
	for before := ""; ; {
		if err := h.record(ctx, c, search); err != nil {
			return fmt.Errorf("%s: %w", c.Condition, err)
		}
		h.tell(ctx)
		moving := movingIn(h.Done[len(h.Done)-1].Readings)
		if before != "" && moving == before {
			h.restless = append(h.restless, moving)
			h.Person.Tell(ctx, talk.Remarkf("it was so again: %s; repeats do not help and are not asked for again for that", moving))
		}
		if moving == "" || before != "" || slices.Contains(h.restless, moving) || !h.room() {
			return nil
		}
		if again, err := h.again(ctx, moving); err != nil || !again {
			return err
		}
		before = moving
		c.Why = "repeated: " + moving
	}
}

// again asks whether a silence is to be repeated in which something was moving.
// Where nobody is there it is.
func (h *Hunt) again(ctx context.Context, moving string) (bool, error) {
	a, err := h.Person.Ask(ctx, talk.Question{Kind: talk.Choose, Prompt: "this silence is not a sure one: " + moving, Flag: "yes",
		How: "Enter repeats it, s and Enter goes on without", Choices: []talk.Choice{{Key: "", Means: "repeat it"}, {Key: "s", Means: "go on without"}}})
	if errors.Is(err, talk.ErrNobody) {
		return true, nil
	}
	return a.Key == "", err
}

// tell tells what the last silence gave and what the hunt says so far.
func (h *Hunt) tell(ctx context.Context) {
	last := h.Done[len(h.Done)-1]
	h.Person.Tell(ctx, talk.SilenceRead{N: len(h.Done), Condition: last.Condition, Why: last.Why, Readings: last.Readings,
		Changes: hunt.Changes(h.Readings()), Says: h.says()})
}

func (h *Hunt) says() string {
	if slices.ContainsFunc(h.Done, func(d HuntTake) bool { return d.On != nil }) {
		_, f := h.Searched()
		return f.Text
	}
	f := hunt.Find(h.Board, h.Readings())
	if f.Decided {
		return f.Text
	}
	return f.Weighing.Summary
}

func movingIn(readings []hunt.Reading) string {
	for _, r := range readings {
		if r.Moving != "" {
			return r.Moving
		}
	}
	return ""
}

// record asks for a condition and reads the silence under it. search is nil
// but in a search, where it makes the condition up.
func (h *Hunt) record(ctx context.Context, c Choice, search *searching) error {
	if len(h.Done) == 0 {
		h.began = h.Now()
	}
	prompt, caution := h.prepare(c, search)
	q := talk.Question{Kind: talk.Do, Prompt: prompt, Caution: caution, Back: h.choosing, Flag: "yes"}
	if _, err := h.Person.Ask(ctx, q); err != nil {
		return err
	}
	spec := testsignals.New(testsignals.Silence, h.Instrument.Describe().RateHz, h.LevelDBFS(huntLevelDBu), h.SilenceS)
	at := h.Now().Sub(h.began).Seconds()
	taken, err := h.Take(ctx, "silence, "+c.Condition.String(), spec, capture.ToBoard, "")
	if err != nil {
		return err
	}
	rec, err := h.Recording(taken)
	if err != nil {
		return err
	}
	if len(h.conditions) > 0 {
		// A silence is read also where no mark came through.
		rec.Problems = nil
	}
	readings, err := hunt.Read(rec, c.Condition)
	if err != nil {
		return err
	}
	for i := range readings {
		readings[i].AtS = at
	}
	done := HuntTake{Condition: c.Condition, Why: c.Why, Readings: readings, Take: taken.Take, Attempt: taken.Attempt}
	if search != nil {
		done.On = search.on
	}
	h.Done = append(h.Done, done)
	return nil
}

// prepare sets the conditions of the next silence, and says what to do for
// them and what to mind.
func (h *Hunt) prepare(c Choice, search *searching) (prompt, caution string) {
	first := len(h.Done) == 0
	if search != nil {
		h.conditions = search.conditions()
		return search.handWork(first)
	}
	before := hunt.AsFound
	if !first {
		before = h.Done[len(h.Done)-1].Condition
	}
	h.conditions = nil
	if c.Condition != hunt.AsFound {
		h.conditions = []capture.Condition{{Change: capture.Change(c.Change), Subject: c.Subject}}
	}
	return handWork(c.Condition, before, first)
}

// AddRecorded takes into the hunt a recording made elsewhere, in which nothing
// was played, and tells of it. volts is the peak voltage at which a sample reads 1.0, 0 where
// that is not known. The error is a *capture.BadTake where the recording
// cannot be read.
func (h *Hunt) AddRecorded(ctx context.Context, file wholeTake, c hunt.Condition, volts float64) error {
	take, rec, err := h.wholeRecording(file, volts)
	if err != nil {
		return err
	}
	if c != hunt.AsFound {
		take.Conditions = []capture.Condition{{Change: capture.Change(c.Change), Subject: c.Subject}}
	}
	readings, err := hunt.Read(rec, c)
	if err != nil {
		return err
	}
	h.Done = append(h.Done, HuntTake{Condition: c, Readings: readings, Take: take, Attempt: 1})
	h.tell(ctx)
	return nil
}

// Readings are those of all silences so far.
func (h *Hunt) Readings() []hunt.Reading {
	var all []hunt.Reading
	for _, d := range h.Done {
		all = append(all, d.Readings...)
	}
	return all
}

// Tried lists the conditions so far, each once.
func (h *Hunt) Tried() []hunt.Condition {
	var all []hunt.Condition
	for _, d := range h.Done {
		if !slices.Contains(all, d.Condition) {
			all = append(all, d.Condition)
		}
	}
	return all
}
