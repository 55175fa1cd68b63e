package verdict

import (
	"errors"
	"fmt"
	"regexp"

	"github.com/BurntSushi/toml"
)

type planFile struct {
	Plan
	Steps []toml.Primitive `toml:"step"`
}

type stepFile struct {
	Step
	LevelDBu *float64         `toml:"level_dbu"`
	Repeats  *int             `toml:"repeats"`
	Limits   []toml.Primitive `toml:"limit"`
	Masks    []toml.Primitive `toml:"mask"`
}

// ParsePlan reads a plan from TOML and checks all of it: keys, quantities,
// signals, patchings, limits and masks. The error is one line that names the
// line of the file where it can, the step and the limit, and what to do.
func ParsePlan(text []byte) (Plan, error) {
	var file planFile
	md, err := toml.Decode(string(text), &file)
	if err != nil {
		return Plan{}, fmt.Errorf("reading the plan: %w", plainTOML(err))
	}
	where := newPlaces(string(text))
	p := file.Plan
	for i, raw := range file.Steps {
		s, err := decodeStep(md, raw)
		if err != nil {
			return Plan{}, fmt.Errorf("reading the plan: %w", where.in(err, i))
		}
		p.Steps = append(p.Steps, s)
	}
	if unknown := md.Undecoded(); len(unknown) > 0 {
		return Plan{}, fmt.Errorf("reading the plan: %w", where.unknownKey(unknown[0]))
	}
	if p.Rule == "" {
		p.Rule = Guarded
	}
	if err := p.check(); err != nil {
		return Plan{}, fmt.Errorf("reading the plan: %w", where.of(p, err))
	}
	return p, nil
}

func decodeStep(md toml.MetaData, raw toml.Primitive) (Step, error) {
	var f stepFile
	if err := md.PrimitiveDecode(raw, &f); err != nil {
		return Step{}, plainTOML(err)
	}
	s := f.Step
	if f.LevelDBu == nil {
		return Step{}, fmt.Errorf("step %q has no level_dbu: say how loud to play, -10.0 is about what a guitar gives", s.Name)
	}
	s.LevelDBu = *f.LevelDBu
	if f.Repeats != nil {
		if s.Repeats = *f.Repeats; s.Repeats < 1 || s.Repeats > MaxRepeats {
			return Step{}, fmt.Errorf("step %q: repeats %d is outside 1 to %d: correct it", s.Name, s.Repeats, MaxRepeats)
		}
	}
	for i, raw := range f.Limits {
		var l PlanLimit
		if err := md.PrimitiveDecode(raw, &l); err != nil {
			return Step{}, fmt.Errorf("step %q, limit %d: %w", s.Name, i+1, plainTOML(err))
		}
		s.Limits = append(s.Limits, l)
	}
	for i, raw := range f.Masks {
		var m Mask
		if err := md.PrimitiveDecode(raw, &m); err != nil {
			return Step{}, fmt.Errorf("step %q, mask %d: %w", s.Name, i+1, plainTOML(err))
		}
		s.Masks = append(s.Masks, m)
	}
	return s, nil
}

var tomlPrefix = regexp.MustCompile(`^toml: (?:line \d+ )?(?:\(last key "([^"]*)"\): )?`)

// plainTOML says an error of the TOML library in a plan's terms. For a wrong
// type the library gives the line of the last table that has the key, which
// may be another step's, so only a syntax error keeps its line.
func plainTOML(err error) error {
	if parse, ok := errors.AsType[toml.ParseError](err); ok {
		return fmt.Errorf("line %d: %s: correct the line, or compare it with the plan a new board starts with",
			parse.Position.Line, parse.Message)
	}
	return errors.New(tomlPrefix.ReplaceAllString(err.Error(), "$1: "))
}
