package talk

import (
	"fmt"
	"strings"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
	"boardproof/analysis/verdict"
	"boardproof/capture"
)

// Event is something that happened. Its String is how it is told in words.
type Event interface{ fmt.Stringer }

// StepBegun is that a step of a plan begins, the Nth of Of.
type StepBegun struct {
	N    int    `json:"n"`
	Of   int    `json:"of"`
	Name string `json:"name"`
}

func (e StepBegun) String() string { return fmt.Sprintf("step %d of %d: %s", e.N, e.Of, e.Name) }

// StepRead is what a step of a plan gave, judged.
type StepRead struct {
	Name     string             `json:"name"`
	Readings []verdict.Judged   `json:"readings"`
	Curves   []analysis.Curve   `json:"curves"`
	Refused  []analysis.Refusal `json:"refused"`
}

func (e StepRead) String() string {
	return fmt.Sprintf("step %s: readings: %d, curves: %d, refused: %d", e.Name, len(e.Readings), len(e.Curves), len(e.Refused))
}

// TakenBefore is that what is asked for was done and taken before the sitting
// was left.
type TakenBefore struct{}

func (TakenBefore) String() string { return "taken before" }

// TakeBegun is that a take of so many seconds begins. TakeRunning and TakeEnded
// follow, before another one begins.
type TakeBegun struct {
	What    string  `json:"what"`
	Seconds float64 `json:"seconds"`
}

func (e TakeBegun) String() string { return fmt.Sprintf("%s, %.1f s", e.What, e.Seconds) }

// TakeRunning is how far the take is that runs, and how loud.
type TakeRunning struct{ capture.Progress }

func (e TakeRunning) String() string { return strings.TrimPrefix(e.Peaks(), " | ") }

// Peaks are the levels of the first two inputs, as in " | in1 -23 dBFS".
func (e TakeRunning) Peaks() string {
	var b strings.Builder
	for i, peak := range e.PeakDBFS {
		if i == 2 {
			break
		}
		channel := i + 1
		if i < len(e.Inputs) {
			channel = e.Inputs[i]
		}
		fmt.Fprintf(&b, " | in%d %4.0f dBFS", channel, max(peak, -120))
	}
	return b.String()
}

// TakeEnded is that the take that ran has ended, in whichever way.
type TakeEnded struct{}

func (TakeEnded) String() string { return "done" }

// TakeThrownAway is that a take did not prove itself and is made again.
type TakeThrownAway struct {
	Reason string        `json:"reason"`
	Fault  capture.Fault `json:"fault"`
	// Try of Of comes next.
	Try int `json:"try"`
	Of  int `json:"of"`
}

func (e TakeThrownAway) String() string {
	return fmt.Sprintf("take thrown away: %s; taking it again (%d of %d)", e.Reason, e.Try, e.Of)
}

// TakeLeftOut is that a take proved itself, but no reading is made of it.
type TakeLeftOut struct {
	Signal string `json:"signal"`
	N      int    `json:"n"`
	Of     int    `json:"of"`
	Reason string `json:"reason"`
	// Again: another is taken in its place.
	Again bool `json:"again,omitempty"`
}

func (e TakeLeftOut) String() string {
	line := fmt.Sprintf("%s %d of %d is left out: %s", e.Signal, e.N, e.Of, e.Reason)
	if e.Again {
		line += "; taking it again"
	}
	return line
}

// TakeMissing is that a take could not be had, and what is done without it.
type TakeMissing struct {
	What   string `json:"what"`
	Doing  string `json:"doing"`
	Reason string `json:"reason"`
}

func (e TakeMissing) String() string { return fmt.Sprintf("%s %s: %s", e.What, e.Doing, e.Reason) }

// InputChecked is how far the gain of an input is from its profile.
type InputChecked struct {
	Input   int     `json:"input"`
	DB      float64 `json:"db"`
	LimitDB float64 `json:"limit_db"`
}

func (e InputChecked) String() string {
	return fmt.Sprintf("input %d: %+.3f dB against its profile (allowed ±%.3f dB)", e.Input, e.DB, e.LimitDB)
}

// MeterRead is what the simulated meter of a simulated bench shows.
type MeterRead struct {
	VoltsRMS float64 `json:"volts_rms"`
}

func (e MeterRead) String() string {
	return fmt.Sprintf("the simulated meter reads %.4g V", e.VoltsRMS)
}

// SilenceRead is what one silence of a hum hunt gave, the Nth, and what the
// hunt says so far.
type SilenceRead struct {
	N         int            `json:"n"`
	Condition hunt.Condition `json:"condition"`
	Why       string         `json:"why,omitempty"`
	Readings  []hunt.Reading `json:"readings"`
	// Changes may be those of other silences too.
	Changes []hunt.Change `json:"changes"`
	Says    string        `json:"says,omitempty"`
}

func (e SilenceRead) String() string {
	return fmt.Sprintf("silence %d, %s: %s", e.N, e.Condition, e.Says)
}

// HumRead is what the last seconds of a hum that is watched gave.
type HumRead struct {
	// AtS is the end of the window, in seconds of listening.
	AtS float64 `json:"at_s"`
	// Readings are by output. One that cannot be read has a Reason.
	Readings []hunt.Reading `json:"hum"`
	// LostFrames counts all that the audio system left out so far.
	LostFrames int `json:"lost_frames"`
	// Refused, where not "", says why levels are not absolute.
	Refused   string `json:"refused,omitempty"`
	Simulated bool   `json:"simulated"`
}

func (e HumRead) String() string {
	return fmt.Sprintf("hum read at %.2f s, outputs: %d", e.AtS, len(e.Readings))
}

// NotPassed is that a board is about to go out with a run that it did not pass.
type NotPassed struct {
	Run      string           `json:"run"`
	Board    string           `json:"board"`
	Verdict  verdict.Outcome  `json:"verdict"`
	Readings []verdict.Judged `json:"readings"`
}

func (e NotPassed) String() string {
	return fmt.Sprintf("run %s, with which board %s goes out, is a %q", e.Run, e.Board, e.Verdict)
}

// Severity is how much a remark matters.
type Severity string

const (
	// Plain goes with what is asked and taken.
	Plain Severity = ""
	// Caution may save from harm or from a wrong reading.
	Caution Severity = "caution"
	// Warning is of what is kept all the same.
	Warning Severity = "warning"
	// Note qualifies the results, and goes with them.
	Note Severity = "note"
)

// Remark is what there is to say besides.
type Remark struct {
	Severity Severity `json:"severity,omitempty"`
	Text     string   `json:"text"`
}

func (e Remark) String() string {
	if e.Severity == Plain {
		return e.Text
	}
	return string(e.Severity) + ": " + e.Text
}

// Remarkf is a plain remark.
func Remarkf(format string, args ...any) Remark { return Remark{Text: fmt.Sprintf(format, args...)} }

// Working is how far work is that takes long, such as copying the store. Of is 0
// where that is not known. Each kind of work ends with Ended.
type Working struct {
	Doing string `json:"doing"`
	Done  int64  `json:"done"`
	Of    int64  `json:"of,omitempty"`
	Ended bool   `json:"ended,omitempty"`
}

func (e Working) String() string { return e.Doing }

// StoreBusy is that another program holds the store, which is waited for.
type StoreBusy struct{}

func (StoreBusy) String() string {
	return "waiting: another program holds the store; going on when it lets go, Ctrl-C stops"
}
