package sheet

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/cmd/boardproof/internal/report"
	"boardproof/db"
	"boardproof/testsignals"
)

func at(hour, minute int) time.Time { return time.Date(2031, 3, 4, hour, minute, 0, 0, time.UTC) }

func limit(lo, hi float64) *verdict.Limit {
	l := verdict.Limit{}
	if !math.IsNaN(lo) {
		l.Min = &lo
	}
	if !math.IsNaN(hi) {
		l.Max = &hi
	}
	return &l
}

// judged is a reading of the sample's only state, judged as the plan would.
func judged(step, quantity, output string, value, u float64, l *verdict.Limit) verdict.Judged {
	j := verdict.Judged{Step: step, Limit: l, Reading: analysis.Reading{Quantity: quantity, Output: output, State: "all bypassed",
		Value: value, Unit: analysis.UnitOf(quantity), Uncertainty: u, K: 2}}
	if u > 0 {
		j.Budget = analysis.Budget{{Source: "repeatability of the loopback lead", Kind: "B", Std: u / 2}}
	}
	if l != nil {
		j.Verdict = verdict.Judge(value, u, false, *l, verdict.Guarded)
	}
	return j
}

// sample is a run of a board with so many outputs that passes.
func sample(outputs ...string) Source {
	nan := math.NaN()
	run := db.Run{ID: "r20310304-0017", Bench: "main", ProfileID: "p20310101-0001", PlanID: 3, Operator: "kim", MethodVersion: "4",
		Started: at(14, 5), Finished: at(14, 9), BoardAsWas: db.Board{Label: "Tin Heron", Owner: "the Salt Road band", Serial: "TH-0012", Outputs: outputs,
			Chain: []db.Device{{Name: "moss fuzz", Kind: "fuzz", SupplyV: 9, SupplyMA: 4, Plug: "2.1 mm, centre negative"}, {Name: "two-way split", Kind: "split"}}}}
	for i, out := range outputs {
		x := float64(i)
		noise := judged("silence", analysis.Noise, out, -97.26-x, 0.06, limit(nan, -85))
		noise.Weighting = "A"
		run.Readings = append(run.Readings,
			judged("path", analysis.Gain, out, -0.2463-0.1*x, 0.0035, limit(-1.5, 0.5)),
			judged("path", analysis.LowCorner, out, 14.62, 0.08, limit(nan, 20)),
			judged("path", analysis.HighCorner, out, 19876, 11, limit(15000, nan)),
			judged("path", analysis.Flatness, out, 0.0951, 0.001, limit(nan, 1)),
			judged("tone", analysis.THD, out, 0.00323, 0.0002, limit(nan, 0.1)),
			noise,
			judged("silence", analysis.Hum, out, -103.77, 0.63, limit(nan, -80)),
			judged("flex", analysis.DropOuts, out, 0, 0, limit(nan, 0)))
		if i > 0 {
			for _, m := range []verdict.Judged{
				judged("path", analysis.LevelMatch, out, -0.0134, 0.0049, limit(-0.25, 0.25)),
				judged("path", analysis.PolarityMatch, out, 1, 0, limit(1, 1)),
				judged("path", analysis.DelayMatch, out, 14.197, 0.016, limit(-20, 20)),
			} {
				m.Reference = outputs[0]
				run.Readings = append(run.Readings, m)
			}
		}
		run.Curves = append(run.Curves, response(out), noiseDensity(out, x))
	}
	run.Verdict = verdict.Overall(run.Readings)
	run.Takes = []db.TakeRef{{SHA256: strings.Repeat("5a", 32), Step: "path", Attempt: 1, Take: capture.Take{RateHz: 48000,
		Signal: testsignals.New(testsignals.Sweep, 48000, -12, 6)}},
		{SHA256: strings.Repeat("c3", 32), Step: "path", Attempt: 2, LeftOut: "a bang on the bench", Take: capture.Take{RateHz: 48000}}}
	s := Source{Run: run, Digest: strings.Repeat("0f1e2d3c", 8), Plan: verdict.Plan{Name: "a mono board", Rule: verdict.Guarded,
		Steps: []verdict.Step{{Name: "path", State: "all bypassed", Limits: []verdict.PlanLimit{{Quantity: analysis.Gain, Source: "common practice"}}}}},
		PlanVersion: 2, Profile: sampleProfile()}
	var lines []analysis.Reading
	for _, out := range outputs {
		lines = append(lines, analysis.Reading{Quantity: analysis.HumHarmonic, Output: out, Harmonic: 3, FrequencyHz: 150, Value: -109})
	}
	var responses, noises []analysis.Curve
	for _, c := range run.Curves {
		if c.Quantity == analysis.Response {
			responses = append(responses, c)
		} else {
			noises = append(noises, c)
		}
	}
	s.Response = &report.ResponsePlot{Heading: report.Heading{Bare: true}, Curves: responses}
	s.Noise = &report.NoisePlot{Heading: report.Heading{Bare: true}, Curves: noises, Lines: lines}
	return s
}

func sampleProfile() *calibration.Profile {
	return &calibration.Profile{ID: "p20310101-0001", Bench: "main", Created: time.Date(2031, 1, 1, 9, 0, 0, 0, time.UTC),
		ValidUntil: time.Date(2032, 1, 1, 9, 0, 0, 0, time.UTC), Instrument: capture.Description{Device: "four-channel interface", Host: "ALSA", RateHz: 48000},
		Meter: "bench meter", Method: calibration.Method, OutputFullScaleDBu: analysis.Estimate{Value: 12.4, Std: 0.02},
		Inputs: []calibration.Input{{Channel: 1, FullScaleDBu: analysis.Estimate{Value: 11.8, Std: 0.03}, LatencyS: analysis.Estimate{Value: 0.0052, Std: 1e-7}}}}
}

