package trials

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"strings"
	"time"
)

// Program is one of the trial programs.
type Program struct {
	Name string
	// Does says in a line what it does.
	Does string
	// Plan is where its flags begin: those for seed and workers are there where
	// it has some.
	Plan Plan
	// Args says what may be named after the flags, "" for nothing.
	Args string
	// Flags adds the program's own; nil adds none.
	Flags func(*flag.FlagSet)
	// Run carries it out. It returns figures beside an error where they do not
	// keep to what is asked of them.
	Run func(context.Context, Plan) (Figures, error)
}

// Figures are what a judge found, for its row in the table of DEVELOPERS.md;
// none is a program that judges nothing.
type Figures struct {
	// Of says how many of what, Found what came of them.
	Of, Found string
}

// row is the table's: date, commit, judge, count, figures.
func (f Figures) row(judge string, at time.Time, commit string) string {
	return fmt.Sprintf("| %s | %s | `%s` | %s | %s |", at.UTC().Format(time.DateOnly), commit, judge, f.Of, f.Found)
}

// commit is the code that is checked out here, "-dirty" where it was changed since.
func commit() string {
	out, err := exec.Command("git", "describe", "--always", "--dirty", "--exclude=*").Output()
	if err != nil {
		return "no commit"
	}
	return strings.TrimSpace(string(out))
}

// Main carries out the program that args name, until Ctrl-C ends it early, and
// returns the exit code: 2 for wrong use, 1 for whatever else goes wrong.
func Main(programs []Program, args []string, out, errs io.Writer) (code int) {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	for _, p := range programs {
		if len(args) > 0 && p.Name == args[0] {
			return p.main(ctx, args[1:], out, errs)
		}
	}
	fmt.Fprintln(errs, "trial NAME [flags], where NAME is")
	for _, p := range programs {
		fmt.Fprintf(errs, "  %-10s %s\n", p.Name, p.Does)
	}
	fmt.Fprintln(errs, "\n'trial NAME -h' lists its flags")
	return 2
}

func (p Program) main(ctx context.Context, args []string, out, errs io.Writer) (code int) {
	file, code := p.parse(args, errs)
	if code >= 0 {
		return code
	}
	p.Plan.Out, p.Plan.Progress = out, errs
	err := p.into(ctx, file)
	if err != nil {
		fmt.Fprintln(errs, "error:", err)
		return 1
	}
	return 0
}

// parse reads the flags into p's plan; a code of 0 or more ends the program.
func (p *Program) parse(args []string, errs io.Writer) (file string, code int) {
	f := flag.NewFlagSet("trial "+p.Name, flag.ContinueOnError)
	f.SetOutput(errs)
	f.IntVar(&p.Plan.Trials, "count", p.Plan.Trials, "how many `"+p.Plan.What+"`")
	if p.Plan.Seed > 0 {
		f.Uint64Var(&p.Plan.Seed, "seed", p.Plan.Seed, "seed of what is drawn; other seeds draw others")
	}
	if p.Plan.PerBatch > 0 {
		f.IntVar(&p.Plan.Workers, "workers", runtime.NumCPU(), "how many to run at once; Ctrl-C shows those done so far")
	}
	f.StringVar(&file, "o", "", "write the result to this `file`, too")
	if p.Flags != nil {
		p.Flags(f)
	}
	f.Usage = func() {
		fmt.Fprintf(errs, "trial %s: %s\n%s\n", p.Name, p.Does, strings.TrimSpace("trial "+p.Name+" [flags] "+p.Args))
		f.PrintDefaults()
	}
	if err := f.Parse(args); errors.Is(err, flag.ErrHelp) {
		return "", 0
	} else if err != nil {
		return "", 2
	}
	p.Plan.Args = f.Args()
	if f.NArg() > 0 && p.Args == "" || p.Plan.Trials < 1 || p.Plan.PerBatch > 0 && p.Plan.Workers < 1 {
		f.Usage()
		return "", 2
	}
	return file, -1
}

// into runs p, with its result in file too where one is named.
func (p Program) into(ctx context.Context, file string) (err error) {
	if file != "" {
		f, cannot := os.Create(file)
		if cannot != nil {
			return fmt.Errorf("writing the result: %w", cannot)
		}
		defer func() { err = errors.Join(err, f.Close()) }()
		p.Plan.Out = io.MultiWriter(p.Plan.Out, f)
	}
	found, err := p.Run(ctx, p.Plan)
	if found.Found != "" {
		fmt.Fprintf(p.Plan.Out, "\n%s\n", found.row(p.Name, time.Now(), commit()))
	}
	return err
}
