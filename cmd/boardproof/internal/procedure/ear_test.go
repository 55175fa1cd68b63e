package procedure

import (
	"slices"
	"strings"

	"boardproof/cmd/boardproof/internal/talk"
)

// ear is a person who is always ready and keeps what is asked and told.
type ear struct{ talk.Script }

// newEar stops at the prompt that contains stopAt, if any.
func newEar(stopAt string) *ear {
	e := &ear{}
	e.Ready = true
	if stopAt != "" {
		e.During = func(q talk.Question) error {
			if strings.Contains(q.Prompt, stopAt) {
				return talk.ErrStopped
			}
			return nil
		}
	}
	return e
}

// toDo is all that was asked to be done.
func (e *ear) toDo() (all []talk.Question) {
	for _, q := range e.Asked() {
		if q.Kind == talk.Do {
			all = append(all, q)
		}
	}
	return all
}

func (e *ear) prompts() (all []string) {
	for _, q := range e.toDo() {
		all = append(all, q.Prompt)
	}
	return all
}

// asks counts the questions that want an answer.
func (e *ear) asks() int { return len(e.Asked()) - len(e.toDo()) }

// said is all that was told but how takes run, a line each.
func (e *ear) said() (lines []string) {
	for _, event := range e.Told() {
		switch event.(type) {
		case talk.TakeBegun, talk.TakeEnded, talk.StepRead:
		default:
			lines = append(lines, event.String())
		}
	}
	return lines
}

func (e *ear) heard(words string) bool {
	return slices.ContainsFunc(e.said(), func(s string) bool { return strings.Contains(s, words) })
}
