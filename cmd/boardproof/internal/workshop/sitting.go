package workshop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"weak"

	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// Again answers beforehand whether a sitting that was left is gone on with. At
// most one is set.
type Again struct {
	GoOn, FromStart bool
	// How says how it is gone on with, of a board or a bench by its name.
	How func(name string) string
}

// setup is what a sitting must meet again to be gone on with, and what was said
// when it began.
type setup struct {
	Meet     json.RawMessage `json:"meet"`
	Notes    string          `json:"notes,omitempty"`
	Corrects string          `json:"corrects,omitempty"`
}

// book is a sitting's journal in the store.
type book struct {
	store   *db.Store
	sitting db.Sitting // its ID is empty until something is to be written
	setup   setup
	// past is what was kept before the sitting was left, entries that and what
	// came after.
	past, entries []procedure.Entry
	// refs are of takes whose samples may go.
	refs takeRefs
	// ends are all sittings that end with what comes of this one.
	ends []string
	// again says how to go on.
	again string
}

// takeRefs are the files of takes. It keeps none of them in memory.
type takeRefs map[weak.Pointer[capture.Take]]db.TakeRef

// openBook finds the sitting that was left and can be gone on with, asks
// whether to, and otherwise makes the book of a new one.
func (w *Workshop) openBook(ctx context.Context, of db.Sitting, meet any, said setup, f Again, name string) (*book, error) {
	text, err := json.Marshal(meet)
	if err != nil {
		return nil, err
	}
	said.Meet = text
	b := &book{store: w.Store, sitting: of, setup: said, refs: takeRefs{}}
	if f.How != nil {
		b.again = f.How(name)
	}
	if b.sitting.Setup, err = json.Marshal(said); err != nil {
		return nil, err
	}
	left, err := b.findLeft(ctx)
	if err != nil {
		return nil, err
	}
	if left == nil {
		if f.GoOn {
			return nil, invalidf("there is no sitting to go on with that has this plan, profile, bench and these flags: leave --go-on out")
		}
		if len(b.ends) > 0 {
			w.Person.Tell(ctx, talk.Remarkf("a sitting was left that cannot be gone on with, as its plan, profile, bench or flags were others: beginning anew"))
		}
		return b, nil
	}
	went, err := w.goesOn(ctx, b, *left, f)
	if err != nil || !went {
		return b, err
	}
	return b, b.take(ctx, *left)
}

// findLeft is the latest sitting that meets what it must; nil for none. All
// that were left of the same board or bench are in b.ends.
func (b *book) findLeft(ctx context.Context) (*db.Sitting, error) {
	open, err := b.store.OpenSittings(ctx)
	if err != nil {
		return nil, err
	}
	var left *db.Sitting
	for _, o := range open {
		if o.Kind != b.sitting.Kind || o.BoardID != b.sitting.BoardID || o.BoardID == 0 && o.Bench != b.sitting.Bench {
			continue
		}
		b.ends = append(b.ends, o.ID)
		var was setup
		if json.Unmarshal(o.Setup, &was) == nil && bytes.Equal(was.Meet, b.setup.Meet) {
			left = &o
		}
	}
	return left, nil
}

// goesOn asks whether to go on. Nobody being there to ask, it begins anew: what
// was taken then may be of a board that was mended since.
func (w *Workshop) goesOn(ctx context.Context, b *book, left db.Sitting, f Again) (bool, error) {
	entries, err := b.store.Entries(ctx, left.ID)
	if err != nil || f.FromStart {
		return false, err
	}
	if f.GoOn {
		return true, nil
	}
	steps := procedure.Steps(entriesOf(b.store, entries, nil))
	if steps == 0 {
		return false, nil
	}
	said := fmt.Sprintf("a sitting of %s was left after %d of its prompts", local(left.Started), steps)
	answer, err := w.Person.Ask(ctx, talk.Question{Kind: talk.Choose, Prompt: said + ": go on with it? Where anything was changed since, begin anew", Flag: "go-on",
		Choices: []talk.Choice{{Key: "", Means: "go on"}, {Key: "n", Means: "begin anew"}}})
	if errors.Is(err, talk.ErrNobody) {
		w.Person.Tell(ctx, talk.Remarkf("%s: --go-on goes on with it; beginning anew", said))
		return false, nil
	}
	return answer.Key == "", err
}