func response(out string) analysis.Curve {
	c := analysis.Curve{Quantity: analysis.Response, Output: out, Unit: "dB"}
	for f := 10.0; f < 22000; f *= 1.03 {
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Value = append(c.Value, -0.25-10*math.Log10(1+14*14/f/f)-10*math.Log10(1+f*f/4e8))
	}
	return c
}

func noiseDensity(out string, lower float64) analysis.Curve {
	c := analysis.Curve{Quantity: analysis.NoiseDensity, Output: out, Unit: "dBu"}
	for f := 20.0; f < 22000; f *= 1.01 {
		c.FrequencyHz = append(c.FrequencyHz, f)
		c.Value = append(c.Value, -131-lower-10*math.Log10(f/(f+100)))
	}
	return c
}

// change replaces the readings of one quantity at one output.
func (s Source) change(quantity, output string, by func(*verdict.Judged)) Source {
	for i, j := range s.Run.Readings {
		if j.Quantity == quantity && j.Output == output {
			by(&s.Run.Readings[i])
			if r := &s.Run.Readings[i]; !r.Absent && r.Limit != nil {
				r.Verdict = verdict.Judge(r.Value, r.Uncertainty, r.UpperBound, *r.Limit, verdict.Guarded)
			}
		}
	}
	s.Run.Verdict = verdict.Overall(s.Run.Readings)
	return s
}

// samples are what a sheet may have to tell.
func samples() map[string]Source {
	all := map[string]Source{"good": sample("A", "B"), "one output": sample("out"), "three outputs": sample("A", "B", "C")}
	all["failing"] = sample("A", "B").change(analysis.Gain, "B", func(j *verdict.Judged) { j.Value = -2.0885 }).
		change(analysis.PolarityMatch, "B", func(j *verdict.Judged) { j.Value = -1 })
	chance := 0.12
	all["conditional"] = sample("A", "B").change(analysis.Gain, "A", func(j *verdict.Judged) {
		j.Value, j.ChanceWrong, j.Settles = 0.4990, &chance, "8 more sweeps (59 s) would settle it"
	})
	missing := sample("A", "B").change(analysis.Noise, "B", func(j *verdict.Judged) {
		j.Absent, j.Verdict, j.Note = true, verdict.NotMeasured, "the profile expired on 2031-02-01"
	})
	missing.Run.Refused = []analysis.Refusal{{Quantity: analysis.Noise, Output: "B", State: "all bypassed", Reason: "the profile expired on 2031-02-01"}}
	all["not measured"] = missing
	sim := sample("A", "B")
	sim.Run.Simulated = true
	all["simulated"] = sim
	plain := sample("A", "B")
	plain.Run.BoardAsWas.Owner, plain.Run.BoardAsWas.Serial, plain.Run.BoardAsWas.Chain = "", "", nil
	plain.Run.Operator, plain.Profile, plain.Plan, plain.PlanVersion, plain.Run.PlanID = "", nil, verdict.Plan{}, 0, 0
	for i := range plain.Run.Readings {
		plain.Run.Readings[i].Limit, plain.Run.Readings[i].Verdict = nil, ""
	}
	plain.Run.Verdict = ""
	all["bare"] = plain
	all["floor"] = sample("A", "B").change(analysis.Noise, "A", func(j *verdict.Judged) { j.FloorLimited = true })
	little := sample("A", "B")
	little.Run.Readings = little.Run.Readings[:1]
	for i := range 6 {
		little.Run.Refused = append(little.Run.Refused, analysis.Refusal{Quantity: analysis.Hum, Output: "B", Reason: fmt.Sprintf("reason %d", i)})
	}
	all["little"] = little
	all["long"] = long()
	return all
}

// long is a board of which everything is long.
func long() Source {
	s := sample("to the left amplifier", "to the right amplifier", "to the desk")
	s = s.change(analysis.Gain, "to the desk", func(j *verdict.Judged) { j.Value = -2.5 })
	b := &s.Run.BoardAsWas
	b.Label = "The great board of the Łódź–Kraków road, rebuilt for the second half of the tour with three amplifiers"
	b.Owner = "Σωκράτης & Мария of the Wandering Orchestra of the Ten Thousand Lakes, c/o the stage door"
	b.Serial = strings.Repeat("SERIAL-WITHOUT-A-BREAK-", 4) + "0001"
	b.Chain = nil
	for range 14 {
		b.Chain = append(b.Chain, db.Device{Name: "a device of a very long and winding name 20 kΩ", Kind: "delay with buffered bypass and tails",
			SupplyV: 12.5, SupplyMA: 1200.25, Plug: "2.1 × 5.5 mm, centre negative, isolated outlet"})
	}
	s.Run.Notes = strings.Repeat("back from the road a second time, cleaned and resoldered; ", 5)
	return s
}

// kept writes a file for a tool to read; SHEETS_DIR keeps them to look at.
func kept(t *testing.T, name string, data []byte) string {
	t.Helper()
	dir := os.Getenv("SHEETS_DIR")
	if dir == "" {
		dir = t.TempDir()
	}
	path := filepath.Join(dir, strings.ReplaceAll(name, " ", "-"))
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}
