package analysis

import (
	"fmt"
	"math"
	"slices"
)

// Spoilt is a take that was left out of an average, by its place among those
// given, and why.
type Spoilt struct {
	Take   int
	Reason string
}

const (
	// bangDB is how far above the lower median of all takes the noise recorded
	// beside a signal must be for the take to be called spoilt, as by a bang on
	// the bench: no hiss strays so far. Common practice, no source.
	bangDB = 10.0
	// silenceBangDB is that of a silence's hiss, which is the reading itself
	// and known to a tenth of a decibel.
	silenceBangDB = 3.0
	// strayChi2 is the square, in standard uncertainties, from which on a take
	// is further from the others than noise explains, where it is also
	// ltiAllowanceDB away: what a clean path may do is no reason.
	strayChi2 = 4.0
	// majority is the least number of takes among which one can be told to be
	// the odd one out.
	majority = 3
)

// lowerMedian is the middle of x, of an even number the lower of the two: of
// two takes the quieter is the measure.
func lowerMedian(x []float64) float64 {
	sorted := slices.Sorted(slices.Values(x))
	return sorted[(len(sorted)-1)/2]
}

// loud lists those of the levels in dB that lie more than byDB above their
// lower median.
func loud(levelsDB []float64, byDB float64, what string) []Spoilt {
	if len(levelsDB) < 2 {
		return nil
	}
	var bad []Spoilt
	middle := lowerMedian(levelsDB)
	for t, l := range levelsDB {
		if l > middle+byDB {
			bad = append(bad, Spoilt{t, fmt.Sprintf("%s is %.1f dB above that of the other takes, as after a bang on the bench", what, l-middle)})
		}
	}
	return bad
}

// inverseVariance returns the weights, of sum 1, that make a mean of values
// with these standard uncertainties the least uncertain, and its standard
// uncertainty: JCGM 100:2008, H.8 is one use; Gauss–Markov. Where a value has no
// uncertainty all weigh alike.
func inverseVariance(std []float64) (weights []float64, combined float64) {
	weights = make([]float64, len(std))
	sum := 0.0
	for i, s := range std {
		weights[i] = 1 / sq(s)
		sum += weights[i]
	}
	if math.IsInf(sum, 0) || sum == 0 || math.IsNaN(sum) {
		return alike(std)
	}
	for i := range weights {
		weights[i] /= sum
	}
	return weights, 1 / math.Sqrt(sum)
}

func alike(std []float64) (weights []float64, combined float64) {
	n := float64(len(std))
	weights = make([]float64, len(std))
	for i := range weights {
		weights[i] = 1 / n
	}
	return weights, Hypot(std...) / n
}

// without returns all but those takes that are spoilt.
func without[T any](takes []T, spoilt []Spoilt) []T {
	var kept []T
	for t, take := range takes {
		if !isSpoilt(spoilt, t) {
			kept = append(kept, take)
		}
	}
	return kept
}

func isSpoilt(spoilt []Spoilt, take int) bool {
	return slices.ContainsFunc(spoilt, func(s Spoilt) bool { return s.Take == take })
}

// once adds to spoilt what is new in more, the first reason for each take.
func once(spoilt, more []Spoilt) []Spoilt {
	for _, m := range more {
		if !isSpoilt(spoilt, m.Take) {
			spoilt = append(spoilt, m)
		}
	}
	return spoilt
}

// refusedAlone lists takes that one output was refused in, while in as many
// others, or more, it was not. reasons are [take][output].
func refusedAlone(reasons [][]string) []Spoilt {
	var bad []Spoilt
	for t := range reasons {
		for i, reason := range reasons[t] {
			refused := 0
			for _, other := range reasons {
				if other[i] != "" {
					refused++
				}
			}
			if reason != "" && 2*refused <= len(reasons) {
				bad = once(bad, []Spoilt{{t, reason}})
			}
		}
	}
	return bad
}
