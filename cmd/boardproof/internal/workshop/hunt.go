package workshop

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

// HuntRequest asks for a hum hunt at a bench. The rounds of each condition are
// Use.Repeats, at least 1.
type HuntRequest struct {
	Use
	// Board is its label or serial, Name what the hunt is called.
	Board, Name string
	// Operator is who measures.
	Operator, Notes string
	// Conditions are tried in order; none lets the person choose.
	Conditions []string
	// Without is what is not at hand: isolator, battery, laptop-battery, lights.
	Without []string
	// Devices: the one device is searched for that hums, taking the others out by
	// supply or by bypass, as By says.
	Devices bool
	By      string
	// AtMost is how many silences are recorded at most, 0 for no bound.
	AtMost int
	// Seconds is the length of each silence.
	Seconds float64
	// Ready is as in an AcceptRequest.
	Ready func() error
}

// The lengths of a silence that make sense.
const shortestSilenceS, longestSilenceS = 2, 120

// Check finds what is wrong with r before anything is opened.
func (r HuntRequest) Check() error {
	if err := r.Use.Check(); err != nil {
		return err
	}
	switch {
	case r.Repeats < 1:
		return fieldf("repeats", " %d is less than once", r.Repeats)
	case r.AtMost < 0:
		return fieldf("at-most", " %d is no number of silences", r.AtMost)
	case !(r.Seconds >= shortestSilenceS && r.Seconds <= longestSilenceS):
		return fieldf("seconds", " %g is outside %d to %d", r.Seconds, shortestSilenceS, longestSilenceS)
	case r.Devices && len(r.Conditions) > 0:
		return fieldf("devices", " makes its own conditions: leave --condition and --recorded out")
	case r.Devices && r.Repeats > 1:
		return fieldf("devices", " repeats what was moving by itself: leave --repeats out")
	case r.By != "supply" && r.By != "bypass":
		return fieldf("by", " %q is not supply or bypass", r.By)
	}
	return nil
}

// huntSetup is what can be changed at the bench, of which without is not at hand.
func huntSetup(board db.Board, without []string, profile bool) (hunt.Board, error) {
	b := hunt.Board{Outputs: board.Outputs, Battery: true, LaptopBattery: true, Isolator: true, Profile: profile}
	for _, d := range board.Chain {
		b.Devices = append(b.Devices, d.Name)
		if d.SupplyV == 0 && d.SupplyMA == 0 {
			b.Passive = append(b.Passive, d.Name)
		}
	}
	if len(b.Passive) == len(b.Devices) {
		b.Passive = nil // nobody told of the supplies
	}
	for _, w := range without {
		switch strings.TrimSpace(w) {
		case "isolator":
			b.Isolator = false
		case "battery":
			b.Battery = false
		case "laptop-battery":
			b.LaptopBattery = false
		case "lights":
			b.NoLights = true
		default:
			return b, fieldf("without", " %q is not isolator, battery, laptop-battery or lights", w)
		}
	}
	return b, nil
}

// Hunt hunts hum at a bench and keeps the hunt. A hunt that is stopped is kept
// as far as it came once there is something to compare; then there is an error.
func (w *Workshop) Hunt(ctx context.Context, r HuntRequest) (*db.Hunt, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	board, err := w.Store.FindBoard(ctx, r.Board)
	if err != nil {
		return nil, err
	}
	if r.Ready != nil {
		if err := r.Ready(); err != nil {
			return nil, err
		}
	}
	b, err := w.ChooseBench(ctx, r.Bench)
	if err != nil {
		return nil, err
	}
	profile, err := w.LatestProfile(ctx, b.Name)
	if err != nil {
		return nil, err
	}
	setup, err := huntSetup(board, r.Without, profile != nil)
	if err != nil {
		return nil, err
	}
	conditions, err := conditionsOf(r.Conditions, setup)
	if err != nil {
		return nil, err
	}
	if r.Devices && len(setup.Devices) == 0 {
		return nil, invalidf("board %s has no devices to search through: 'boardproof board add' names them", board.Label)
	}
	r.chain = setup.Devices
	in, closeDevice, err := w.open(b, r.Simulation)
	if err != nil {
		return nil, err
	}
	defer closeDevice() //nolint:errcheck // the takes are in by then
	sit, err := w.sitting(ctx, b, in, board.Outputs, profile)
	if err != nil {
		return nil, err
	}
	sit.BoardIn = r.BoardIn
	began := w.Now()
	_, note, err := w.checkBench(ctx, sit, r.Use)
	if err != nil {
		return nil, err
	}
	h := &procedure.Hunt{Sitting: sit, Board: setup, SilenceS: r.Seconds, AtMost: r.AtMost, Rounds: r.Repeats, Conditions: conditions}
	kept := db.Hunt{BoardID: board.ID, Name: r.Name, Bench: b.Name, Simulated: in.Describe().Simulated, Operator: r.Operator,
		Started: began, Setup: setup, Notes: joinNotes(r.Notes, note)}
	if profile != nil {
		kept.ProfileID = profile.ID
	} else {
		w.Person.Tell(ctx, talk.Remark{Severity: talk.Note, Text: "the bench has no profile: levels are under full scale and its own hum is not known; changes are as good as ever"})
	}
	return w.carryOut(ctx, h, kept, r)
}

