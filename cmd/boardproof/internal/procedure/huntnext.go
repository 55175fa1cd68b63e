package procedure

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"boardproof/analysis/hunt"
	"boardproof/cmd/boardproof/internal/talk"
)

// followed is how many silences the proposals are followed for at most where
// nobody is there and it is not said.
const followed = 9

// mostOffered is how many proposals are listed.
const mostOffered = 6

// next is what is tried next: of the list, as a person chooses, or as is proposed.
func (h *Hunt) next(ctx context.Context) (Choice, error) {
	if h.Conditions != nil {
		if len(h.Conditions) == 0 {
			return Choice{End: true}, nil
		}
		c := h.Conditions[0]
		h.Conditions = h.Conditions[1:]
		return Choice{Condition: c}, nil
	}
	if h.alone {
		return Follow(h), nil
	}
	c, err := h.ask(ctx)
	if errors.Is(err, talk.ErrNobody) {
		h.alone = true
		if h.AtMost == 0 {
			h.AtMost = followed
		}
		return Follow(h), nil
	}
	h.choosing = err == nil
	return c, err
}

// ask lists what could be tried and reads the person's choice.
func (h *Hunt) ask(ctx context.Context) (Choice, error) {
	offered := h.offers()
	q := talk.Question{Kind: talk.Text, Prompt: "what next?", Flag: "condition"}
	for i, o := range offered {
		text := o.Condition.String()
		if o.Why != "" {
			text += ": " + o.Why
		}
		q.Choices = append(q.Choices, talk.Choice{Key: fmt.Sprint(i + 1), Means: text})
	}
	enter := "Enter takes 1, or a number"
	if Follow(h).End {
		enter = "Enter ends the hunt"
		if w := hunt.Weigh(h.Board, h.Readings()); !w.Decided {
			enter += ", nothing that is left would tell more"
		}
	}
	q.How = enter + "; r repeats the last, r 2 the second; e ends; or a condition, as in \"supply off=delay\", " +
		"or words of your own; q stops"
	var chosen Choice
	q.Check = func(a talk.Answer) (err error) {
		chosen, err = h.understood(a.Key, offered)
		return err
	}
	_, err := h.Person.Ask(ctx, q)
	return chosen, err
}

// offers are what is proposed, the first what Enter takes.
func (h *Hunt) offers() []Choice {
	var all []Choice
	first := Follow(h)
	if !first.End {
		all = append(all, first)
	}
	for _, p := range hunt.Proposals(h.Board, h.Readings()) {
		if len(all) < mostOffered && (first.End || p.Condition != first.Condition) {
			all = append(all, Choice{Condition: p.Condition, Why: p.Reason})
		}
	}
	return all
}

func (h *Hunt) understood(answer string, offered []Choice) (Choice, error) {
	words := strings.Fields(answer)
	switch {
	case len(words) == 0 && Follow(h).End, answer == "e":
		return Choice{End: true}, nil
	case len(words) == 0:
		return offered[0], nil
	case words[0] == "r" && len(words) <= 2:
		n := len(h.Done)
		if len(words) == 2 {
			var err error
			if n, err = strconv.Atoi(words[1]); err != nil || n < 1 || n > len(h.Done) {
				return Choice{}, fmt.Errorf("%s is none of the %d silences so far", words[1], len(h.Done))
			}
		}
		return Choice{Condition: h.Done[n-1].Condition, Why: "repeated"}, nil
	}
	if n, err := strconv.Atoi(answer); err == nil {
		if n < 1 || n > len(offered) {
			return Choice{}, fmt.Errorf("%d is not in the list", n)
		}
		return offered[n-1], nil
	}
	c, err := ParseCondition(answer, h.Board)
	return Choice{Condition: c}, err
}

// Follow is the proposal to follow: what tells most while the cause is
// undecided, then what commonly cures it where that is not tried yet. It ends
// when neither is left.
func Follow(h *Hunt) Choice {
	readings := h.Readings()
	w := hunt.Weigh(h.Board, readings)
	tried := h.Tried()
	if w.Decided {
		if cures := hunt.Cures(h.Board, w); len(cures) > 0 && !slices.Contains(tried, cures[0]) {
			return Choice{Condition: cures[0], Why: "does it cure it?"}
		}
		return Choice{End: true}
	}
	if w.Next == nil {
		return Choice{End: true}
	}
	return Choice{Condition: w.Next.Condition, Why: w.Next.Reason}
}
