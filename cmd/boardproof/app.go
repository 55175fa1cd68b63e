package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/adrg/xdg"
	"github.com/spf13/cobra"

	"boardproof/capture/simboard"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/cmd/boardproof/internal/terminal"
	"boardproof/cmd/boardproof/internal/workshop"
	"boardproof/db"
)

// app is what every command works with; tests make their own.
type app struct {
	in       io.Reader
	out, err io.Writer
	// columns is how wide the page is that results are printed on.
	columns int
	now     func() time.Time
	// ready makes the simulated benches that --simulate names.
	ready func(name string) (simboard.Config, error)

	storePath string
	// doing is the command line, for others to be told.
	doing string
	json  bool
	yes   bool

	// person is whoever is asked and told, made when first needed.
	person *terminal.Terminal
	// stop ends what is going on for a reason of the program's own.
	stop context.CancelCauseFunc
}

func newApp(in io.Reader, out, err io.Writer) *app {
	return &app{in: in, out: out, err: err, now: time.Now, ready: simboard.Ready}
}

// run carries out one command line and returns the exit code.
func (a *app) run(ctx context.Context, args []string) int {
	a.doing = withoutStore(args)
	a.columns = report.FitTo(terminal.Columns(a.out))
	root := a.root()
	// A flag that is wrong is complained of in the voice that was asked for too.
	a.json = slices.Contains(args, "--json")
	root.SetArgs(args)
	root.SetOut(report.Seen{To: a.out})
	root.SetErr(report.Seen{To: a.err})
	ctx, a.stop = context.WithCancelCause(ctx)
	defer a.stop(nil)
	err := root.ExecuteContext(ctx)
	if err != nil && a.person != nil {
		err = cmp.Or(a.person.Failed(), err)
	}
	if err == nil {
		return exitPassed
	}
	var failed *limitFailed
	if !errors.As(err, &failed) {
		a.complain(ctx, err)
	}
	return exitCode(ctx, err)
}

// complain says in one line why a command failed.
func (a *app) complain(ctx context.Context, err error) {
	a.voice().complain(whyOf(err, ctx.Err() != nil), exitCode(ctx, err))
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "boardproof",
		Short: "Prove a finished pedalboard at the bench and keep what was read",
		Long: "boardproof plays sweeps, impulses and tones through a pedalboard by way of an audio\n" +
			"interface, reads its response, noise, hum, distortion and the match of its outputs,\n" +
			"judges them against the board's plan, and keeps every reading.\n\n" +
			"Exit codes: 0 all passed, 1 a limit failed, 2 wrong use or bad input,\n" +
			"3 the instrument could not measure.",
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          noArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.PersistentPreRunE = checkTexts
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return wrongUse(fmt.Errorf("%w; see '%s --help'", err, cmd.CommandPath()))
	})
	wide := fmt.Sprintf("FlagUsagesWrapped %d", terminal.PageColumns)
	root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(), "FlagUsages", wide))
	flags := root.PersistentFlags()
	flags.StringVar(&a.storePath, "store", "", "the database file (default: boardproof/boardproof.db in the user's data directory)")
	flags.BoolVar(&a.json, "json", false, "print results as JSON")
	flags.BoolVar(&a.yes, "yes", false, "ask nothing: every prompt counts as done")
	root.AddCommand(a.benchCommand(), a.calibrateCommand())
	root.AddCommand(a.boardCommand(), a.serviceCommand(), a.planCommand())
	root.AddCommand(a.signalCommand(), a.measureCommand(), a.acceptCommand())
	root.AddCommand(a.humCommand())
	root.AddCommand(a.runsCommand(), a.showCommand())
	root.AddCommand(a.compareCommand(), a.trendCommand())
	root.AddCommand(a.sheetCommand(), a.labelCommand())
	root.AddCommand(a.exportCommand(), a.importCommand(), a.backupCommand(), a.restoreCommand())
	root.AddCommand(a.verifyCommand(), a.recomputeCommand(), a.tidyCommand())
	root.AddCommand(a.demoCommand())
	root.AddCommand(a.helpTopics()...)
	return root
}

// noArgs is cobra.NoArgs as wrong use.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return wrongUse(fmt.Errorf("%q is not a command or argument here; see '%s --help'", args[0], cmd.CommandPath()))
	}
	return nil
}

