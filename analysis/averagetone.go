package analysis

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// AverageTones is ToneResult of several takes of one tone in one state of the
// board: each reading is the mean of the takes', weighed by the inverse
// variance of what was read from the noise. Takes that were spoilt are left
// out and listed. One tone gives exactly what ToneResult gives.
func AverageTones(tones Takes) (res Result, spoilt []Spoilt, err error) {
	first, results, err := readTakes(tones, "a tone", ToneResult)
	if err != nil {
		return Result{}, nil, err
	}
	if len(results) == 1 {
		return results[0], nil, nil
	}
	spoilt, err = screenTones(results, first.Outputs).spoilt()
	if err != nil {
		return Result{}, nil, err
	}
	kept := without(results, spoilt)
	if len(kept) == 0 {
		return results[0], spoilt, nil
	}
	return averageReadings(kept), spoilt, nil
}

func screenTones(results []Result, outputs []string) screening {
	s := screening{outputs: outputs, reasons: make([][]string, len(results)), strays: "gain"}
	for t, r := range results {
		for _, name := range outputs {
			s.reasons[t] = append(s.reasons[t], r.whyRefused(Gain, name))
		}
	}
	level := func(quantity string, of func(Reading) float64) func(take, output int) float64 {
		return func(take, output int) float64 {
			if r := results[take].find(quantity, outputs[output]); r != nil {
				return DB(of(*r))
			}
			return math.Inf(-1)
		}
	}
	s.noises = []loudness{
		{"noise and distortion beside the tone", bangDB, level(THDN, func(r Reading) float64 { return r.Value })},
		{"the noise beside the tone", bangDB, level(Gain, func(r Reading) float64 { return r.Budget.typeAStd() })},
	}
	gain := func(take, output int) *Reading { return results[take].find(Gain, outputs[output]) }
	s.at = func(take, output int) bool { return gain(take, output) != nil }
	s.apart = func(others []int, take, output int) (chi2, awayDB float64, err error) {
		var same []Reading
		for _, t := range others {
			same = append(same, *gain(t, output))
		}
		one, mean := gain(take, output), meanReading(same)
		awayDB = math.Abs(one.Value - mean.Value)
		return sq(awayDB) / (sq(one.Budget.typeAStd()) + sq(mean.Budget.typeAStd())), awayDB, nil
	}
	return s
}

func (r Result) whyRefused(quantity, output string) string {
	for _, f := range r.Refused {
		if f.Quantity == quantity && f.Output == output {
			return f.Reason
		}
	}
	return ""
}

// find is r's reading of a quantity at an output, nil where it has none.
func (r Result) find(quantity, output string) *Reading {
	for i, x := range r.Readings {
		if x.Quantity == quantity && x.Output == output {
			return &r.Readings[i]
		}
	}
	return nil
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
	chi2, freedom := 0.0, float64(len(same)-1)
	for t, r := range same {
		chi2 += sq((r.Value - out.Value) / std[t])
	}
	most := distuv.ChiSquared{K: freedom}.Quantile(1-scatterOdds) / freedom
	out.Budget = meanBudget(same, weights, birge(chi2, freedom, most))
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
