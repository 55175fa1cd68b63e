package analysis

import (
	"math"

	"boardproof/testsignals"
)

// OverLoopback returns by how much the gain at 1 kHz that the run-in saw at
// output i is above that of the bench's own loopback, in dB, whatever the
// signal is that follows. ok is false where the loopback is not known or
// nothing came back.
func (r *Recording) OverLoopback(i int) (db Estimate, ok bool) {
	b := r.bench(i)
	if b.Loopback == nil || r.problem(i) != "" {
		return Estimate{}, false
	}
	gain, err := runInGain(r, i)
	if err != nil || math.IsNaN(gain.Value) {
		return Estimate{}, false
	}
	b.LoadingDB = Estimate{}
	own, budget := b.toneAt(testsignals.RunInHz)
	return Estimate{gain.Value + own, Hypot(gain.Std, budget.Std())}, true
}

// Departure is the largest distance of output i's response in r, a sweep, from
// the bench's own loopback, in dB, between two frequencies, and the expanded
// uncertainty of that point. ok is false where no response can be had.
func (r *Recording) Departure(i int, lowHz, highHz float64) (db, uncertainty float64, ok bool) {
	one := *r
	one.Outputs, one.Samples, one.Bench = r.Outputs[i:i+1], r.Samples[i:i+1], []BenchInput{r.bench(i)}
	one.Bench[0].LoadingDB = Estimate{}
	one.Problems, one.MarkChangeDB = []string{r.problem(i)}, nil
	res, err := SweepResult(&one, nil, DefaultBand)
	if err != nil || one.Bench[0].Loopback == nil {
		return 0, 0, false
	}
	for _, c := range res.Curves {
		if c.Quantity != Response {
			continue
		}
		for k, f := range c.FrequencyHz {
			if ok = true; f >= lowHz && f <= highHz && math.Abs(c.Value[k]) > math.Abs(db) {
				db, uncertainty = c.Value[k], c.Uncertainty[k]
			}
		}
	}
	return db, uncertainty, ok
}
