package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/db"
)

type huntFlags struct {
	useFlags
	name, operator, notes, plots string
	conditions, recorded         []string
	outputs, inputFullScale      string
	without                      []string
	devices                      bool
	by                           string
	atMost                       int
	seconds                      float64
}

// The lengths of a silence that make sense.
const shortestSilenceS, longestSilenceS = 2, 120

func (a *app) humHuntCommand() *cobra.Command {
	var f huntFlags
	cmd := &cobra.Command{
		Use:   "hunt BOARD",
		Short: "Find what a board hums from: one condition after another, each measured",
		Long: "Record the board in silence as it was found, then under one condition after another, and\n" +
			"say after each what it changed and what that means. It proposes the condition that would\n" +
			"tell most; you take it, choose another, or name one of your own. --condition gives them\n" +
			"beforehand, in order; --yes follows the proposals until the cause is clear.\n\n" +
			"Conditions: " + strings.Join(procedure.KnownChanges()[:3], ", ") + ",\n" +
			strings.Join(procedure.KnownChanges()[3:7], ", ") + ",\n" +
			strings.Join(procedure.KnownChanges()[7:], ", ") + ",\n" +
			"\"as found\", or words of your own. As in\n" +
			"  --condition \"output unplugged=B\" --condition \"lights off\" --condition \"phone away\"\n" +
			"Recordings made elsewhere, in which nothing was played, each with its condition:\n" +
			"  --recorded \"as found:a.wav\" --recorded \"output unplugged=B:b.wav\"\n\n" +
			"The protective earth is never lifted.",
		Args: exactArgs("a board's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd.Context(), func(s *db.Store) error { return a.humHunt(cmd.Context(), s, args[0], f) })
		},
	}
	f.benchFlags.add(cmd)
	fl := cmd.Flags()
	f.addBoardIn(cmd)
	fl.BoolVar(&f.noCheck, "no-check", false, "do not check the bench against its profile before use; the hunt says so")
	fl.IntVar(&f.repeats, "repeats", 1, "record each condition so often, later rounds in random order, against drift")
	fl.StringVar(&f.name, "name", "", "what to call the hunt")
	fl.StringArrayVar(&f.conditions, "condition", nil, "try this condition; repeat in order, then the hunt ends")
	fl.StringArrayVar(&f.recorded, "recorded", nil, "read CONDITION:FILE.wav instead of recording; repeat for each")
	fl.StringVar(&f.outputs, "outputs", "A=1,B=2", "with --recorded: which channel holds which output")
	fl.StringVar(&f.inputFullScale, "input-full-scale", "", "with --recorded: level at which the recorder reads full scale, as in 12dBu")
	fl.BoolVar(&f.devices, "devices", false, "search for the one device of the chain that hums, halving it each time")
	fl.StringVar(&f.by, "by", "supply", "with --devices: take devices out by their supply, or by a bypass lead")
	fl.StringSliceVar(&f.without, "without", nil, "what is not at hand: isolator, battery, laptop-battery, lights")
	fl.IntVar(&f.atMost, "at-most", 0, "record at most so many silences (default: 9 with --yes)")
	fl.Float64Var(&f.seconds, "seconds", 8, "length of each silence")
	fl.StringVar(&f.operator, "operator", os.Getenv("USER"), "who measures")
	fl.StringVar(&f.notes, "notes", "", "anything worth keeping with the hunt")
	fl.StringVar(&f.plots, "plots", "", "folder for the plots (default: beside the database)")
	return cmd
}

func (f *huntFlags) check() error {
	if err := f.useFlags.check(); err != nil {
		return err
	}
	switch {
	case f.repeats < 1:
		return wrongUsef("--repeats %d is less than once", f.repeats)
	case f.atMost < 0:
		return wrongUsef("--at-most %d is no number of silences", f.atMost)
	case !(f.seconds >= shortestSilenceS && f.seconds <= longestSilenceS):
		return wrongUsef("--seconds %g is outside %d to %d", f.seconds, shortestSilenceS, longestSilenceS)
	case f.devices && len(f.conditions)+len(f.recorded) > 0:
		return wrongUsef("--devices makes its own conditions: leave --condition and --recorded out")
	case f.devices && f.repeats > 1:
		return wrongUsef("--devices repeats what was moving by itself: leave --repeats out")
	case f.by != "supply" && f.by != "bypass":
		return wrongUsef("--by %q is not supply or bypass", f.by)
	case len(f.recorded) > 0 && (f.bench != "" || f.simulate != "" || len(f.conditions) > 0):
		return wrongUsef("--bench, --simulate and --condition are for hunting at the bench, --recorded is made elsewhere")
	case len(f.recorded) == 0 && f.inputFullScale != "":
		return wrongUsef("--input-full-scale goes with --recorded CONDITION:FILE.wav")
	}
	return nil
}

