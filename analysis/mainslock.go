package analysis

import (
	"math"
	"math/cmplx"

	"boardproof/testsignals"
)

// mainsBlocks are the sums over short blocks of the record against each
// harmonic of a guessed mains phase. What the guess is wrong by turns their
// phases from block to block, so better guesses are tried on them alone.
type mainsBlocks struct {
	guess   mainsGuess
	of      merit
	sums    [][]complex128 // [block][harmonic]
	centreS []float64      // from the middle of the record
	frames  []int
	span    []int     // which span each block is in
	noise   []float64 // variance of white noise of the density at a harmonic
}

func (s *mainsSearch) phaseOf(g mainsGuess) mainsPhase {
	frames := float64(s.stride) * s.rateHz
	p := mainsPhase{centre: s.centreS * frames, half: s.halfS * frames}
	p.c[1] = g.hz * s.halfS
	p.c[2] = g.hzPerS * s.halfS * s.halfS / 2
	return p
}

func (s *mainsSearch) blocks(g mainsGuess, floor spectrumFloor) *mainsBlocks {
	phase := s.phaseOf(g)
	b := &mainsBlocks{guess: g, noise: make([]float64, searchHarmonics+1)}
	for h := range b.noise {
		b.noise[h] = floor.at(float64(h)*g.hz) * s.rateHz / 2
	}
	blockS := math.Min(0.1, s.longestS()/6)
	f := newFolder(nil, float64(s.stride), searchHarmonics, quickRing)
	for i, sp := range s.spans {
		n := int(blockS * s.rateHz)
		for at := sp.Start; at+n <= sp.End; at += n {
			f.spans = []testsignals.Span{{Start: at, End: at + n}}
			b.sums = append(b.sums, f.sums(s.x, &phase, 0)[0])
			b.centreS = append(b.centreS, (float64(at)+float64(n-1)/2)/s.rateHz-s.centreS)
			b.frames = append(b.frames, n)
			b.span = append(b.span, i)
		}
	}
	return b
}

// score is the sum, over groups of blocks and over harmonics, of the merit of
// coherent power over noise, with the guess moved by dHz and dDrift.
// group[i] numbers block i's group; groups are consecutive.
func (b *mainsBlocks) score(group []int, dHz, dDrift float64) float64 {
	var acc [searchHarmonics + 1]complex128
	total, frames := 0.0, 0
	for i, sums := range b.sums {
		t := b.centreS[i]
		sin, cos := math.Sincos(-2 * math.Pi * (dHz*t + dDrift*t*t/2))
		turn, w := complex(cos, sin), complex(1, 0)
		for h := 1; h <= searchHarmonics; h++ {
			w *= turn
			acc[h] += sums[h] * w
		}
		frames += b.frames[i]
		if i+1 < len(b.sums) && group[i+1] == group[i] {
			continue
		}
		for h := 1; h <= searchHarmonics; h++ {
			re, im := real(acc[h]), imag(acc[h])
			total += b.of((re*re + im*im) / (float64(frames) * b.noise[h]))
			acc[h] = 0
		}
		frames = 0
	}
	return total
}

// power is the sum over harmonics of coherent power over noise, all blocks
// together, with the guess's frequency moved by dHz.
func (b *mainsBlocks) power(dHz float64) float64 {
	total, frames := 0.0, 0
	for _, n := range b.frames {
		frames += n
	}
	for h := 1; h <= searchHarmonics; h++ {
		var acc complex128
		for i, sums := range b.sums {
			acc += sums[h] * cmplx.Rect(1, -2*math.Pi*dHz*b.centreS[i]*float64(h))
		}
		total += abs2(acc) / (float64(frames) * b.noise[h])
	}
	return total
}

// groups puts blocks of one span into groups of about coherentS; a coherentS
// of the whole extent makes one group of all.
func (b *mainsBlocks) groups(coherentS, extentS float64) []int {
	out := make([]int, len(b.sums))
	if coherentS >= extentS {
		return out
	}
	id, from := 0, b.centreS[0]
	for i := 1; i < len(out); i++ {
		if b.span[i] != b.span[i-1] || b.centreS[i]-from >= coherentS {
			id++
			from = b.centreS[i]
		}
		out[i] = id
	}
	return out
}

// lock sharpens a guess by looking at it coherently over ever longer
// stretches, each with a grid as fine as the 40th harmonic needs.
func (s *mainsSearch) lock(g mainsGuess, floor spectrumFloor, pieceS float64, of merit) mainsGuess {
	b := s.blocks(g, floor)
	b.of = of
	extentS, longestS := 2*s.halfS, s.longestS()
	if len(b.sums) == 0 {
		return g
	}
	const share = 1.0 / (6 * searchHarmonics)
	dHz, dDrift, before := 0.0, 0.0, pieceS
	for coherentS := pieceS; ; {
		group := b.groups(coherentS, extentS)
		stepHz := share / coherentS
		stepDrift := 2 * share / math.Min(coherentS, longestS) / extentS
		reachDrift := 2 * 2 * share / math.Min(before, longestS) / extentS
		if extentS < 1 {
			reachDrift = 0 // too short to tell a drift
		}
		dHz, dDrift, g.score = b.best(group, dHz, dDrift, 3*share/before, stepHz, reachDrift, stepDrift)
		if coherentS >= extentS {
			break
		}
		before = coherentS
		coherentS = nextStretch(coherentS, longestS, extentS)
	}
	g.hz += dHz
	g.hzPerS += dDrift
	return g
}

// nextStretch doubles a stretch; past the longest span only the whole is left.
func nextStretch(s, longestS, extentS float64) float64 {
	switch {
	case s >= longestS*0.99:
		return extentS
	case 2*s >= longestS && longestS > 0.9*extentS:
		return extentS
	case 2*s >= longestS:
		return longestS
	}
	return 2 * s
}

// best tries a grid around (hz, drift) and returns its best point.
func (b *mainsBlocks) best(group []int, hz, drift, reachHz, stepHz, reachDrift, stepDrift float64) (float64, float64, float64) {
	nHz, nDrift := int(math.Ceil(reachHz/stepHz)), int(math.Ceil(reachDrift/stepDrift))
	bestHz, bestDrift, bestScore := hz, drift, math.Inf(-1)
	for j := -nDrift; j <= nDrift; j++ {
		for i := -nHz; i <= nHz; i++ {
			f, d := hz+float64(i)*stepHz, drift+float64(j)*stepDrift
			if score := b.score(group, f, d); score > bestScore {
				bestHz, bestDrift, bestScore = f, d, score
			}
		}
	}
	return bestHz, bestDrift, bestScore
}

func abs2(c complex128) float64 { return real(c)*real(c) + imag(c)*imag(c) }