// carryOut hunts and keeps.
func (w *Workshop) carryOut(ctx context.Context, h *procedure.Hunt, kept db.Hunt, r HuntRequest) (*db.Hunt, error) {
	var err error
	if r.Devices {
		kept.Search = hunt.SupplyOff
		if r.By == "bypass" {
			kept.Search = hunt.DeviceBypassed
		}
		kept.Finding, err = h.Search(ctx, kept.Search)
	} else if err = h.Run(ctx); len(h.Done) > 0 {
		kept.Finding = hunt.Find(h.Board, h.Readings())
	}
	if err != nil && len(h.Done) < 2 {
		return nil, err
	}
	kept.Unfinished = err != nil
	kept.Notes = joinNotes(kept.Notes, h.LikeLead())
	kept, keepErr := w.keepHunt(ctx, kept, h)
	switch {
	case keepErr != nil:
		return nil, errors.Join(err, keepErr)
	case err != nil:
		return nil, stoppedHunt(ctx, err, kept)
	}
	return &kept, nil
}

// stoppedHunt says how far an unfinished hunt came. Its error is not that of
// the context, after which nothing would have been kept.
func stoppedHunt(ctx context.Context, err error, kept db.Hunt) error {
	have := fmt.Sprintf("kept as unfinished, with its silences so far (%d): 'boardproof hum show %s'", len(kept.Conditions), kept.ID)
	if ctx.Err() != nil || errors.Is(err, talk.ErrStopped) {
		return unmeasured(fmt.Errorf("stopped; the output is silent; the hunt is not finished: %s", have))
	}
	return fmt.Errorf("%w; the hunt is not finished: %s", err, have)
}

// keepHunt puts the takes on the disk and then the hunt that names them. Once
// begun it is not interrupted.
func (w *Workshop) keepHunt(ctx context.Context, kept db.Hunt, h *procedure.Hunt) (db.Hunt, error) {
	ctx = context.WithoutCancel(ctx)
	kept.Finished, kept.MethodVersion = w.Now(), analysis.MethodVersion
	for _, d := range h.Done {
		ref, err := w.Store.SaveTake(d.Take, d.Condition.String(), d.Attempt)
		if err != nil {
			return kept, err
		}
		kept.Conditions = append(kept.Conditions, db.HuntCondition{Condition: d.Condition, On: d.On, Why: d.Why, Readings: d.Readings, Take: ref})
	}
	return w.Store.SaveHunt(ctx, kept)
}

// conditionsOf are the conditions that are tried in order, nil where none is given.
func conditionsOf(texts []string, setup hunt.Board) ([]hunt.Condition, error) {
	if len(texts) == 0 {
		return nil, nil
	}
	queue := []hunt.Condition{}
	for _, text := range texts {
		c, err := procedure.ParseCondition(text, setup)
		if err != nil {
			return nil, fieldf("condition", ": %w", err)
		}
		queue = append(queue, c)
	}
	// As found comes first anyway.
	if queue[0] == hunt.AsFound {
		queue = queue[1:]
	}
	return queue, nil
}

// Hunts are the hum hunts of a board, or for "" of all.
func (w *Workshop) Hunts(ctx context.Context, board string) ([]db.Hunt, error) {
	var id int64
	if board != "" {
		b, err := w.Store.FindBoard(ctx, board)
		if err != nil {
			return nil, err
		}
		id = b.ID
	}
	return w.Store.Hunts(ctx, id)
}

// FindHunt finds a hunt by its id, the latest one of a board, or for "" the
// latest one of all.
func (w *Workshop) FindHunt(ctx context.Context, name string) (db.Hunt, error) {
	if isHuntID.MatchString(name) {
		return w.Store.FindHunt(ctx, name)
	}
	var board db.Board
	if name != "" {
		var err error
		if board, err = w.Store.FindBoard(ctx, name); err != nil {
			return db.Hunt{}, err
		}
	}
	hunts, err := w.Store.Hunts(ctx, board.ID)
	if err != nil {
		return db.Hunt{}, err
	}
	if len(hunts) == 0 && name != "" {
		return db.Hunt{}, invalidf("board %s has no hum hunts yet: 'boardproof hum hunt %q'", board.Label, board.Label)
	}
	if len(hunts) == 0 {
		return db.Hunt{}, invalidf("there are no hum hunts yet: 'boardproof hum hunt BOARD'")
	}
	return w.Store.FindHunt(ctx, hunts[len(hunts)-1].ID)
}

// isHuntID tells a hunt's name, or its beginning, from a board's label.
var isHuntID = regexp.MustCompile(`^[hH]\d{1,8}(-\d*)?$`)
