package analysis

import (
	"fmt"
	"math"
	"slices"
)

// steadyPieceS is the length of the pieces that a level is looked at in.
const steadyPieceS = 0.25

// A level is not steady where a piece of it leaves the median by more than
// pieceDB (common practice, no source) and pieceSigmas of what chance does.
const (
	pieceDB     = 0.3
	pieceSigmas = 5.0
	// splitBandHz is between hum and hiss, for this purpose.
	splitBandHz = 1000.0
)

// unsteady is what a level does that is not steady. The zero value is steady.
type unsteady struct {
	// halfDB either side of the level hold nine tenths of its pieces.
	halfDB float64
	note   string
}

// contribution is what the level is uncertain by, for its interval to hold
// what most of the record has.
func (u unsteady) contribution() Contribution { return typeA(sourceUnsteady, u.halfDB/CoverageK) }

// steadiness is that of hum, of hiss, and of the noise by weighting.
type steadiness struct {
	hum, hiss unsteady
	noise     map[string]unsteady
}

// newSteadiness looks at the pieces' powers in the band of hum, of a record that
// holds everything, and at rest, which has comb and tones taken off; raw and
// hiss are their densities. The noise under a
// weighting is put together of what is below and above splitBandHz, each as
// much as it counts there; lines above are steady.
func newSteadiness(hum, rest []float64, rateHz float64, raw, hiss density) steadiness {
	low, lowStd := relative(hum), pieceStd(raw, hiss, NoiseLowHz, splitBandHz)
	high, highStd := relative(piecePowers(rest, rateHz, hissBand(rateHz))), pieceStd(hiss, hiss, splitBandHz, rateHz/2)
	pieceS := float64(len(rest)) / rateHz / float64(len(low))
	s := steadiness{steady(low, lowStd, pieceS), steady(high, highStd, pieceS), map[string]unsteady{}}
	for _, w := range Weightings {
		below := weightedPower(raw, hiss, w, NoiseLowHz, splitBandHz).power
		above := weightedPower(hiss, hiss, w, splitBandHz, NoiseHighHz).power
		lines := weightedPower(raw, hiss, w, splitBandHz, NoiseHighHz).power - above
		all := make([]float64, len(low))
		for i := range all {
			all[i] = below*low[i] + above*high[i] + math.Max(lines, 0)
		}
		s.noise[w] = steady(all, Hypot(below*lowStd, above*highStd)/(below+above), pieceS)
	}
	return s
}

// relative divides powers by their mean.
func relative(powers []float64) []float64 {
	mean := 0.0
	for _, p := range powers {
		mean += p / float64(len(powers))
	}
	for i := range powers {
		powers[i] /= math.Max(mean, math.SmallestNonzeroFloat64)
	}
	return powers
}

// worse is the less steady of two, each by itself.
func (s steadiness) worse(o steadiness) steadiness {
	pick := func(a, b unsteady) unsteady {
		if b.halfDB > a.halfDB {
			return b
		}
		return a
	}
	out := steadiness{pick(s.hum, o.hum), pick(s.hiss, o.hiss), map[string]unsteady{}}
	for _, w := range Weightings {
		out.noise[w] = pick(s.noise[w], o.noise[w])
	}
	return out
}

// welchUnevenDB is by how much more than the mean a short event may count in
// a spectrum of half-overlapping Hann windows: cos⁴ + sin⁴ goes up to 1, and
// is 3/4 in the mean (1.25 dB), less at the ends of the record.
const welchUnevenDB = 1.5

// steady judges mean squares of pieces whose relative standard deviation by
// chance is std.
func steady(powers []float64, std, pieceS float64) unsteady {
	sorted := slices.Sorted(slices.Values(powers))
	n, mean := len(sorted), 0.0
	for _, p := range sorted {
		mean += p / float64(n)
	}
	median := sorted[n/2]
	if median <= 0 {
		return unsteady{}
	}
	// Less than a hundred-millionth is as good as nothing.
	db := func(p, of float64) float64 { return 10 * math.Log10(math.Max(p/of, 1e-8)) }
	at, most := 0, 0.0
	for i, p := range powers {
		if d := math.Abs(db(p, median)); d > most {
			at, most = i, d
		}
	}
	if most <= pieceDB+pieceSigmas*10/math.Ln10*std {
		return unsteady{}
	}
	lo, hi := sorted[n/20], sorted[n-1-n/20]
	half := math.Max(math.Abs(db(lo, mean)), math.Abs(db(hi, mean)))
	return unsteady{
		halfDB: math.Max(half, math.Abs(db(median, mean))) + welchUnevenDB*sorted[n-1]/(mean*float64(n)),
		note: fmt.Sprintf("not steady: %+.1f to %+.1f dB about its median in pieces of %.2g s, most at %.1f s",
			db(sorted[0], median), db(sorted[n-1], median), pieceS, (float64(at)+0.5)*pieceS),
	}
}

