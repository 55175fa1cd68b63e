package workshop

import (
	"context"
	"slices"
	"strings"
	"time"

	"boardproof/db"
)

// Life is all that happened to a board.
type Life struct {
	Board    db.Board   `json:"board"`
	Timeline []Moment   `json:"timeline"`
	Visits   []db.Visit `json:"visits"`
}

// Life is a board's. No list of it is nil.
func (w *Workshop) Life(ctx context.Context, b db.Board) (Life, error) {
	l, err := w.Store.Life(ctx, b.ID)
	return Life{l.Board, timeline(l), append([]db.Visit{}, l.Visits...)}, err
}

// Moment is one line of a life.
type Moment struct {
	At   time.Time `json:"at"`
	Kind string    `json:"kind"` // "registered", "run", "hum hunt", or an event's
	ID   string    `json:"id,omitempty"`
	Text string    `json:"text"`
	// Simulated is that of a run or a hunt, Corrected names what is to be read instead.
	Simulated bool   `json:"simulated,omitempty"`
	Corrected string `json:"corrected,omitempty"`
}

// timeline puts a life in the order of time.
func timeline(l db.Life) []Moment {
	delivered, rerun := map[string]bool{}, map[string]string{}
	for _, v := range l.Visits {
		delivered[v.Delivered] = true
	}
	for _, r := range l.Runs {
		rerun[r.Corrects] = r.ID
	}
	all := []Moment{{At: l.Board.Created, Kind: "registered", Text: "registered"}}
	for _, r := range l.Runs {
		m := Moment{At: r.Finished, Kind: "run", ID: r.ID, Text: runWords(r), Simulated: r.Simulated, Corrected: rerun[r.ID]}
		if delivered[r.ID] {
			m.Text += "; as delivered"
		}
		all = append(all, m)
	}
	for _, h := range l.Hunts {
		all = append(all, Moment{At: h.Finished, Kind: "hum hunt", ID: h.ID, Text: strings.TrimSpace("hum hunt " + h.Name), Simulated: h.Simulated})
	}
	for _, e := range l.Events {
		all = append(all, Moment{At: e.Happened, Kind: string(e.Kind), ID: e.ID, Text: EventWords(e), Corrected: l.Corrected[e.ID]})
	}
	slices.SortStableFunc(all, func(a, b Moment) int { return a.At.Compare(b.At) })
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

// EventWords is an event without its name and time.
func EventWords(e db.Event) string {
	words := []string{string(e.Kind)}
	if e.Withdrawn {
		words[0] = "withdrawn: " + string(e.Kind)
	}
	if e.Text != "" {
		words[0] += ": " + e.Text
	}
	words = append(words, e.Changes...)
	if len(e.Parts) > 0 {
		words = append(words, strings.Join(e.Parts, " + "))
	}
	if e.RunID != "" {
		words = append(words, "run "+e.RunID)
	}
	if e.Corrects != "" {
		words = append(words, "corrects "+e.Corrects)
	}
	if e.Who != "" {
		words = append(words, "by "+e.Who)
	}
	return strings.Join(words, "; ")
}
