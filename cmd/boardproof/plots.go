package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
)

// printPlots says where plots are.
func (a *app) printPlots(paths []string) {
	for _, p := range paths {
		a.printf("plot: %s\n", p)
	}
}

func makePlotsDir(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return wrongUsef("the folder for plots cannot be made (%w): name another with --plots", err)
	}
	return nil
}

// plotsDir is the folder asked for, or one beside the database.
func plotsDir(s *db.Store, asked, name string) string {
	if asked != "" {
		return asked
	}
	return filepath.Join(s.Path()+".plots", name)
}

// drawn lets what is shown stand without the plots that nobody asked for, where
// they cannot lie beside the database: on a read-only medium, on a full disk.
func (a *app) drawn(asked string, err error) error {
	if asked != "" {
		return err
	}
	for _, room := range []error{syscall.EROFS, syscall.ENOSPC, syscall.EDQUOT, fs.ErrPermission} {
		if errors.Is(err, room) {
			a.remarkWrapped("note: ", fmt.Sprintf("no plots were drawn (%v): name a folder with --plots", room))
			return nil
		}
	}
	return err
}

// drawPlots draws what the run has curves for.
func drawPlots(dir string, run db.Run, plan verdict.Plan, profile *calibration.Profile) ([]string, error) {
	if err := makePlotsDir(dir); err != nil {
		return nil, err
	}
	head := report.Heading{Board: run.BoardAsWas.Label, Run: run.ID, Date: run.Started, Simulated: run.Simulated}
	var paths []string
	add := func(p []string, err error) error {
		paths = append(paths, p...)
		return err
	}
	var errs []error
	if c := curvesOf(run, analysis.Response); len(c) > 0 {
		errs = append(errs, add(responsePlots(dir, head, c, report.PlanMasks(masksOf(plan)))))
	}
	if c := curvesOf(run, analysis.NoiseDensity); len(c) > 0 {
		errs = append(errs, add(report.SaveNoise(dir, report.NoisePlot{
			Heading: head, Curves: c, Lines: linesOf(run), Floor: floorCurve(profile)})))
	}
	if c := curvesOf(run, analysis.SplitDifference); len(c) > 0 {
		errs = append(errs, add(report.SaveSplit(dir, report.SplitPlot{Heading: head, Curves: c, Masks: splitLimits(plan)})))
	}
	return paths, errors.Join(errs...)
}

// responsePlots draws the response once for each reference that the plan's
// masks have, and once where there is no mask.
func responsePlots(dir string, head report.Heading, curves []analysis.Curve, sets []report.MaskSet) ([]string, error) {
	if len(sets) == 0 {
		sets = []report.MaskSet{{}}
	}
	var paths []string
	for i, set := range sets {
		if i > 0 {
			head.Name = fmt.Sprintf("response-%d", i+1)
		}
		p, err := report.SaveResponse(dir, report.ResponsePlot{
			Heading: head, Curves: curves, Masks: set.Masks, RelativeToHz: set.RelativeToHz, Phase: true})
		if err != nil {
			return paths, err
		}
		paths = append(paths, p...)
	}
	return paths, nil
}

func curvesOf(run db.Run, quantity string) []analysis.Curve {
	var out []analysis.Curve
	for _, c := range run.Curves {
		if c.Quantity == quantity {
			out = append(out, c)
		}
	}
	return out
}

func linesOf(run db.Run) []analysis.Reading {
	var out []analysis.Reading
	for _, r := range run.Readings {
		if r.Quantity == analysis.HumHarmonic || r.Quantity == analysis.OtherTone {
			out = append(out, r.Reading)
		}
	}
	return out
}

func masksOf(plan verdict.Plan) []verdict.Mask {
	var out []verdict.Mask
	for _, s := range plan.Steps {
		out = append(out, s.Masks...)
	}
	return out
}

// splitLimits draws the limit on the worst level match over its band.
func splitLimits(plan verdict.Plan) []report.Mask {
	var out []report.Mask
	for _, s := range plan.Steps {
		for _, l := range s.Limits {
			if l.Quantity != analysis.WorstLevelMatch || l.Min == nil || l.Max == nil {
				continue
			}
			out = append(out, report.Mask{Output: l.Output, FrequencyHz: l.BandHz[:],
				Min: []float64{*l.Min, *l.Min}, Max: []float64{*l.Max, *l.Max}})
		}
	}
	return out
}

// floorCurve is the bench's own noise at its first input.
func floorCurve(p *calibration.Profile) *analysis.Curve {
	if p == nil || len(p.Inputs) == 0 || len(p.Inputs[0].NoiseDensity.FrequencyHz) == 0 {
		return nil
	}
	return &p.Inputs[0].NoiseDensity
}