// take makes left the sitting of b.
func (b *book) take(ctx context.Context, left db.Sitting) error {
	entries, err := b.store.Entries(ctx, left.ID)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(left.Setup, &b.setup); err != nil {
		return fmt.Errorf("reading sitting %s: %w", left.ID, err)
	}
	b.sitting = left
	b.past = entriesOf(b.store, entries, b.refs)
	b.entries = b.past
	return nil
}

// entriesOf gives entries as a sitting takes them. A take that is loaded is
// put into refs, so that it is not kept twice.
func entriesOf(s *db.Store, kept []db.SittingEntry, refs takeRefs) []procedure.Entry {
	all := make([]procedure.Entry, len(kept))
	for i, k := range kept {
		e := procedure.Entry{What: k.What, Prompt: k.Prompt, Refused: k.Refused, Fault: capture.Fault(k.Fault), Last: k.Last, Answer: k.Answer}
		if k.Take != nil {
			ref := *k.Take
			e.Take, e.Attempt = &ref.Take, ref.Attempt
			e.Load = func() (*capture.Take, error) {
				take, err := s.LoadTake(ref)
				if err == nil {
					refs[weak.Make(take)] = ref
				}
				return take, err
			}
		}
		all[i] = e
	}
	return all
}

// Keep writes an entry into the store; the first one opens the sitting.
func (b *book) Keep(ctx context.Context, e procedure.Entry) (load func() (*capture.Take, error), err error) {
	if b.sitting.ID == "" {
		begun, err := b.store.BeginSitting(ctx, b.sitting)
		if err != nil {
			return nil, err
		}
		b.sitting = begun
	}
	kept := db.SittingEntry{What: e.What, Prompt: e.Prompt, Refused: e.Refused, Fault: string(e.Fault), Last: e.Last, Answer: e.Answer}
	if e.Take != nil {
		ref, err := b.store.SaveTake(e.Take, e.What, e.Attempt)
		if err != nil {
			return nil, err
		}
		b.refs[weak.Make(e.Take)] = ref
		kept.Take, e.Take = &ref, &ref.Take
		load = func() (*capture.Take, error) { return b.store.LoadTake(ref) }
	}
	if err := b.store.KeepEntry(ctx, b.sitting.ID, kept); err != nil {
		return nil, err
	}
	b.entries = append(b.entries, e)
	return load, nil
}

// closes are the sittings that end once something came of b.
func (b *book) closes() []string {
	if b.sitting.ID == "" {
		return b.ends
	}
	return append(b.ends, b.sitting.ID)
}

// left says of a sitting that ended early how to go on with it.
func (b *book) left(ctx context.Context, err error) error {
	steps := procedure.Steps(b.entries)
	if err == nil || b.sitting.ID == "" || steps == 0 {
		return err
	}
	how := fmt.Sprintf("what was taken up to prompt %d is kept: %s offers to go on from there", steps, b.again)
	if ctx.Err() != nil || errors.Is(err, talk.ErrStopped) {
		return unmeasured(fmt.Errorf("stopped; the output is silent; %s", how))
	}
	return fmt.Errorf("%w; %s", err, how)
}

// ref names the file of a take that the sitting kept.
func (b *book) ref(take *capture.Take) (db.TakeRef, bool) {
	ref, ok := b.refs[weak.Make(take)]
	return ref, ok
}

// forget removes what the sitting took and nothing needs; Tidy does what fails
// here.
func (b *book) forget(ctx context.Context) {
	if b.sitting.ID != "" {
		b.store.Forget(ctx, b.sitting.ID) //nolint:errcheck // as above
	}
}
