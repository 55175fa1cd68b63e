package talk

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Kind is the kind of a question.
type Kind string

const (
	// Do asks for something to be done at the bench and waits until it is. It is
	// answered by Enter alone.
	Do Kind = "do"
	// Choose lets one of Choices be chosen.
	Choose Kind = "choose"
	// YesNo asks for leave. Whatever is no plain yes is a no.
	YesNo Kind = "yes or no"
	// Number asks for a figure in Unit.
	Number Kind = "number"
	// Text asks for words, of which Choices are proposals.
	Text Kind = "text"
)

// Question is what a person is asked.
type Question struct {
	Kind Kind `json:"kind"`
	// Prompt is what to do, or what is asked.
	Prompt string `json:"prompt"`
	// Caution is what to mind; it is shown before the prompt.
	Caution string `json:"caution,omitempty"`
	// Choices are all that can be chosen, or, of a Text, what is proposed. Enter
	// alone takes the first of a Choose.
	Choices []Choice `json:"choices,omitempty"`
	// Unit is that of a Number.
	Unit string `json:"unit,omitempty"`
	// How says in words how it may be answered, where Choices do not say it all.
	How string `json:"how,omitempty"`
	// Back: the person may go back to what can be chosen, instead of stopping.
	Back bool `json:"back,omitempty"`
	// Flag is what answers the question beforehand, so that nobody need be there.
	Flag string `json:"flag"`
	// Check, where not nil, says what is wrong with an answer that is one of the
	// question's kind.
	Check func(Answer) error `json:"-"`
}

// Choice is one way to answer a question.
type Choice struct {
	// Key is what is typed, "" for Enter alone.
	Key string `json:"key"`
	// Means says what comes of it.
	Means string `json:"means"`
}

// Answer is what a person answered.
type Answer struct {
	// Key is that of a choice, "yes" or "no", or the words of a Text.
	Key string `json:"key"`
	// Number is a figure in the question's unit.
	Number float64 `json:"number,omitempty"`
}

// Yes says whether leave was given.
func (a Answer) Yes() bool { return a.Key == yes }

const yes, no = "yes", "no"

// Read makes an answer of what was typed, clicked or written in a script. The
// error is ErrStopped or ErrBack where that is what was meant, and a
// *WrongAnswer for what is no answer to q.
func (q Question) Read(given string) (Answer, error) {
	given = strings.TrimSpace(given)
	if strings.EqualFold(given, "q") {
		if q.Back {
			return Answer{}, ErrBack
		}
		return Answer{}, ErrStopped
	}
	a, err := q.read(given)
	if err == nil && q.Check != nil {
		err = q.Check(a)
	}
	if err != nil {
		return Answer{}, &WrongAnswer{err}
	}
	return a, nil
}

func (q Question) read(given string) (Answer, error) {
	switch q.Kind {
	case Do, Choose:
		keys := q.keys()
		i := slices.IndexFunc(keys, func(k string) bool { return strings.EqualFold(k, given) })
		if i < 0 {
			return Answer{}, fmt.Errorf("%q is no answer here: %s", given, expected(keys))
		}
		return Answer{Key: keys[i]}, nil
	case YesNo:
		if strings.EqualFold(given, yes) || strings.EqualFold(given, "y") {
			return Answer{Key: yes}, nil
		}
		return Answer{Key: no}, nil
	case Number:
		return q.number(given)
	}
	return Answer{Key: given}, nil
}

// number reads a figure with or without its unit.
func (q Question) number(given string) (Answer, error) {
	if q.Unit == "V" {
		v, err := readVolts(given)
		return Answer{Key: given, Number: v}, err
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(given, q.Unit)), 64)
	if err != nil {
		return Answer{}, fmt.Errorf("%q is not a number in %s", given, q.Unit)
	}
	return Answer{Key: given, Number: v}, nil
}

// keys are all that can be typed.
func (q Question) keys() []string {
	if q.Kind == Do {
		return []string{""}
	}
	keys := make([]string, len(q.Choices))
	for i, c := range q.Choices {
		keys[i] = c.Key
	}
	return keys
}

// expected says what can be answered.
func expected(keys []string) string {
	words := make([]string, len(keys))
	for i, k := range keys {
		words[i] = k + " and Enter"
		if k == "" {
			words[i] = "Enter alone"
		}
	}
	return strings.Join(words, ", ") + ", or q and Enter to stop"
}

// Repeats says whether a wrong answer to q is put right by the next line of a
// script. A script that gives another key than those listed is out of step with
// the questions; a figure or words that cannot be read are a slip.
func (q Question) Repeats() bool { return q.Kind == Number || q.Kind == Text }

// Fault is what is wrong with the question itself.
func (q Question) Fault() error {
	switch {
	case q.Flag == "":
		return fmt.Errorf("the question %q names no flag that answers it", q.Prompt)
	case q.Kind == Choose && len(q.Choices) == 0:
		return fmt.Errorf("the question %q has no answers", q.Prompt)
	case q.Kind == Number && q.Unit == "":
		return fmt.Errorf("the question %q has no unit", q.Prompt)
	case !slices.Contains([]Kind{Do, Choose, YesNo, Number, Text}, q.Kind):
		return errors.New("a question of no kind")
	}
	return nil
}
