package analysis

import (
	"math"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
)

// Where the mains frequency is looked for, as shares of its nominal value under
// and over it: EN 50160 lets an interconnected grid go from 47 to 52 Hz (from
// memory). It is hardly ever further than mainsReachHz away, so what is further
// must look farMerit times as good. And how fast it may drift.
const (
	mainsUnder     = 0.06
	mainsOver      = 0.04
	mainsReachHz   = 1.5
	farMerit       = 1.5
	maxDriftHzPerS = 0.03
	// searchHarmonics take part in finding frequency and drift.
	searchHarmonics = 40
	searchTopHz     = searchHarmonics * 60 * (1 + mainsOver)
	// searchRateHz is about what the record is decimated to for the search.
	searchRateHz = 6000
)

// mainsSearch looks for the mains comb in a decimated record.
type mainsSearch struct {
	x      []float64
	rateHz float64 // of x
	stride int     // frames of the record per sample of x
	spans  []testsignals.Span
	// centreS and halfS are the middle of the spans' extent and half of it.
	centreS, halfS float64
}

// mainsGuess is a frequency at the middle of the record and a drift.
type mainsGuess struct{ hz, hzPerS, score float64 }

func newMainsSearch(x []float64, spans []testsignals.Span, rateHz float64) *mainsSearch {
	stride := max(1, int(rateHz/searchRateHz))
	s := &mainsSearch{stride: stride, rateHz: rateHz / float64(stride)}
	d, reach := decimate(x, stride, rateHz)
	s.x = d
	for _, sp := range spans {
		// The filter must not carry what is outside a span into it.
		in := testsignals.Span{Start: (sp.Start+reach)/stride + 1, End: min((sp.End-reach)/stride, len(d))}
		if in.Len() > 0 {
			s.spans = append(s.spans, in)
		}
	}
	if len(s.spans) == 0 {
		return s
	}
	first, last := float64(s.spans[0].Start), float64(s.spans[len(s.spans)-1].End-1)
	s.centreS = (first + last) / 2 / s.rateHz
	s.halfS = (last - first) / 2 / s.rateHz
	return s
}

// decimate keeps every stride-th sample of x after a linear-phase low-pass
// that leaves what is below searchTopHz whole to 1e-4 and free of images. It
// returns how many samples of x either side each output depends on.
func decimate(x []float64, stride int, rateHz float64) (y []float64, reach int) {
	if stride == 1 {
		return x, 0
	}
	nyquist := rateHz / float64(stride) / 2
	// 5.5 bins: the width of a Blackman window's transition (Harris 1978).
	reach = int(math.Ceil(5.5 * rateHz / (2 * (nyquist - searchTopHz)) / 2))
	taps := blackmanSinc(reach, nyquist/rateHz)
	y = make([]float64, (len(x)-1)/stride+1)
	for m := range y {
		from := m*stride - reach
		lo, hi := max(0, -from), min(len(taps), len(x)-from)
		y[m] = floats.Dot(taps[lo:hi], x[from+lo:from+hi])
	}
	return y, reach
}

// pieces cuts the spans into half-overlapping pieces of at most pieceS.
func (s *mainsSearch) pieces(pieceS float64) []testsignals.Span {
	var out []testsignals.Span
	for _, sp := range s.spans {
		n := min(int(pieceS*s.rateHz), sp.Len())
		for at := sp.Start; at+n <= sp.End; at += max(1, n/2) {
			out = append(out, testsignals.Span{Start: at, End: at + n})
		}
	}
	return out
}

// samples is how many there are in all spans.
func (s *mainsSearch) samples() float64 {
	n := 0
	for _, sp := range s.spans {
		n += sp.Len()
	}
	return float64(n)
}

// longestS is the length of the longest span.
func (s *mainsSearch) longestS() float64 {
	n := 0
	for _, sp := range s.spans {
		n = max(n, sp.Len())
	}
	return float64(n) / s.rateHz
}

// pieceSpectra are the spectra of pieces, as power over noise, and the noise
// density that they were referred to.
type pieceSpectra struct {
	binHz   float64
	powers  [][]float64
	centreS []float64 // of each piece, from the middle of the record
	floor   spectrumFloor
}

// spectra transforms the pieces under a Hann window, padded fourfold.
func (s *mainsSearch) spectra(pieces []testsignals.Span) pieceSpectra {
	n := pieces[0].Len()
	for _, p := range pieces {
		n = max(n, p.Len())
	}
	size := fastLength(4 * n)
	fft := fourier.NewFFT(size)
	buf, coeff := make([]float64, size), make([]complex128, size/2+1)
	out := pieceSpectra{binHz: s.rateHz / float64(size)}
	top := min(int(searchTopHz/out.binHz)+2, size/2)
	mean := make([]float64, top+1)
	for _, p := range pieces {
		w := periodicHann(p.Len())
		clear(buf)
		sum2 := 0.0
		for i, v := range w {
			buf[i] = v * s.x[p.Start+i]
			sum2 += v * v
		}
		fft.Coefficients(coeff, buf)
		psd := make([]float64, top+1)
		for k := range psd {
			c := coeff[k]
			psd[k] = 2 * (real(c)*real(c) + imag(c)*imag(c)) / (s.rateHz * sum2)
			mean[k] += psd[k] / float64(len(pieces))
		}
		out.powers = append(out.powers, psd)
		out.centreS = append(out.centreS, float64(p.Start+p.End-1)/2/s.rateHz-s.centreS)
	}
	// Half a comb's spacing either side: most bins there are between lines.
	averages := math.Max(1, float64(len(pieces))/1.06)
	out.floor = newSpectrumFloor(mean, out.binHz, averages, 25, 25)
	out.floor.capSkirts()
	for i, psd := range out.powers {
		out.powers[i] = overNoise(psd, out.binHz, out.floor, size/n)
	}
	return out
}

