package workshop

import (
	"context"
	"errors"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/wavtake"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// delayNote qualifies the delay in a recording: its player and recorder share
// no start.
const delayNote = "counted from where reading began, not the board's own: a recording does not tell when the signal was sent"

const relativeNote = "no profile: gains are ratios of the files' full scales"

// FileRequest asks for a recording to be read that was made elsewhere.
type FileRequest struct {
	// Of, Patch and State are as in a MeasureRequest.
	Of    string
	Patch []calibration.Patching
	State string
	// Recorded is the file, Played what was played while it was recorded; "" of a
	// silence in which nothing was.
	Recorded, Played string
	// Impulses is a recording of impulses in the same state, the second opinion on
	// a response, and ImpulsesPlayed what was played; both or none.
	Impulses, ImpulsesPlayed string
	// InputFullScale is the level at which the recorder reads full scale.
	InputFullScale FullScale
}

// FullScale is a level that is said of a recorder, of which nothing is known.
type FullScale struct {
	// DBu is it, nil where it is not known, Said how it was said.
	DBu  *float64
	Said string
}

// volts is the peak voltage at which a sample reads 1.0, 0 where that is not known.
func (f FullScale) volts() float64 {
	if f.DBu == nil {
		return 0
	}
	return calibration.VoltsPerUnit(*f.DBu)
}

// openRecorded opens a recording that must have the channels of patch.
func openRecorded(path string, patch []calibration.Patching) (*wavtake.Wavtake, error) {
	file, err := wavtake.Open(path)
	if err != nil {
		return nil, invalid(err)
	}
	for _, p := range patch {
		if n := file.Describe().Inputs; p.Input > n {
			return nil, invalidf("%s has channels 1 to %d, output %s cannot be channel %d: correct --outputs", path, n, p.Output, p.Input)
		}
	}
	return file, nil
}

// MeasureFile reads a recording that was made elsewhere.
func (w *Workshop) MeasureFile(ctx context.Context, r FileRequest) (*Measured, error) {
	if err := checkPatch(r.Of, r.Patch); err != nil {
		return nil, err
	}
	if (r.Impulses != "") != (r.ImpulsesPlayed != "") || r.Impulses != "" && signalOf(r.Of) != testsignals.Sweep {
		return nil, fieldf("impulses", " and --impulses-played go together, beside the recording of a sweep")
	}
	file, err := openRecorded(r.Recorded, r.Patch)
	if err != nil {
		return nil, err
	}
	res, err := w.readFile(ctx, file, r)
	if err != nil {
		return nil, err
	}
	m := measured(r.Of, res)
	m.Notes = append(m.Notes, relativeNote)
	for i := range m.Readings {
		if r := &m.Readings[i]; r.Quantity == analysis.Delay {
			r.Note = delayNote
		}
	}
	if r.InputFullScale.DBu != nil {
		m.Notes = append(m.Notes, "levels in dBu are as exact as the --input-full-scale of "+r.InputFullScale.Said+", of which nothing is known")
	}
	return m, nil
}

func (w *Workshop) readFile(ctx context.Context, file *wavtake.Wavtake, r FileRequest) (analysis.Result, error) {
	kind, volts := signalOf(r.Of), r.InputFullScale.volts()
	sit := w.ofFile(file, r.Patch)
	if kind == testsignals.Silence && r.Played == "" {
		return sit.WholeSilence(file, r.State, volts)
	}
	if r.Played == "" {
		return analysis.Result{}, invalidf("say what was played: --played FILE.wav, as 'boardproof signal' wrote it")
	}
	sig, err := playedFor(r.Played, kind, file, r.Recorded)
	if err != nil {
		return analysis.Result{}, err
	}
	var impulses *analysis.Recording
	if r.Impulses != "" {
		if impulses, err = w.secondOpinion(ctx, r); err != nil {
			return refusedTake(sit, err, kind, r.State)
		}
	}
	res, err := sit.Recorded(ctx, sig, impulses, r.State, volts)
	if err != nil {
		return refusedTake(sit, err, kind, r.State)
	}
	return res, nil
}

// ofFile is a sitting at which nobody is, with a recording in the place of a bench.
func (w *Workshop) ofFile(file *wavtake.Wavtake, patch []calibration.Patching) *procedure.Sitting {
	return &procedure.Sitting{Instrument: file, Output: 1, Patching: patch, Person: talk.Nobody{}, Now: w.Now}
}

// refusedTake makes refusals of a recording that does not prove itself.
func refusedTake(sit *procedure.Sitting, err error, kind testsignals.Kind, state string) (analysis.Result, error) {
	var bad *capture.BadTake
	if errors.As(err, &bad) {
		return sit.Refusals(&procedure.RefusedTake{Reason: bad.Error()}, kind, state)
	}
	return analysis.Result{}, err
}

// playedFor is the signal of the file at path, which must be of kind and of
// the recording's rate.
func playedFor(path string, kind testsignals.Kind, file *wavtake.Wavtake, recorded string) (*testsignals.Signal, error) {
	sig, err := wavtake.Played(path)
	if err != nil {
		return nil, invalid(err)
	}
	if sig.Kind != kind {
		return nil, invalidf("%s holds %s, this measurement reads a %s: 'boardproof signal %s' writes one", path, sig.Kind, kind, kind)
	}
	if rate := file.Describe().RateHz; sig.RateHz != rate {
		return nil, invalidf("%s was recorded at %d Hz, %s played at %d Hz: record at the rate of the signal", recorded, rate, path, sig.RateHz)
	}
	return sig, nil
}

// secondOpinion reads the recording of impulses that goes with a sweep's.
func (w *Workshop) secondOpinion(ctx context.Context, r FileRequest) (*analysis.Recording, error) {
	file, err := wavtake.Open(r.Impulses)
	if err != nil {
		return nil, invalid(err)
	}
	sig, err := playedFor(r.ImpulsesPlayed, testsignals.Impulses, file, r.Impulses)
	if err != nil {
		return nil, err
	}
	rec, _, err := w.ofFile(file, r.Patch).Proved(ctx, sig, r.State)
	return rec, err
}
