package analysis

import (
	"fmt"
	"maps"
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

// screening is how takes are told that are to be left out of an average: those
// in which one output alone was refused, those with far more noise than the
// others, and those that stray from the mean of the others.
type screening struct {
	outputs []string
	// reasons is why an output was refused, "" where it was not, as
	// [take][output].
	reasons [][]string
	noises  []loudness
	// strays is what may be off the other takes, "" where nothing is looked at.
	// Those in which it was read are at an output; apart says how far it is from
	// the mean of others, as the square in standard uncertainties and in dB.
	strays string
	at     func(take, output int) bool
	apart  func(others []int, take, output int) (chi2, awayDB float64, err error)
}

// loudness is what a bang on the bench is told by.
type loudness struct {
	// what, at an output, lies more than byDB above the others.
	what string
	byDB float64
	// levelDB is −Inf where there is none: such a take is no measure for others.
	levelDB func(take, output int) float64
}

func (s screening) spoilt() ([]Spoilt, error) {
	spoilt := refusedAlone(s.reasons)
	refused := slices.Clone(spoilt)
	for i, name := range s.outputs {
		for _, n := range s.noises {
			spoilt = once(spoilt, n.loud(refused, len(s.reasons), i, name))
		}
	}
	if s.strays == "" {
		return spoilt, nil
	}
	for i := range s.outputs {
		for {
			odd, err := s.stray(spoilt, i)
			if err != nil {
				return nil, err
			}
			if odd == nil {
				break
			}
			spoilt = append(spoilt, *odd)
		}
	}
	return spoilt, nil
}

// loud lists those of the takes that were not refused whose noise at an output
// lies above their lower median: of two takes the quieter is the measure.
func (n loudness) loud(refused []Spoilt, takes, output int, name string) []Spoilt {
	levels := map[int]float64{}
	for t := range takes {
		if l := n.levelDB(t, output); !isSpoilt(refused, t) && !math.IsInf(l, -1) {
			levels[t] = l
		}
	}
	if len(levels) < 2 {
		return nil
	}
	sorted := slices.Sorted(maps.Values(levels))
	middle := sorted[(len(sorted)-1)/2]
	var bad []Spoilt
	for _, t := range slices.Sorted(maps.Keys(levels)) {
		if above := levels[t] - middle; above > n.byDB {
			bad = append(bad, Spoilt{t, fmt.Sprintf("%s at output %s is %.1f dB above that of the other takes, as after a bang on the bench", n.what, name, above)})
		}
	}
	return bad
}

// stray is the take that is furthest from the mean of the others at an output,
// nil where noise, or ltiAllowanceDB, explains even that one.
func (s screening) stray(spoilt []Spoilt, output int) (*Spoilt, error) {
	var at []int
	for t := range s.reasons {
		if !isSpoilt(spoilt, t) && s.at(t, output) {
			at = append(at, t)
		}
	}
	if len(at) < majority {
		return nil, nil
	}
	var odd *Spoilt
	worst := strayChi2
	for k, t := range at {
		chi2, db, err := s.apart(slices.Delete(slices.Clone(at), k, k+1), t, output)
		if err != nil {
			return nil, err
		}
		if chi2 > worst && db > ltiAllowanceDB {
			worst = chi2
			odd = &Spoilt{t, fmt.Sprintf("the %s at output %s is %.2f dB off the other takes, more than noise explains", s.strays, s.outputs[output], db)}
		}
	}
	return odd, nil
}

// birge is by how much values scatter about their mean beyond what their
// uncertainties explain (Birge, Phys. Rev. 40, 1932; from memory): the root of
// their mean square in standard uncertainties, 1 where that is not above most.
func birge(chi2, freedom, most float64) float64 {
	if mean := chi2 / freedom; mean > most && !math.IsInf(mean, 0) {
		return math.Sqrt(mean)
	}
	return 1
}

// readTakes reads each take by itself. first is the first one without its
// samples.
func readTakes[T any](takes Takes, what string, read func(rec *Recording) (T, error)) (first *Recording, all []T, err error) {
	if takes.N == 0 {
		return nil, nil, fmt.Errorf("reading %s: there is none", what)
	}
	err = takes.each(func(t int, rec *Recording) error {
		if t == 0 {
			first = rec.withoutSamples()
		} else if rec.Signal == nil || first.Signal == nil || rec.Signal.Spec != first.Signal.Spec || len(rec.Outputs) != len(first.Outputs) {
			return fmt.Errorf("averaging %s with others: they are not of one signal at the same outputs", what)
		}
		x, err := read(rec)
		all = append(all, x)
		return err
	})
	return first, all, err
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