// A line must stand out of what lies smearFrom to smearTo bins to either side of it, where
// that is more than smearRatio times the floor: of the skirt of a tone that jitters.
const (
	smearFrom  = 4
	smearTo    = 8
	smearRatio = 4.0
)

// overNoise is a spectrum over the noise beneath; padding is how many of its bins make one.
func overNoise(psd []float64, binHz float64, floor spectrumFloor, padding int) []float64 {
	sums, out := make([]float64, len(psd)+1), make([]float64, len(psd))
	for k, v := range psd {
		sums[k+1] = sums[k] + v
	}
	mean := func(from, to int) float64 {
		from, to = min(max(0, from), len(psd)), min(max(0, to), len(psd))
		return (sums[to] - sums[from]) / float64(max(to-from, 1))
	}
	for k, v := range psd {
		noise := floor.at(float64(k) * binHz)
		if beside := math.Max(mean(k-smearTo*padding, k-smearFrom*padding), mean(k+smearFrom*padding, k+smearTo*padding)); beside > smearRatio*noise {
			noise = beside
		}
		out[k] = v / noise
	}
	return out
}

// A merit says what a power over noise counts for in the search.
type merit func(power float64) float64

// likelihood is exact in Gaussian noise. manyLines is led by the number of
// lines at the right places more than by their strength, so that a strong
// tone near one harmonic does not carry the rest away; but it is too flat at
// its peak to find a comb of one strong line. Both are tried.
func likelihood(power float64) float64 { return power }

func manyLines(power float64) float64 { return math.Log1p(power) }

// guesses returns the best few mains frequencies and drifts for pieces of one
// length, by the sum of merits over pieces and harmonics.
func (s *mainsSearch) guesses(sp pieceSpectra, pieceS float64, nominals []float64, of merit) []mainsGuess {
	stepHz := 0.01 / pieceS
	stepDrift := 2 * stepHz / (2 * s.halfS)
	drifts := int(maxDriftHzPerS / stepDrift)
	if len(sp.powers) == 1 {
		drifts = 0
	}
	var all []mainsGuess
	for _, nominal := range nominals {
		// The steps fall on the edge of what is near.
		from := nominal - mainsReachHz - stepHz*math.Floor((mainsUnder*nominal-mainsReachHz)/stepHz)
		n := int((nominal*(1+mainsOver)-from)/stepHz) + 1
		surface := make([][]float64, len(sp.powers))
		for i, row := range sp.powers {
			surface[i] = harmonicSums(row, sp.binHz, from, stepHz, n, of)
		}
		for k := range n {
			best := mainsGuess{score: math.Inf(-1)}
			for d := -drifts; d <= drifts; d++ {
				g := mainsGuess{from + float64(k)*stepHz, float64(d) * stepDrift, 0}
				for i, row := range surface {
					at := k + int(math.Round(g.hzPerS*sp.centreS[i]/stepHz))
					g.score += row[min(max(at, 0), n-1)]
				}
				if g.score > best.score {
					best = g
				}
			}
			all = append(all, best)
		}
	}
	return distinct(nearFirst(all, nominals), 2, 0.1)
}

// nearFirst leaves out guesses far from all nominal frequencies, or those near
// to one where the best of the far ones looks that much better.
func nearFirst(all []mainsGuess, nominals []float64) []mainsGuess {
	var near, far []mainsGuess
	scores := make([]float64, len(all))
	best := [2]float64{math.Inf(-1), math.Inf(-1)}
	for i, g := range all {
		scores[i] = g.score
		if slices.ContainsFunc(nominals, func(hz float64) bool { return math.Abs(g.hz-hz) <= mainsReachHz*(1+1e-9) }) {
			near, best[0] = append(near, g), math.Max(best[0], g.score)
		} else {
			far, best[1] = append(far, g), math.Max(best[1], g.score)
		}
	}
	slices.Sort(scores)
	typical := scores[len(scores)/2]
	if len(far) > 0 && best[1]-typical > farMerit*(best[0]-typical) {
		return far
	}
	return near
}

// harmonicSums returns Σ over harmonics of merits at h·f for n frequencies.
func harmonicSums(spectrum []float64, binHz, fromHz, stepHz float64, n int, of merit) []float64 {
	row, powers := make([]float64, n), make([]float64, searchHarmonics+1)
	for k := range row {
		f := (fromHz + float64(k)*stepHz) / binHz
		for h := 1; h <= searchHarmonics; h++ {
			at := f * float64(h)
			i := min(int(at), len(spectrum)-2)
			v := at - float64(i)
			powers[h] = spectrum[i]*(1-v) + spectrum[i+1]*v
		}
		for _, power := range accompanied(powers) {
			row[k] += of(power)
		}
	}
	return row
}

// distinct returns the most highly scored guesses that are apartHz from each
// other and within reach of the best.
func distinct(all []mainsGuess, most int, apartHz float64) []mainsGuess {
	slices.SortFunc(all, func(a, b mainsGuess) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		}
		return 0
	})
	typical := all[len(all)/2].score
	var out []mainsGuess
	for _, g := range all {
		// Under half of the best one's excess a guess has never been right.
		if len(out) == most || g.score-typical < (all[0].score-typical)/2 {
			break
		}
		if !slices.ContainsFunc(out, func(o mainsGuess) bool { return math.Abs(o.hz-g.hz) < apartHz }) {
			out = append(out, g)
		}
	}
	return out
}
