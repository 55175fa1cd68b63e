package sheet

import (
	"fmt"
	"time"

	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// Kind is which of the papers a file is.
type Kind string

// The kinds of sheet.
const (
	Player  Kind = "sheet"
	Bench   Kind = "bench copy"
	Label62 Kind = "label 62 mm"
	Label24 Kind = "label 24 mm"
)

// The papers that a sheet can be made for.
const (
	A4     = "a4"
	Letter = "letter"
)

// The forms that a sheet comes in.
const (
	PDF  = "pdf"
	HTML = "html"
)

// Options are what a sheet depends on beside its run.
type Options struct {
	Kind Kind   `json:"kind"`
	Form string `json:"form"`
	// Paper is of a sheet as PDF; a label's follows from its kind.
	Paper string `json:"paper,omitempty"`
	// Workshop is who gives the sheet, as it was given; no store keeps it.
	Workshop string `json:"workshop,omitempty"`
	// Zone and OffsetS are of the local time on the sheet, in seconds east.
	Zone    string `json:"zone"`
	OffsetS int    `json:"offset_s"`
}

// check reports options that nothing can be made for.
func (o Options) check() error {
	label := o.Kind == Label62 || o.Kind == Label24
	switch {
	case o.Kind != Player && o.Kind != Bench && !label:
		return fmt.Errorf("no sheet is called %q", o.Kind)
	case o.Form != PDF && (o.Form != HTML || label):
		return fmt.Errorf("no %s comes as %q", o.Kind, o.Form)
	case o.Form == PDF && !label && o.Paper != A4 && o.Paper != Letter:
		return fmt.Errorf("no paper is called %q", o.Paper)
	}
	return nil
}

// In takes the zone of the sheet's times from a location.
func (o Options) In(at time.Time, loc *time.Location) Options {
	o.Zone, o.OffsetS = at.In(loc).Zone()
	return o
}

// Source is what sheets are made from.
type Source struct {
	// Run is whole, its Digest as the store gives it.
	Run    db.Run
	Digest string
	// Plan is empty and PlanVersion 0 where the run followed none.
	Plan        verdict.Plan
	PlanVersion int
	// Profile is nil where there was none.
	Profile *calibration.Profile
	// Response and Noise are nil where the run has no such curves.
	Response *report.ResponsePlot
	Noise    *report.NoisePlot
}

// Identity is the run's identity in short, as the QR code of a label holds it.
func (s Source) Identity() string { return "boardproof run " + s.Run.ID + " " + short(s.Digest) }

// short is the beginning of a digest, enough to tell it by.
func short(digest string) string { return digest[:min(16, len(digest))] }

// times are the run's start and end in the sheet's zone and in UTC.
func (s Source) times(o Options) string {
	zone := time.FixedZone(o.Zone, o.OffsetS)
	from, to := s.Run.Started, s.Run.Finished
	local := span(from.In(zone), to.In(zone)) + " " + o.Zone
	if o.OffsetS == 0 && o.Zone == "UTC" {
		return local
	}
	return local + " (" + span(from.UTC(), to.UTC()) + " UTC)"
}

// span is a time from and to, the date said once where it is one.
func span(from, to time.Time) string {
	const day, clock = "2006-01-02", "15:04"
	if from.Format(day) != to.Format(day) {
		return from.Format(day+" "+clock) + " to " + to.Format(day+" "+clock)
	}
	if from.Format(clock) == to.Format(clock) {
		return from.Format(day + " " + clock)
	}
	return from.Format(day+" "+clock) + " to " + to.Format(clock)
}
