package bigstore

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
	"boardproof/calibration"
	"boardproof/cmd/trial/internal/trials"
	"boardproof/db"
)

const (
	benchName = "long bench"
	// atOnce is how many runs go into one transaction.
	atOnce = 1000
	years  = 8
)

var (
	firstWords  = []string{"Amber", "Copper", "Dusty", "Grey", "Lantern", "Mossy", "North", "Quiet", "Salt", "Tin", "Velvet", "Winter"}
	secondWords = []string{"Barge", "Bell", "Causeway", "Ferry", "Gate", "Heron", "Lock", "Mill", "Orchard", "Quarry", "Signal", "Wharf"}
	givenNames  = []string{"Ada", "Bela", "Cleo", "Dario", "Edda", "Finn", "Greta", "Hanno", "Ida", "Jonte", "Kaya", "Levin"}
	kinds       = []string{"fuzz", "overdrive", "buffer", "tremolo", "delay, buffered bypass", "chorus", "compressor", "volume", "reverb", "split"}
)

// fill makes boards over some years, each measured a few times.
func fill(ctx context.Context, s *db.Store, p trials.Plan, runs int) error {
	boards, rng := p.Trials, rand.New(rand.NewPCG(p.Seed, 2))
	end := time.Now().UTC()
	begin := end.AddDate(-years, 0, 0)
	day := func(i, of int) time.Time {
		return begin.Add(time.Duration(float64(end.Sub(begin)) * float64(i) / float64(of)))
	}
	// 'boardproof trend --bench' is asked by a bench's name.
	if err := s.SetBench(ctx, db.Bench{Name: benchName, Kind: "soundcard", RateHz: 48000, Output: 1, Inputs: map[string]int{"A": 1, "B": 2}}); err != nil {
		return err
	}
	profile, err := s.SaveProfile(ctx, calibration.Profile{Bench: benchName, Created: begin})
	if err != nil {
		return err
	}
	var made []db.Board
	for i := range boards {
		made = append(made, board(rng, i, day(i, boards)))
	}
	if made, err = s.AddBoards(ctx, made); err != nil {
		return err
	}
	plans := map[int64]int64{}
	for i := 0; i < len(made); i += len(made)/50 + 1 {
		kept, err := s.SavePlan(ctx, made[i].ID, verdict.DefaultPlanTOML)
		if err != nil {
			return err
		}
		plans[made[i].ID] = kept.ID
	}
	progress := trials.NewProgress(p.Progress, runs, "runs")
	for i := 0; i < runs; i += atOnce {
		var batch []db.Run
		for j := i; j < min(i+atOnce, runs); j++ {
			// Every board at least once where there are enough runs; a board is
			// measured only after it was registered.
			of := j % len(made)
			at := day(of, boards).Add(time.Duration(float64(end.Sub(day(of, boards))) * float64(j) / float64(runs)))
			batch = append(batch, run(rng, made[of], profile.ID, plans[made[of].ID], at))
		}
		if _, err := s.SaveRuns(ctx, batch); err != nil {
			return err
		}
		progress.Add(len(batch))
	}
	progress.End()
	return nil
}

func board(rng *rand.Rand, i int, created time.Time) db.Board {
	pick := func(of []string) string { return of[rng.IntN(len(of))] }
	b := db.Board{
		Label:   fmt.Sprintf("%s %s %d", pick(firstWords), pick(secondWords), i+1),
		Owner:   fmt.Sprintf("%s Example", pick(givenNames)),
		Serial:  fmt.Sprintf("BX-%05d", i+1),
		Outputs: []string{"A", "B"}, Created: created,
	}
	for d := range 4 + rng.IntN(6) {
		k := pick(kinds)
		b.Chain = append(b.Chain, db.Device{Name: fmt.Sprintf("%s %d", pick(firstWords), d+1), Kind: k, SupplyV: 9, SupplyMA: float64(5 + rng.IntN(60))})
	}
	return b
}

// run has about thirty readings and small curves.
func run(rng *rand.Rand, b db.Board, profile string, plan int64, at time.Time) db.Run {
	r := db.Run{BoardID: b.ID, Bench: benchName, ProfileID: profile, PlanID: plan, Simulated: false, Operator: "bigstore",
		Started: at.Add(-5 * time.Minute), Finished: at, MethodVersion: analysis.MethodVersion, Notes: "invented"}
	add := func(quantity, output, unit string, value, u float64, j verdict.Judged) {
		j.Quantity, j.Output, j.Unit, j.Value, j.Uncertainty, j.K = quantity, output, unit, value+u/2*rng.NormFloat64(), u, 2
		j.Budget = analysis.Budget{{Source: "noise", Kind: "A", Std: u / 3}, {Source: "lead", Kind: "B", Std: u / 4}}
		if j.Verdict = verdict.Pass; rng.IntN(300) == 0 {
			j.Verdict = verdict.Fail
		}
		r.Readings = append(r.Readings, j)
	}
	for _, o := range b.Outputs {
		add(analysis.Gain, o, "dB", -0.5, 0.04, verdict.Judged{Step: "response"})
		add(analysis.LowCorner, o, "Hz", 6, 0.3, verdict.Judged{Step: "response"})
		add(analysis.HighCorner, o, "Hz", 26000, 400, verdict.Judged{Step: "response"})
		add(analysis.Flatness, o, "dB", 0.4, 0.05, verdict.Judged{Step: "response"})
		add(analysis.THD, o, "%", 0.02, 0.004, verdict.Judged{Step: "tone"})
		for _, w := range []string{"none", "A", "468"} {
			j := verdict.Judged{Step: "silence"}
			j.Weighting = w
			add(analysis.Noise, o, "dBu", -92, 0.5, j)
		}
		for h := range 6 {
			j := verdict.Judged{Step: "silence"}
			j.Harmonic = h + 1
			add(analysis.HumHarmonic, o, "dBu", -105-3*float64(h), 1, j)
		}
	}
	add(analysis.LevelMatch, "B", "dB", 0.05, 0.01, verdict.Judged{Step: "split"})
	add(analysis.DelayMatch, "B", "µs", 0.1, 0.05, verdict.Judged{Step: "split"})
	c := analysis.Curve{Quantity: "response", Output: "A", Unit: "dB"}
	for i := range 30 {
		c.FrequencyHz = append(c.FrequencyHz, 20*math.Pow(10, float64(i)/10))
		c.Value, c.Uncertainty = append(c.Value, -0.5+0.01*rng.NormFloat64()), append(c.Uncertainty, 0.04)
	}
	r.Curves = []analysis.Curve{c}
	return r
}
