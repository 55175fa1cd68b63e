package verdict

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/BurntSushi/toml"
)

// planError says which part of a plan is wrong; -1 where the part does not
// apply.
type planError struct {
	step, limit, mask int
	text              string
}

func (e *planError) Error() string { return e.text }

// places knows at which lines of a plan file its tables start.
type places struct {
	lines   []string
	headers map[string][]int // line numbers, from 1, by table name
}

var headerLine = regexp.MustCompile(`^\s*\[\[\s*([a-z.]+)\s*\]\]`)

func newPlaces(text string) places {
	p := places{lines: strings.Split(text, "\n"), headers: map[string][]int{}}
	for i, line := range p.lines {
		if m := headerLine.FindStringSubmatch(line); m != nil {
			p.headers[m[1]] = append(p.headers[m[1]], i+1)
		}
	}
	return p
}

// header is the line of the n-th table of a name, 0 when the file does not
// have all of them as headers of their own, so that counting cannot be
// trusted.
func (p places) header(name string, n, of int) int {
	if of > 0 && len(p.headers[name]) != of || n >= len(p.headers[name]) {
		return 0
	}
	return p.headers[name][n]
}

func atLine(line int, err error) error {
	if line == 0 {
		return err
	}
	return fmt.Errorf("line %d: %w", line, err)
}

// in puts the line of step i before err.
func (p places) in(err error, i int) error { return atLine(p.header("step", i, 0), err) }

// of puts the line of the part that err is about before it.
func (p places) of(plan Plan, err error) error {
	part, ok := errors.AsType[*planError](err)
	if !ok || part.step < 0 {
		return err
	}
	limits, masks, limitAt, maskAt := 0, 0, 0, 0
	for i, s := range plan.Steps {
		if i == part.step {
			limitAt, maskAt = limits+part.limit, masks+part.mask
		}
		limits += len(s.Limits)
		masks += len(s.Masks)
	}
	switch {
	case part.limit >= 0:
		return atLine(p.header("step.limit", limitAt, limits), err)
	case part.mask >= 0:
		return atLine(p.header("step.mask", maskAt, masks), err)
	}
	return atLine(p.header("step", part.step, len(plan.Steps)), err)
}

// unknownKey says where a key that a plan does not have is first used.
func (p places) unknownKey(key toml.Key) error {
	name, table := key[len(key)-1], strings.Join(key[:len(key)-1], ".")
	assigned := regexp.MustCompile(`(^|[\s{,])"?` + regexp.QuoteMeta(name) + `"?\s*=`)
	home := table // the header it stands under: an inline table has none of its own
	for len(p.headers[home]) == 0 && strings.Contains(home, ".") {
		home = home[:strings.LastIndex(home, ".")]
	}
	current, found := "", 0
	for i, line := range p.lines {
		if m := headerLine.FindStringSubmatch(line); m != nil {
			current = m[1]
		}
		if found == 0 && current == key.String() {
			found = i + 1
		}
		remark := strings.HasPrefix(strings.TrimSpace(line), "#")
		if found == 0 && current == home && !remark && assigned.MatchString(line) {
			found = i + 1
		}
	}
	if table == "" {
		table = "the plan itself"
	}
	return atLine(found, fmt.Errorf("%q is not a key of %s: correct its spelling or take it out", name, table))
}
