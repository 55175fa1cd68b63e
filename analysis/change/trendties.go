package change

import "boardproof/analysis"

// tie names one error that several points have in common: a contribution of
// their budgets, the nth of its name, and what they share it by.
type tie struct {
	reach                   reach
	source, kind            string
	nth                     int
	profile, device, method string
}

// tie is what c, the nth of its name in p's budget, has in common with other
// points; ok is false where it is p's own. It says the same as Ties.common.
func (p Point) tie(c analysis.Contribution, nth int) (k tie, ok bool) {
	with := Ties{Profile: p.Profile != "", Interface: true, Method: true}
	if !with.common(c) {
		return tie{}, false
	}
	k = tie{reach: reaches[family(c.Source)], source: c.Source, kind: c.Kind, nth: nth, method: p.Method}
	if k.reach != perMethod {
		k.device = p.Interface
	}
	if k.reach == perProfile {
		k.profile = p.Profile
	}
	return k, true
}

// share is a point's part, a standard deviation, of one common error, which is
// known by its number.
type share struct {
	tie int
	std float64
}

// sharesOf parts a point's variance into that of its own errors and its shares
// of common ones; a tie that no other point has is its own.
func sharesOf(points []Point) (own []float64, shares [][]share, ties []tie) {
	own, shares = make([]float64, len(points)), make([][]share, len(points))
	numbers, members := map[tie]int{}, []int{}
	for i, p := range points {
		b := budgetOf(p.Reading)
		for j, c := range b {
			k, ok := p.tie(c, nthOf(b, j))
			if !ok {
				own[i] += c.Std * c.Std
				continue
			}
			n, known := numbers[k]
			if !known {
				n = len(ties)
				numbers[k], ties, members = n, append(ties, k), append(members, 0)
			}
			members[n]++
			shares[i] = append(shares[i], share{n, c.Std})
		}
	}
	for i, all := range shares {
		whole, kept := own[i], all[:0]
		for _, s := range all {
			whole += s.std * s.std
			if members[s.tie] == 1 {
				own[i] += s.std * s.std
			} else {
				kept = append(kept, s)
			}
		}
		shares[i] = kept
		// What two points do not share is sometimes nothing, to rounding.
		own[i] += 1e-9 * whole
	}
	return own, shares, ties
}

// nthOf counts how often the name of b[j] comes before it.
func nthOf(b analysis.Budget, j int) (n int) {
	for _, c := range b[:j] {
		if c.Source == b[j].Source && c.Kind == b[j].Kind {
			n++
		}
	}
	return n
}
