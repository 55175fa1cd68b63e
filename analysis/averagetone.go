package analysis

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// AverageTones is ToneResult of several takes of one tone in one state of the
// board: each reading is the mean of the takes', weighed by the inverse
// variance of what was read from the noise. Takes that were spoilt are left
// out and listed. One tone gives exactly what ToneResult gives.
func AverageTones(tones Takes) (res Result, spoilt []Spoilt, err error) {
	if tones.N == 0 {
		return Result{}, nil, errors.New("reading a tone: there is none")
	}
	results := make([]Result, tones.N)
	var outputs []string
	err = tones.each(func(t int, rec *Recording) (err error) {
		outputs = rec.Outputs
		results[t], err = ToneResult(rec)
		return err
	})
	if err != nil {
		return Result{}, nil, err
	}
	if tones.N == 1 {
		return results[0], nil, nil
	}
	spoilt = spoiltTones(results, outputs)
	kept := without(results, spoilt)
	if len(kept) == 0 {
		return results[0], spoilt, nil
	}
	return averageReadings(kept), spoilt, nil
}

// spoiltTones finds takes in which an output was refused that was not in the
// others, whose noise is far above theirs, or whose gain strays from theirs.
func spoiltTones(results []Result, outputs []string) []Spoilt {
	reasons := make([][]string, len(results))
	for t, r := range results {
		reasons[t] = make([]string, len(outputs))
		for i, name := range outputs {
			reasons[t][i] = r.whyRefused(Gain, name)
		}
	}
	spoilt := refusedAlone(reasons)
	for _, name := range outputs {
		for _, s := range loud(levelsOf(results, THDN, name, func(r Reading) float64 { return DB(r.Value) }), bangDB, "noise and distortion beside the tone at output "+name) {
			spoilt = once(spoilt, []Spoilt{s})
		}
		for _, s := range loud(levelsOf(results, Gain, name, func(r Reading) float64 { return DB(r.Budget.typeAStd()) }), bangDB, "the noise beside the tone at output "+name) {
			spoilt = once(spoilt, []Spoilt{s})
		}
	}
	for _, name := range outputs {
		spoilt = strayTones(results, spoilt, name)
	}
	return spoilt
}

func (r Result) whyRefused(quantity, output string) string {
	for _, f := range r.Refused {
		if f.Quantity == quantity && f.Output == output {
			return f.Reason
		}
	}
	return ""
}

// levelsOf reads a figure from each result, −Inf where it has none.
func levelsOf(results []Result, quantity, output string, of func(Reading) float64) []float64 {
	levels := make([]float64, len(results))
	for t, res := range results {
		levels[t] = math.Inf(-1)
		for _, r := range res.Readings {
			if r.Quantity == quantity && r.Output == output {
				levels[t] = of(r)
			}
		}
	}
	return levels
}

// strayTones adds takes whose gain at output is off the mean of the others by
// more than noise and ltiAllowanceDB explain, one at a time.
func strayTones(results []Result, spoilt []Spoilt, output string) []Spoilt {
	for {
		var gains []Reading
		var at []int
		for t, res := range results {
			for _, r := range res.Readings {
				if r.Quantity == Gain && r.Output == output && !isSpoilt(spoilt, t) {
					gains, at = append(gains, r), append(at, t)
				}
			}
		}
		if len(gains) < majority {
			return spoilt
		}
		worst, off, odd := strayChi2, 0.0, -1
		for k, g := range gains {
			others := append(append([]Reading{}, gains[:k]...), gains[k+1:]...)
			mean := meanReading(others)
			away := math.Abs(g.Value - mean.Value)
			chi2 := sq(away) / (sq(g.Budget.typeAStd()) + sq(mean.Budget.typeAStd()))
			if chi2 > worst && away > ltiAllowanceDB {
				worst, off, odd = chi2, away, k
			}
		}
		if odd < 0 {
			return spoilt
		}
		spoilt = append(spoilt, Spoilt{at[odd], fmt.Sprintf("the gain at output %s is %.2f dB off the other takes, more than noise explains", output, off)})
	}
}