// atMostOne allows one argument, name.
func atMostOne(name string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) > 1 {
			return wrongUse(fmt.Errorf("'%s' takes %s or nothing, not %d arguments", cmd.CommandPath(), name, len(args)))
		}
		return nil
	}
}

// exactArgs wants one argument for each name.
func exactArgs(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != len(names) {
			return wrongUse(fmt.Errorf("'%s' takes %s, not %d arguments", cmd.CommandPath(), strings.Join(names, " and "), len(args)))
		}
		return nil
	}
}

// opener opens the store in one of db's ways.
type opener func(ctx context.Context, path string) (*db.Store, error)

// withoutStore is a command line without where its store is: what it does comes
// first.
func withoutStore(args []string) string {
	var left []string
	for i := 0; i < len(args); i++ {
		if args[i] == "--store" {
			i++
			continue
		}
		left = append(left, args[i])
	}
	return strings.Join(left, " ")
}

// openStore opens the database.
func (a *app) openStore(ctx context.Context, open opener) (*db.Store, error) {
	s, err := open(ctx, a.storeFile())
	if err != nil {
		return nil, wrongUse(err)
	}
	s.Now = a.now
	s.Waiting = func() { a.talk().Tell(ctx, talk.StoreBusy{}) }
	return s, nil
}

// talk is the person who is asked and told.
func (a *app) talk() talk.Person {
	if a.person == nil {
		a.person = terminal.New(a.in, a.out, a.err, terminal.Options{Yes: a.yes, JSON: a.json, Columns: a.columns, Fail: a.stop})
	}
	return a.person
}

// warn says what is kept all the same.
func (a *app) warn(ctx context.Context, text string) {
	a.talk().Tell(ctx, talk.Remark{Severity: talk.Warning, Text: text})
}

// storeFile is the database that is meant.
func (a *app) storeFile() string {
	if a.storePath != "" {
		return a.storePath
	}
	return filepath.Join(xdg.DataHome, "boardproof", "boardproof.db")
}

// with runs f with the store open, and closes it after.
func (a *app) with(ctx context.Context, open opener, f func(*db.Store) error) (err error) {
	s, err := a.openStore(ctx, open)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	return f(s)
}

// workshop is what the workshop does, with a store that is open, or none.
func (a *app) workshop(s *db.Store) *workshop.Workshop {
	return &workshop.Workshop{Store: s, Path: a.storeFile(), Person: a.talk(), Now: a.now, Doing: a.doing,
		Open: workshop.Instruments{Ready: a.ready, Now: a.now}.Open}
}

// withWorkshop runs f with the store open in one of db's ways.
func (a *app) withWorkshop(ctx context.Context, open opener, f func(*workshop.Workshop) error) error {
	return a.with(ctx, open, func(s *db.Store) error { return f(a.workshop(s)) })
}

// onBoard runs f with the store open, on a board by its label or serial.
func (a *app) onBoard(ctx context.Context, open opener, name string, f func(*workshop.Workshop, db.Board) error) error {
	return a.withWorkshop(ctx, open, func(w *workshop.Workshop) error {
		b, err := w.Store.FindBoard(ctx, name)
		if err != nil {
			return err
		}
		return f(w, b)
	})
}

// local formats a time for people.
func local(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

// remark is for people: with --json it stays out of the results.
func (a *app) remark(format string, args ...any) {
	fmt.Fprintf(report.Seen{To: a.voice().besides()}, format, args...)
}

// printf writes to the output; a broken pipe is not worth an error each.
func (a *app) printf(format string, args ...any) {
	fmt.Fprintf(report.Seen{To: a.out}, format, args...)
}

// wrapped prints text on the output at most a page wide.
func (a *app) wrapped(lead, text string) { report.Wrap(report.Seen{To: a.out}, a.columns, lead, text) }

// row prints a line of a list in its columns, or, where the page is too narrow for
// them, wrapped under lead.
func (a *app) row(lead, rest string) {
	if line := strings.TrimRight(lead+rest, " "); utf8.RuneCountInString(line) <= a.columns {
		a.printf("%s\n", line)
		return
	}
	a.wrapped(lead, rest)
}

// unreadable is wrong use: the operator named a file that cannot be read.
func unreadable(path string, err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		err = at.Err
	}
	if err != nil {
		err = fmt.Errorf("reading %s: %w", path, err)
	}
	return wrongUse(err)
}
