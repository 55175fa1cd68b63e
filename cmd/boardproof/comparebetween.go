package main

import (
	"errors"
	"fmt"

	"boardproof/analysis/change"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// drawDifferences draws a page for each curve.
func drawDifferences(dir string, board db.Board, then, now db.Run, c change.Comparison) ([]string, error) {
	if len(c.Curves) == 0 {
		return nil, nil
	}
	if err := makePlotsDir(dir); err != nil {
		return nil, err
	}
	var paths []string
	var errs []error
	for i, k := range c.Curves {
		name := fmt.Sprintf("compare-%d", i+1)
		p, err := report.SaveDifference(dir, report.DifferencePlot{
			Heading: report.Heading{Board: board.Label, Run: then.ID + " and " + now.ID, Step: curveStep(k), Date: now.Started, Simulated: now.Simulated, Name: name},
			Change:  k, Then: then.ID, Now: now.ID})
		paths, errs = append(paths, p...), append(errs, err)
	}
	return paths, errors.Join(errs...)
}

func curveStep(k change.CurveChange) string {
	words := "output " + k.Output
	if k.Reference != "" {
		words = fmt.Sprintf("%s against %s", words, k.Reference)
	}
	if k.State != "" {
		words += ", " + k.State
	}
	return words
}
