package main

import (
	"context"
	"errors"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/wavtake"
	"boardproof/cmd/boardproof/internal/procedure"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/cmd/boardproof/internal/talk"
	"boardproof/testsignals"
)

// delayNote qualifies the delay in a recording: its player and recorder share
// no start.
const delayNote = "counted from where reading began, not the board's own: a recording does not tell when the signal was sent"

const relativeNote = "no profile: gains are ratios of the files' full scales"

// measureFile reads a recording that was made elsewhere.
func (a *app) measureFile(ctx context.Context, name string, kind testsignals.Kind, f measureFlags, patch []calibration.Patching) (*report.Document, error) {
	if f.bench != "" || f.simulate != "" {
		return nil, wrongUsef("--bench and --simulate are for measuring at the bench, --recorded is a recording made elsewhere")
	}
	if (f.impulses != "") != (f.impulsesPlayed != "") || f.impulses != "" && kind != testsignals.Sweep {
		return nil, wrongUsef("--impulses and --impulses-played go together, beside the recording of a sweep")
	}
	var volts float64
	if f.inputFullScale != "" {
		full, err := parseUnit(f.inputFullScale, "dBu")
		if err != nil {
			return nil, wrongUsef("--input-full-scale: %w", err)
		}
		volts = calibration.VoltsPerUnit(full)
	}
	file, err := wavtake.Open(f.recorded)
	if err != nil {
		return nil, wrongUse(err)
	}
	for _, p := range patch {
		if n := file.Describe().Inputs; p.Input > n {
			return nil, wrongUsef("%s has channels 1 to %d, output %s cannot be channel %d: correct --outputs", f.recorded, n, p.Output, p.Input)
		}
	}
	res, err := a.readFile(ctx, file, kind, f, patch, volts)
	if err != nil {
		return nil, err
	}
	doc := newDocument(name, res, false)
	doc.Notes = append(doc.Notes, relativeNote)
	for i := range doc.Readings {
		if r := &doc.Readings[i]; r.Quantity == analysis.Delay {
			r.Note = delayNote
		}
	}
	if volts > 0 {
		doc.Notes = append(doc.Notes, "levels in dBu are as exact as the --input-full-scale of "+f.inputFullScale+", of which nothing is known")
	}
	return doc, nil
}

func (a *app) readFile(ctx context.Context, file *wavtake.Wavtake, kind testsignals.Kind, f measureFlags, patch []calibration.Patching, volts float64) (analysis.Result, error) {
	sit := &procedure.Sitting{Instrument: file, Output: 1, Patching: patch, Person: talk.Nobody{}, Now: a.now}
	if kind == testsignals.Silence && f.played == "" {
		return sit.WholeSilence(file, f.state, volts)
	}
	if f.played == "" {
		return analysis.Result{}, wrongUsef("say what was played: --played FILE.wav, as 'boardproof signal' wrote it")
	}
	sig, err := playedFor(f.played, kind, file, f.recorded)
	if err != nil {
		return analysis.Result{}, err
	}
	var impulses *analysis.Recording
	if f.impulses != "" {
		if impulses, err = a.secondOpinion(ctx, f, patch); err != nil {
			return refusedTake(sit, err, kind, f.state)
		}
	}
	res, err := sit.Recorded(ctx, sig, impulses, f.state, volts)
	if err != nil {
		return refusedTake(sit, err, kind, f.state)
	}
	return res, nil
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
		return nil, wrongUse(err)
	}
	if sig.Kind != kind {
		return nil, wrongUsef("%s holds %s, this measurement reads a %s: 'boardproof signal %s' writes one", path, sig.Kind, kind, kind)
	}
	if rate := file.Describe().RateHz; sig.RateHz != rate {
		return nil, wrongUsef("%s was recorded at %d Hz, %s played at %d Hz: record at the rate of the signal", recorded, rate, path, sig.RateHz)
	}
	return sig, nil
}

// secondOpinion reads the recording of impulses that goes with a sweep's.
func (a *app) secondOpinion(ctx context.Context, f measureFlags, patch []calibration.Patching) (*analysis.Recording, error) {
	file, err := wavtake.Open(f.impulses)
	if err != nil {
		return nil, wrongUse(err)
	}
	sig, err := playedFor(f.impulsesPlayed, testsignals.Impulses, file, f.impulses)
	if err != nil {
		return nil, err
	}
	sit := &procedure.Sitting{Instrument: file, Output: 1, Patching: patch, Person: talk.Nobody{}, Now: a.now}
	rec, _, err := sit.Proved(ctx, sig, f.state)
	return rec, err
}
