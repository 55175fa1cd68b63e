package main

import (
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

func (a *app) boardLife() *cobra.Command {
	return &cobra.Command{
		Use:   "life BOARD",
		Short: "Show all that happened to a board, on one page",
		Args:  exactArgs("a board's label or serial"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.readBoard(cmd.Context(), args[0], func(s *db.Store, b db.Board) error {
				l, err := s.Life(cmd.Context(), b.ID)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(lifeDocument{l.Board, timeline(l), append([]db.Visit{}, l.Visits...)})
				}
				a.printLife(l)
				return nil
			})
		},
	}
}

// lifeDocument is a board's life as JSON.
type lifeDocument struct {
	Board    db.Board   `json:"board"`
	Timeline []moment   `json:"timeline"`
	Visits   []db.Visit `json:"visits"`
}

// moment is one line of a life.
type moment struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"` // "registered", "run", "hum hunt", or an event's
	ID   string    `json:"id,omitempty"`
	Text string    `json:"text"`
	// Simulated is that of a run or a hunt, Corrected names what is to be read instead.
	Simulated bool   `json:"simulated,omitempty"`
	Corrected string `json:"corrected,omitempty"`
}

// timeline puts a life in the order of time.
func timeline(l db.Life) []moment {
	delivered, rerun := map[string]bool{}, map[string]string{}
	for _, v := range l.Visits {
		delivered[v.Delivered] = true
	}
	for _, r := range l.Runs {
		rerun[r.Corrects] = r.ID
	}
	all := []moment{{At: l.Board.Created, Kind: "registered", Text: "registered"}}
	for _, r := range l.Runs {
		m := moment{At: r.Finished, Kind: "run", ID: r.ID, Text: runWords(r), Simulated: r.Simulated, Corrected: rerun[r.ID]}
		if delivered[r.ID] {
			m.Text += "; as delivered"
		}
		all = append(all, m)
	}
	for _, h := range l.Hunts {
		all = append(all, moment{At: h.Finished, Kind: "hum hunt", ID: h.ID, Text: strings.TrimSpace("hum hunt " + h.Name), Simulated: h.Simulated})
	}
	for _, e := range l.Events {
		all = append(all, moment{At: e.Happened, Kind: string(e.Kind), ID: e.ID, Text: eventWords(e), Corrected: l.Corrected[e.ID]})
	}
	slices.SortStableFunc(all, func(a, b moment) int { return a.At.Compare(b.At) })
	return all
}

// runWords is a run in a line.
func runWords(r db.Run) string {
	words := []string{"run"}
	if r.Verdict != "" {
		words[0] += ": " + string(r.Verdict)
	}
	words = append(words, "bench "+r.Bench)
	if r.Recomputes != "" {
		words = append(words, "computed again from "+r.Recomputes)
	}
	if r.Corrects != "" {
		words = append(words, "corrects "+r.Corrects)
	}
	if r.Notes != "" {
		words = append(words, r.Notes)
	}
	return strings.Join(words, "; ")
}

func (a *app) printLife(l db.Life) {
	a.printHead(l.Board)
	a.printChain(l.Board)
	a.printf("\n")
	for _, m := range timeline(l) {
		text := m.Text
		if m.Simulated {
			text = "SIMULATED " + text
		}
		if m.Corrected != "" {
			text += "; to be read instead: " + m.Corrected
		}
		a.wrapped(local(m.At)+"  "+report.Fitted(m.ID, 14)+"  ", text)
	}
	if n := len(l.Visits); n > 0 {
		a.printf("\n")
		for i, v := range l.Visits {
			line := visitWords(v)
			if v.Delivered != "" {
				line += ", delivered with " + v.Delivered
			}
			a.printf("visit %d: %s\n", i+1, line)
		}
	}
}
