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
	sit := &procedure.Sitting{Instrument: file, Output: 1, Patching: patch, Operator: a.operator(ctx), Now: a.now}
	if kind == testsignals.Silence && f.played == "" {
		return sit.WholeSilence(file, f.state, volts)
	}
	if f.played == "" {
		return analysis.Result{}, wrongUsef("say what was played: --played FILE.wav, as 'boardproof signal' wrote it")
	}
	sig, err := wavtake.Played(f.played)
	if err != nil {
		return analysis.Result{}, wrongUse(err)
	}
	if sig.Kind != kind {
		return analysis.Result{}, wrongUsef("%s holds %s, this measurement reads a %s: 'boardproof signal %s' writes one", f.played, sig.Kind, kind, kind)
	}
	if sig.RateHz != file.Describe().RateHz {
		return analysis.Result{}, wrongUsef("%s was recorded at %d Hz, %s played at %d Hz: record at the rate of the signal", f.recorded, file.Describe().RateHz, f.played, sig.RateHz)
	}
	res, err := sit.Recorded(ctx, sig, f.state, volts)
	var bad *capture.BadTake
	if errors.As(err, &bad) {
		return sit.Refusals(&procedure.RefusedTake{Reason: bad.Error()}, kind, f.state)
	}
	return res, err
}
