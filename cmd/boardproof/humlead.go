package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/procedure"
)

// hunter is a procedure.Hunter: it works a list off, follows the proposals, or
// asks at the terminal what is next.
type hunter struct {
	app      *app
	terminal *terminal
	listed   bool
	queue    []hunt.Condition
}

// mostOffered is how many proposals are listed.
const mostOffered = 6

// Next is what is tried next.
func (t *hunter) Next(h *procedure.Hunt) (procedure.Choice, error) {
	switch {
	case t.listed && len(t.queue) == 0:
		return procedure.Choice{End: true}, nil
	case t.listed:
		c := t.queue[0]
		t.queue = t.queue[1:]
		return procedure.Choice{Condition: c}, nil
	case t.terminal.yes:
		return procedure.Follow(h), nil
	}
	return t.ask(h)
}

// Asks is whether a person chooses what is next.
func (t *hunter) Asks() bool { return !t.listed && !t.terminal.yes }

// ask lists what could be tried and reads the operator's choice.
func (t *hunter) ask(h *procedure.Hunt) (procedure.Choice, error) {
	offered := offers(h)
	t.terminal.Say("what next?")
	for i, o := range offered {
		lead := fmt.Sprintf("  %d  ", i+1)
		text := o.Condition.String()
		if o.Why != "" {
			text += ": " + o.Why
		}
		t.terminal.wrapped(lead, text)
	}
	enter := "Enter takes 1, or a number"
	if procedure.Follow(h).End {
		enter = "Enter ends the hunt"
		if w := hunt.Weigh(h.Board, h.Readings()); !w.Decided {
			enter += ", nothing that is left would tell more"
		}
	}
	for {
		t.terminal.wrapped("  ", enter+"; r repeats the last, r 2 the second; e ends; or a condition, as in \"supply off=delay\", "+
			"or words of your own; q stops")
		answer, err := t.terminal.ask("  > ")
		if err != nil {
			return procedure.Choice{}, err
		}
		choice, err := understood(answer, h, offered)
		if err == nil {
			return choice, nil
		}
		t.terminal.Say("  " + err.Error())
	}
}

// offers are what is proposed, the first what Enter takes.
func offers(h *procedure.Hunt) []procedure.Choice {
	var all []procedure.Choice
	first := procedure.Follow(h)
	if !first.End {
		all = append(all, first)
	}
	for _, p := range hunt.Proposals(h.Board, h.Readings()) {
		if len(all) < mostOffered && (first.End || p.Condition != first.Condition) {
			all = append(all, procedure.Choice{Condition: p.Condition, Why: p.Reason})
		}
	}
	return all
}

func understood(answer string, h *procedure.Hunt, offered []procedure.Choice) (procedure.Choice, error) {
	words := strings.Fields(answer)
	switch {
	case len(words) == 0 && procedure.Follow(h).End, answer == "e":
		return procedure.Choice{End: true}, nil
	case len(words) == 0:
		return offered[0], nil
	case words[0] == "r" && len(words) <= 2:
		n := len(h.Done)
		if len(words) == 2 {
			var err error
			if n, err = strconv.Atoi(words[1]); err != nil || n < 1 || n > len(h.Done) {
				return procedure.Choice{}, fmt.Errorf("%s is none of the %d silences so far", words[1], len(h.Done))
			}
		}
		return procedure.Choice{Condition: h.Done[n-1].Condition, Why: "repeated"}, nil
	}
	if n, err := strconv.Atoi(answer); err == nil {
		if n < 1 || n > len(offered) {
			return procedure.Choice{}, fmt.Errorf("%d is not in the list", n)
		}
		return offered[n-1], nil
	}
	c, err := procedure.ParseCondition(answer, h.Board)
	return procedure.Choice{Condition: c}, err
}

// Tried shows the last silence and what the hunt says so far.
func (t *hunter) Tried(h *procedure.Hunt) error {
	n := len(h.Done)
	last := h.Done[n-1]
	if err := t.app.showCondition(n, last.Condition, last.Why, last.Readings, hunt.Changes(h.Readings())); err != nil {
		return err
	}
	says := ""
	if slices.ContainsFunc(h.Done, func(d procedure.HuntTake) bool { return d.On != nil }) {
		_, f := h.Searched()
		says = f.Text
	} else if f := hunt.Find(h.Board, h.Readings()); f.Decided {
		says = f.Text
	} else {
		says = f.Weighing.Summary
	}
	if says != "" {
		t.app.remarkWrapped("says: ", says)
	}
	t.app.remark("\n")
	return nil
}

// Again asks whether what was moving is repeated.
func (t *hunter) Again(moving string) (bool, error) {
	if t.terminal.yes {
		return true, nil
	}
	t.terminal.Say("this silence is not a sure one: " + moving)
	answer, err := t.terminal.choose("  Enter repeats it, s and Enter goes on without: ", "", "s")
	return answer == "", err
}