// typeAStd is the part of b that was read from the scatter of the record.
func (b Budget) typeAStd() float64 {
	var a Budget
	for _, c := range b {
		if c.Kind == "A" {
			a = append(a, c)
		}
	}
	return a.Std()
}

// of returns b's contribution of a source, nothing where it has none.
func (b Budget) of(source string) Contribution {
	for _, c := range b {
		if c.Source == source {
			return c
		}
	}
	return Contribution{Source: source}
}

// figure is what tells one reading of a take from another.
type figure struct{ quantity, output, reference, weighting string }

func figureOf(r Reading) figure { return figure{r.Quantity, r.Output, r.Reference, r.Weighting} }

// averageReadings combines readings of the same figure; where a take has none
// of it, the others count. What all refuse is refused.
func averageReadings(takes []Result) Result {
	out := Result{}
	seen := map[figure]bool{}
	for _, take := range takes {
		for _, r := range take.Readings {
			if seen[figureOf(r)] {
				continue
			}
			seen[figureOf(r)] = true
			var same []Reading
			for _, other := range takes {
				for _, o := range other.Readings {
					if figureOf(o) == figureOf(r) {
						same = append(same, o)
					}
				}
			}
			out.Readings = append(out.Readings, meanReading(same))
		}
	}
	for _, f := range takes[0].Refused {
		if !seen[figure{f.Quantity, f.Output, f.Reference, ""}] {
			out.Refused = append(out.Refused, f)
		}
	}
	return out
}

// scatterOdds is how seldom noise alone scatters a few takes so far that
// their scatter is believed instead of it.
const scatterOdds = 0.001

// meanReading is the mean of readings of one figure. Type A contributions
// shrink as the weights say, times the Birge ratio where the takes scatter
// beyond noise; type B ones, the same in all, stay. A bound among them makes
// the mean a bound, of which the loosest is taken.
func meanReading(same []Reading) Reading {
	out := same[0]
	if len(same) == 1 {
		return out
	}
	std := make([]float64, len(same))
	for t, r := range same {
		if r.UpperBound || r.LowerBound {
			return loosest(same)
		}
		std[t] = r.Budget.typeAStd()
	}
	weights, _ := inverseVariance(std)
	out.Value = 0
	for t, r := range same {
		out.Value += weights[t] * r.Value
	}
	out.Budget = meanBudget(same, weights, birge(same, std, out.Value))
	out.Uncertainty = out.Budget.Expanded()
	return out
}

func loosest(same []Reading) Reading {
	out := same[0]
	for _, r := range same {
		if !r.UpperBound && !r.LowerBound {
			continue
		}
		firstBound := !out.UpperBound && !out.LowerBound
		if firstBound || r.UpperBound && r.Value > out.Value || r.LowerBound && r.Value < out.Value {
			out = r
		}
	}
	return out
}

// meanBudget takes each type A source's weighted sum of squares, and each type
// B source as the weighted mean.
func meanBudget(same []Reading, weights []float64, scatter float64) Budget {
	var out Budget
	for _, c := range same[0].Budget {
		power, mean := 0.0, 0.0
		for t, r := range same {
			std := r.Budget.of(c.Source).Std
			power += sq(weights[t] * std)
			mean += weights[t] * std
		}
		if c.Std = mean; c.Kind == "A" {
			c.Std = scatter * math.Sqrt(power)
		}
		out = append(out, c)
	}
	return out
}

func birge(same []Reading, std []float64, mean float64) float64 {
	chi2 := 0.0
	for t, r := range same {
		chi2 += sq((r.Value - mean) / std[t])
	}
	freedom := float64(len(same) - 1)
	if math.IsInf(chi2, 0) || !(chi2 > distuv.ChiSquared{K: freedom}.Quantile(1-scatterOdds)) {
		return 1
	}
	return math.Sqrt(chi2 / freedom)
}
