package change

import (
	"math"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

// key is what two readings must have in common to be compared.
type key struct {
	step, state, quantity, output, reference, weighting string
	harmonic                                            int
}

func keyOf(j verdict.Judged) key {
	return key{j.Step, j.State, j.Quantity, j.Output, j.Reference, j.Weighting, j.Harmonic}
}

// Two readings of one key are one thing where their frequencies are this near,
// relative: a tone's is found, not set, and a converter's whine wanders with
// temperature. Common practice, no source.
const (
	nearTone  = 0.01
	nearWhine = 0.02
)

// apart is how far apart in frequency two readings of one key are, relative,
// and whether they can be the same thing.
func apart(a, b analysis.Reading) (distance float64, ok bool) {
	limit := nearTone
	switch a.Quantity {
	case analysis.OtherTone:
		limit = nearWhine
	case analysis.Gain, analysis.Level, analysis.LevelMatch, analysis.THD, analysis.THDN, analysis.BenchGainDrift:
	default:
		return 0, true // where it was read is part of the result
	}
	if a.FrequencyHz <= 0 || b.FrequencyHz <= 0 {
		return 0, a.FrequencyHz == b.FrequencyHz
	}
	distance = math.Abs(math.Log(a.FrequencyHz / b.FrequencyHz))
	return distance, distance <= limit
}

// compared is false for what is not a reading to compare: one that is absent,
// and the worst point of a response under a mask, as the whole curve is
// compared.
func compared(j verdict.Judged) bool {
	return !j.Absent && j.Quantity != analysis.Response
}

// pair puts together what the two runs both have: first within steps of one
// name, then, as a plan may have named its steps anew, by state alone.
func pair(before, after []verdict.Judged) (pairs [][2]verdict.Judged, left []Unpaired) {
	with := make([]int, len(after))
	taken := make([]bool, len(before))
	match := func(strip func(key) key) {
		for i, a := range after {
			if with[i] > 0 || !compared(a) {
				continue
			}
			best, nearest := 0, math.Inf(1)
			for j, b := range before {
				if taken[j] || !compared(b) || strip(keyOf(a)) != strip(keyOf(b)) {
					continue
				}
				if d, ok := apart(a.Reading, b.Reading); ok && d < nearest {
					best, nearest = j+1, d
				}
			}
			if best > 0 {
				with[i], taken[best-1] = best, true
			}
		}
	}
	match(func(k key) key { return k })
	match(func(k key) key { k.step = ""; return k })
	for i, a := range after {
		if with[i] > 0 {
			pairs = append(pairs, [2]verdict.Judged{before[with[i]-1], a})
		} else if compared(a) {
			left = append(left, Unpaired{Reading: a.Reading, Step: a.Step, Now: true})
		}
	}
	for j, b := range before {
		if !taken[j] && compared(b) {
			left = append(left, Unpaired{Reading: b.Reading, Step: b.Step})
		}
	}
	return pairs, left
}

// explained puts the reason beside what only one run has, where the other
// refused it.
func explained(left []Unpaired, before, after Side) []Unpaired {
	for i := range left {
		u := &left[i]
		other := after.Refused
		if u.Now {
			other = before.Refused
		}
		for _, f := range other {
			if f.Quantity == u.Quantity && f.Output == u.Output && f.Reference == u.Reference && f.State == u.State {
				u.Reason = f.Reason
				break
			}
		}
	}
	return left
}