// pieceStd is the relative standard deviation that chance gives the mean
// square of a piece between two frequencies: of its noise by itself, ∫S² df
// over the length, and of its lines beating with the noise beside them.
func pieceStd(d, noise density, lowHz, highHz float64) float64 {
	power, variance := 0.0, 0.0
	for k := range d.psd {
		share := binShare(float64(k), d.binHz, lowHz, highHz)
		power += share * d.psd[k] * d.binHz
		lines := math.Max(0, d.psd[k]-noise.psd[k])
		variance += share * noise.psd[k] * (noise.psd[k] + 2*lines) * d.binHz / steadyPieceS
	}
	if power == 0 {
		return 0
	}
	return math.Sqrt(variance) / power
}

// piecePowers are the mean squares of x behind filters, in equal pieces of
// about steadyPieceS.
func piecePowers(x []float64, rateHz float64, filters []biquad) []float64 {
	// Run in on the beginning backwards, for the filters to have settled.
	for i := min(len(x), int(0.1*rateHz)) - 1; i > 0; i-- {
		filtered(filters, x[i])
	}
	n := max(1, int(math.Round(float64(len(x))/rateHz/steadyPieceS)))
	out := make([]float64, n)
	for k := range out {
		from, to := k*len(x)/n, (k+1)*len(x)/n
		for _, v := range x[from:to] {
			out[k] += sq(filtered(filters, v)) / float64(to-from)
		}
	}
	return out
}

// biquad is a second-order filter in direct form II transposed.
type biquad struct{ b0, b1, b2, a1, a2, s1, s2 float64 }

func filtered(filters []biquad, v float64) float64 {
	for i := range filters {
		f := &filters[i]
		y := f.b0*v + f.s1
		f.s1 = f.b1*v - f.a1*y + f.s2
		f.s2 = f.b2*v - f.a2*y
		v = y
	}
	return v
}

// pass makes a low-pass or a high-pass of a quality by the bilinear transform
// (Oppenheim & Schafer, section 7.1).
func pass(rateHz, cornerHz, quality float64, high bool) biquad {
	k := math.Tan(math.Pi * cornerHz / rateHz)
	norm := 1 / (1 + k/quality + k*k)
	f := biquad{a1: 2 * (k*k - 1) * norm, a2: (1 - k/quality + k*k) * norm}
	if high {
		f.b0, f.b1, f.b2 = norm, -2*norm, norm
	} else {
		f.b0, f.b1, f.b2 = k*k*norm, 2*k*k*norm, k*k*norm
	}
	return f
}

// Fourth-order Butterworth sections.
const butterLow, butterHigh = 0.5411961, 1.3065630

func hissBand(rateHz float64) []biquad {
	return []biquad{pass(rateHz, splitBandHz, butterLow, true), pass(rateHz, splitBandHz, butterHigh, true)}
}

func humBand(rateHz float64) []biquad {
	return []biquad{
		pass(rateHz, NoiseLowHz, math.Sqrt2/2, true),
		pass(rateHz, splitBandHz, butterLow, false), pass(rateHz, splitBandHz, butterHigh, false),
	}
}

// heldS is for how long the samples must stand still to be a gap in the
// record: noise over a step of the converter does that for no more than a few
// samples.
const heldS = 0.005

// held finds where x stays at one value in stretches of heldS and longer, and
// says so; nothing where it does not, or where noise so small that it leaves
// most samples at the value before makes such stretches by itself.
func held(x []float64, rateHz float64) string {
	least := int(heldS * rateHz)
	first, total, still := -1, 0, 0
	for i := 1; i <= len(x); {
		end := i
		for end < len(x) && x[end] == x[i-1] {
			end++
		}
		switch run := end - i + 1; {
		case run >= least:
			if first < 0 {
				first = i - 1
			}
			total += run
		default:
			still += run - 1
		}
		i = end + 1
	}
	if first < 0 || 2*still > len(x)-total {
		return ""
	}
	return fmt.Sprintf("the samples stand still at one value for %.3g s in all, first at %.3g s: gated, muted or dropped out",
		float64(total)/rateHz, float64(first)/rateHz)
}
