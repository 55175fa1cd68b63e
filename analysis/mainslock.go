package analysis

import (
	"math"
	"math/cmplx"
)

// mainsBlocks are the amplitudes of the harmonics of a guessed mains phase in
// short blocks. What the guess is wrong by turns their phases from block to block, so
// better guesses are tried on them alone.
type mainsBlocks struct {
	f    *combFit
	sums [][]complex128 // [block][harmonic]
}

// score is the sum, over groups of blocks and over harmonics, of the merit of
// coherent power over noise, with the guess moved. group[i] numbers block i's group;
// groups are consecutive.
func (b *mainsBlocks) score(group []int, by mainsGuess, of merit) float64 {
	var acc [searchHarmonics + 1]complex128
	var powers [searchHarmonics + 1]float64
	total, worth := 0.0, 0.0
	for i, sums := range b.sums {
		t := b.f.blocks[i].centreS - b.f.s.halfS
		turn, w := cmplx.Rect(1, -2*math.Pi*(by.hz*t+by.hzPerS*t*t/2)), complex(b.f.blocks[i].worth, 0)
		for h := 1; h <= searchHarmonics; h++ {
			w *= turn
			acc[h] += sums[h] * w
		}
		worth += b.f.blocks[i].worth
		if i+1 < len(b.sums) && group[i+1] == group[i] {
			continue
		}
		for h := 1; h <= searchHarmonics; h++ {
			powers[h] = sqAbs(acc[h]) / (2 * worth * worth * b.f.variance(h, worth))
			acc[h] = 0
		}
		for _, power := range accompanied(powers[:]) {
			total += of(power)
		}
		worth = 0
	}
	return total
}

// groups puts blocks of one span into groups of about coherentS; a coherentS
// of the whole extent makes one group of all.
func (b *mainsBlocks) groups(coherentS float64) []int {
	out := make([]int, len(b.sums))
	if coherentS >= 2*b.f.s.halfS {
		return out
	}
	id, from := 0, b.f.blocks[0]
	for i := 1; i < len(out); i++ {
		at := b.f.blocks[i]
		if at.centreS-from.centreS >= coherentS || at.Start > b.f.blocks[i-1].End {
			id++
			from = at
		}
		out[i] = id
	}
	return out
}

// lock sharpens a guess by looking at it coherently over ever longer
// stretches, each with a grid as fine as the 40th harmonic needs.
func (s *mainsSearch) lock(g mainsGuess, floor spectrumFloor, pieceS float64, of merit) mainsGuess {
	b := &mainsBlocks{f: newCombFit(s, g, floor, true)}
	for _, block := range b.f.blocks {
		b.sums = append(b.sums, b.f.look.amplitudes(s.x, block, &b.f.phase))
	}
	const share = 1.0 / (6 * searchHarmonics)
	extentS, longestS := 2*s.halfS, s.longestS()
	top, before := mainsGuess{}, pieceS
	for coherentS := pieceS; ; {
		step := mainsGuess{hz: share / coherentS, hzPerS: 2 * share / math.Min(coherentS, longestS) / extentS}
		reach := mainsGuess{hz: 3 * share / before, hzPerS: 4 * share / math.Min(before, longestS) / extentS}
		if extentS < 1 {
			reach.hzPerS = 0 // too short to tell a drift
		}
		top = b.best(b.groups(coherentS), top, reach, step, of)
		if coherentS >= extentS {
			return mainsGuess{hz: g.hz + top.hz, hzPerS: g.hzPerS + top.hzPerS, score: top.score}
		}
		before = coherentS
		// Twice as long; past the longest span only the whole is left.
		switch {
		case coherentS >= longestS*0.99 || 2*coherentS >= longestS && longestS > 0.9*extentS:
			coherentS = extentS
		default:
			coherentS = math.Min(2*coherentS, longestS)
		}
	}
}

// best tries a grid around a guess and returns its best point.
func (b *mainsBlocks) best(group []int, around, reach, step mainsGuess, of merit) mainsGuess {
	nHz, nDrift := int(math.Ceil(reach.hz/step.hz)), int(math.Ceil(reach.hzPerS/step.hzPerS))
	top := mainsGuess{score: math.Inf(-1)}
	for j := -nDrift; j <= nDrift; j++ {
		for i := -nHz; i <= nHz; i++ {
			by := mainsGuess{hz: around.hz + float64(i)*step.hz, hzPerS: around.hzPerS + float64(j)*step.hzPerS}
			if by.score = b.score(group, by, of); by.score > top.score {
				top = by
			}
		}
	}
	return top
}

// slipOdds is the logarithm of the odds at which a slip of a cycle is ruled out.
const slipOdds = 8.0

// bridged decides whether the phase is carried over the gaps without a doubt:
// no frequency that fits each span about as well, but slips a cycle of one of
// the lower harmonics in between, explains the record nearly as well.
func (f *combFit) bridged() bool {
	b := &mainsBlocks{f: f}
	// The noise under the others was chosen to be coherent.
	rest, lines := f.residual(), f.lines()
	for _, block := range f.blocks {
		sums := f.look.amplitudes(rest, block, &f.phase)
		shown := make([]complex128, len(sums))
		for _, h := range lines {
			shown[h] = sums[h] + f.amps[h]
		}
		b.sums = append(b.sums, shown)
	}
	first, last := f.s.spans[0], f.s.spans[len(f.s.spans)-1]
	apartS := float64(last.Start+last.End-first.Start-first.End) / 2 / f.s.rateHz
	whole := make([]int, len(f.blocks))
	best := b.score(whole, mainsGuess{}, likelihood)
	for h := 1; h <= loneAbove; h++ {
		for k := -3; k <= 3; k++ {
			slip := mainsGuess{hz: float64(k) / (float64(h) * apartS)}
			if k != 0 && best-b.score(whole, slip, likelihood) < slipOdds {
				return false
			}
		}
	}
	return true
}