// setup is what can be changed at the bench.
func (f *huntFlags) setup(board db.Board, profile bool) (hunt.Board, error) {
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
	for _, w := range f.without {
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
			return b, wrongUsef("--without %q is not isolator, battery, laptop-battery or lights", w)
		}
	}
	return b, nil
}

func (a *app) humHunt(ctx context.Context, s *db.Store, name string, f huntFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	board, err := s.FindBoard(ctx, name)
	if err != nil {
		return err
	}
	if f.plots != "" {
		if err := makePlotsDir(f.plots); err != nil {
			return err
		}
	}
	if len(f.recorded) > 0 {
		return a.huntRecorded(ctx, s, board, f)
	}
	b, err := chooseBench(ctx, s, f.benchFlags)
	if err != nil {
		return err
	}
	profile, err := latestProfile(ctx, s, b.Name)
	if err != nil {
		return err
	}
	setup, err := f.setup(board, profile != nil)
	if err != nil {
		return err
	}
	conditions, err := f.queue(setup)
	if err != nil {
		return err
	}
	if f.devices && len(setup.Devices) == 0 {
		return wrongUsef("board %s has no devices to search through: 'boardproof board add' names them", board.Label)
	}
	f.chain = setup.Devices
	in, closeDevice, err := a.openInstrument(b, f.benchFlags)
	if err != nil {
		return err
	}
	defer closeDevice() //nolint:errcheck // the takes are in by then
	sit, err := a.sitting(ctx, b, in, board.Outputs, profile)
	if err != nil {
		return err
	}
	sit.BoardIn = f.boardIn
	began := a.now()
	_, note, err := a.checkBench(ctx, sit, f.useFlags)
	if err != nil {
		return err
	}
	h := &procedure.Hunt{Sitting: sit, Board: setup, SilenceS: f.seconds, AtMost: f.atMost, Rounds: f.repeats, Conditions: conditions}
	kept := db.Hunt{BoardID: board.ID, Name: f.name, Bench: b.Name, Simulated: in.Describe().Simulated, Operator: f.operator,
		Started: began, Setup: setup, Notes: joinNotes(f.notes, note)}
	if profile != nil {
		kept.ProfileID = profile.ID
	} else {
		a.talk().Tell(ctx, talk.Remark{Severity: talk.Note, Text: "the bench has no profile: levels are under full scale and its own hum is not known; changes are as good as ever"})
	}
	return a.carryOut(ctx, s, h, kept, f)
}

// carryOut hunts, keeps and shows. A hunt that is stopped is kept as far as it
// came once there is something to compare.
func (a *app) carryOut(ctx context.Context, s *db.Store, h *procedure.Hunt, kept db.Hunt, f huntFlags) error {
	var err error
	if f.devices {
		kept.Search = hunt.SupplyOff
		if f.by == "bypass" {
			kept.Search = hunt.DeviceBypassed
		}
		kept.Finding, err = h.Search(ctx, kept.Search)
	} else if err = h.Run(ctx); len(h.Done) > 0 {
		kept.Finding = hunt.Find(h.Board, h.Readings())
	}
	if err != nil && len(h.Done) < 2 {
		return err
	}
	kept.Unfinished = err != nil
	kept.Notes = joinNotes(kept.Notes, h.LikeLead())
	kept, keepErr := a.keepHunt(ctx, s, kept, h)
	if keepErr != nil {
		return errors.Join(err, keepErr)
	}
	if err != nil {
		return stoppedHunt(ctx, err, kept)
	}
	return a.presentHunt(s, kept, f.plots, false)
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
func (a *app) keepHunt(ctx context.Context, s *db.Store, kept db.Hunt, h *procedure.Hunt) (db.Hunt, error) {
	ctx = context.WithoutCancel(ctx)
	kept.Finished, kept.MethodVersion = a.now(), analysis.MethodVersion
	for _, d := range h.Done {
		ref, err := s.SaveTake(d.Take, d.Condition.String(), d.Attempt)
		if err != nil {
			return kept, err
		}
		kept.Conditions = append(kept.Conditions, db.HuntCondition{Condition: d.Condition, On: d.On, Why: d.Why, Readings: d.Readings, Take: ref})
	}
	return s.SaveHunt(ctx, kept)
}

// queue are the conditions that are tried in order, nil where none is given.
func (f *huntFlags) queue(setup hunt.Board) ([]hunt.Condition, error) {
	if len(f.conditions) == 0 {
		return nil, nil
	}
	queue := []hunt.Condition{}
	for _, text := range f.conditions {
		c, err := procedure.ParseCondition(text, setup)
		if err != nil {
			return nil, wrongUsef("--condition: %w", err)
		}
		queue = append(queue, c)
	}
	// As found comes first anyway.
	if queue[0] == hunt.AsFound {
		queue = queue[1:]
	}
	return queue, nil
}
