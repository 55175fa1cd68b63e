package main

import (
	"context"
	"strings"
	"testing"

	"boardproof/analysis"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/db"
)

// notAbsolute runs a tone and makes sure that each reading says why it is not
// absolute, and that levels are refused for that reason.
func (s *session) notAbsolute(why string) resultDocument {
	s.t.Helper()
	s.must(exitPassed, "measure", "tone", "--yes", "--json")
	doc := s.document()
	gains := 0
	for _, r := range doc.Readings {
		switch {
		case r.Quantity == analysis.BenchGainDrift:
			continue
		case r.Quantity == analysis.Gain:
			gains++
		case r.Unit == "dBu":
			s.t.Errorf("%s is %g dBu", r.Quantity, r.Value)
		}
		if !strings.Contains(r.Note, "not absolute: profile ") || !strings.Contains(r.Note, why) {
			s.t.Errorf("%s is noted %q, want %q", r.Quantity, r.Note, why)
		}
	}
	levels := 0
	for _, r := range doc.Refused {
		if r.Quantity == analysis.Level {
			levels++
			if !strings.Contains(r.Reason, why) {
				s.t.Errorf("level is refused for %q, want %q", r.Reason, why)
			}
		}
	}
	if gains != 2 || levels != 2 {
		s.t.Errorf("%d gains were read and %d levels refused, want 2 and 2", gains, levels)
	}
	return doc
}

func drifts(doc resultDocument) int {
	n := 0
	for _, r := range doc.Readings {
		if r.Quantity == analysis.BenchGainDrift {
			n++
		}
	}
	return n
}

// An expired profile is still checked against; relative readings are marked.
// A profile of another device cannot be checked against, which is said, and
// nothing of it is used: the gain is the ratio of the full scales, 0.6 dB (by
// Config) more at input 1 than what the board does.
func TestExpiredAndForeignProfilesAreMarked(t *testing.T) {
	if testing.Short() {
		t.Skip("measures twice")
	}
	s := calibrated(t, "--linearity=false", "--valid-days", "30")
	s.now = s.now.AddDate(0, 0, 31)
	expired := s.notAbsolute("expired on 2026-03-31")
	if n := drifts(expired); n != 2 {
		t.Errorf("an expired profile was checked at %d inputs, want 2", n)
	}

	ctx := context.Background()
	store, err := db.Open(ctx, s.store)
	if err != nil {
		t.Fatal(err)
	}
	p, err := store.LatestProfile(ctx, "sim")
	if err != nil {
		t.Fatal(err)
	}
	p.Instrument.Device, p.ValidUntil, p.Created = "another device", s.now.AddDate(1, 0, 0), s.now
	if _, err := store.SaveProfile(ctx, p); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	foreign := s.notAbsolute(`is of "another device"`)
	if drifts(foreign) != 0 || !strings.Contains(s.err, procedure.BenchNotChecked+": its profile is of another device") {
		t.Errorf("a foreign profile was checked against, or it is not said: %s", s.err)
	}
	if strings.Contains(s.err, "before the board") {
		t.Error("the operator was asked to plug the lead for nothing")
	}
	gain := func(d resultDocument) float64 {
		for _, r := range d.Readings {
			if r.Quantity == analysis.Gain && r.Output == "A" {
				return r.Value
			}
		}
		return 0
	}
	if d := gain(foreign) - gain(expired); d < 0.59 || d > 0.61 {
		t.Errorf("with a foreign profile the gain is %.3f dB more, want 0.6 dB", d)
	}
}
