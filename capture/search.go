package capture

import (
	"math"
	"math/cmplx"
	"sort"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Bounds of the timing marks' band in hertz, with the widths of its edges.
const (
	bandLowHz      = 300.0
	bandHighHz     = 6000.0
	bandLowEdgeHz  = 150.0
	bandHighEdgeHz = 1000.0
)

// searchBlock is the length of a search block after decimation, and
// searchRateHz the least rate that still holds the one-sided band.
const (
	searchBlock  = 8192
	searchRateHz = 11000
)

// A mark is believed from this normalised correlation up. White noise of the
// marks' band reaches about 0.35 in an hour of trials (bandwidth times
// duration is 114, so its standard deviation is 0.07), a swept or steady tone
// about 0.2; a mark through a board dulled at 3 kHz stays above 0.9.
const leastCorrelation = 0.45

// maxCandidates bounds the search for four marks among the peaks.
const maxCandidates = 48

// bandGain is the band-pass that search and level of the marks share.
func bandGain(hz float64) float64 {
	return edge((hz-(bandLowHz-bandLowEdgeHz))/bandLowEdgeHz) *
		edge((bandHighHz+bandHighEdgeHz-hz)/bandHighEdgeHz)
}

// edge is a raised cosine from 0 at u = 0 to 1 at u = 1.
func edge(u float64) float64 {
	return 0.5 - 0.5*math.Cos(math.Pi*math.Min(math.Max(u, 0), 1))
}

// matched is a matched filter for the timing mark: overlapping blocks, each
// one real transform and two short one-sided inverse ones, so that the result
// is the complex envelope at a low rate.
type matched struct {
	step, markLen, block int
	full                 *fourier.FFT
	short                *fourier.CmplxFFT
	gain                 []float64
	mark                 []complex128 // conjugate, band-passed
	markEnergy           float64
}

func newMatched(rateHz int) *matched {
	step := 1
	for rateHz/(2*step) >= searchRateHz {
		step *= 2
	}
	mark := testsignals.Mark(rateHz)
	m := &matched{step: step, markLen: len(mark), block: searchBlock * step, short: fourier.NewCmplxFFT(searchBlock)}
	m.full = fourier.NewFFT(m.block)
	spectrum := m.full.Coefficients(nil, append(mark, make([]float64, m.block-len(mark))...))
	bins := min(searchBlock, m.block/2)
	m.gain, m.mark = make([]float64, bins), make([]complex128, bins)
	for k := range m.gain {
		m.gain[k] = bandGain(float64(k) * float64(rateHz) / float64(m.block))
		m.mark[k] = cmplx.Conj(spectrum[k]) * complex(m.gain[k], 0)
		m.markEnergy += sq(m.mark[k]) / float64(m.block)
	}
	return m
}

func sq(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// correlate returns, for each step-th frame of x, the normalised correlation
// from 0 to 1 of the mark with x from that frame on, whatever their phase.
func (m *matched) correlate(x []float64) []float64 {
	r := make([]float64, (len(x)+m.step-1)/m.step)
	advance := (m.block - 3*m.markLen) / m.step * m.step
	guard := (m.markLen + m.step - 1) / m.step * m.step
	block := make([]float64, m.block)
	coeff := make([]complex128, m.block/2+1)
	band, corr := make([]complex128, searchBlock), make([]complex128, searchBlock)
	for at := 0; at < len(x); at += advance {
		fill(block, x, at-guard)
		m.full.Coefficients(coeff, block)
		clear(band)
		clear(corr)
		for k, g := range m.gain {
			band[k] = coeff[k] * complex(g, 0)
			corr[k] = band[k] * m.mark[k]
		}
		m.short.Sequence(band, band)
		m.short.Sequence(corr, corr)
		m.normalise(r[at/m.step:min((at+advance)/m.step, len(r))], corr[guard/m.step:], band[guard/m.step:])
	}
	return r
}

// fill copies x from frame at on into dst, with zeros outside x.
func fill(dst, x []float64, at int) {
	clear(dst)
	if from := max(at, 0); from < min(at+len(dst), len(x)) {
		copy(dst[from-at:], x[from:])
	}
}

func (m *matched) normalise(r []float64, corr, band []complex128) {
	width := m.markLen / m.step
	n := float64(m.block)
	var energy float64
	for _, z := range band[:width] {
		energy += sq(z)
	}
	for i := range r {
		// The sums are of undivided transforms: 1/n for each signal.
		e := m.markEnergy * energy * float64(m.step) / (n * n)
		if e > 0 {
			r[i] = math.Min(cmplx.Abs(corr[i])/n/math.Sqrt(e), 1)
		}
		energy += sq(band[i+width]) - sq(band[i])
	}
}

// peak is a place where a mark may begin, and how much it looks like one from
// 0 to 1.
type peak struct{ frame, height float64 }

// peaks returns the places in x that look like a mark, in order of time.
func (m *matched) peaks(x []float64) []peak {
	r := m.correlate(x)
	var list []peak
	reach := float64(m.markLen) / 2
	for i := 1; i+1 < len(r); i++ {
		if r[i] < leastCorrelation || r[i] <= r[i-1] || r[i] < r[i+1] {
			continue
		}
		p := peak{(float64(i) + vertex(r[i-1], r[i], r[i+1])) * float64(m.step), r[i]}
		if n := len(list); n > 0 && p.frame-list[n-1].frame < reach {
			if p.height > list[n-1].height {
				list[n-1] = p
			}
			continue
		}
		list = append(list, p)
	}
	if len(list) > maxCandidates {
		sort.Slice(list, func(i, j int) bool { return list[i].height > list[j].height })
		list = list[:maxCandidates]
		sort.Slice(list, func(i, j int) bool { return list[i].frame < list[j].frame })
	}
	return list
}

// vertex returns where, from -0.5 to 0.5, a parabola through three equally
// spaced values of which the middle one is greatest has its top.
func vertex(before, at, after float64) float64 {
	bend := before - 2*at + after
	if bend == 0 {
		return 0
	}
	return (before - after) / (2 * bend)
}

// echoScore is by how much the earliest four marks may score less than the
// best: echoes look like marks too, are as far apart, and always come later.
const echoScore = 0.5

// marksFound are the frames at which four marks begin, and again that at which
// they begin once more after the last of them, 0 where they do not.
type marksFound struct {
	at    [4]float64
	again float64
}

// findMarks returns the frames at which the four marks of l begin in x, to a
// small part of a millisecond, or false. The two of a pair may be off by a
// third of their spacing, the pairs by half of theirs: whoever lost that many
// samples is told so, and not that there was no signal.
func (m *matched) findMarks(x []float64, l testsignals.Layout, rateHz int) (found marksFound, ok bool) {
	fours := arrangements(m.peaks(x), playedSpacings(l), rateHz)
	best := math.Inf(-1)
	for _, f := range fours {
		best = math.Max(best, f.score)
	}
	for _, f := range fours {
		if f.score >= best-echoScore && (!ok || f.at[0] < found.at[0]) {
			found.at, ok = f.at, true
		}
	}
	for _, f := range fours {
		if f.score >= best-echoScore && f.at[0] > found.at[3] && (found.again == 0 || f.at[0] < found.again) {
			found.again = f.at[0]
		}
	}
	return found, ok
}

// four is a choice of marks with its score: the sum of their heights, less
// what their spacing is off.
type four struct {
	at    [4]float64
	score float64
}

// arrangements returns every choice of four peaks, in order of time, that are
// about as far apart as played.
func arrangements(list []peak, played [3]float64, rateHz int) (all []four) {
	tolerance := [3]float64{played[0] / 3, played[1] / 2, played[2] / 3}
	// A deviation of 20 ms weighs as much as a mark missed altogether.
	perFrame := 1 / (0.02 * float64(rateHz))
	var next func(k int, f four)
	next = func(k int, f four) {
		if k == 4 {
			all = append(all, f)
			return
		}
		for _, p := range list {
			off := 0.0
			if k > 0 {
				off = math.Abs(p.frame - f.at[k-1] - played[k-1])
				if off > tolerance[k-1] {
					continue
				}
			}
			g := f
			g.at[k] = p.frame
			g.score += p.height - off*perFrame
			next(k+1, g)
		}
	}
	next(0, four{})
	return all
}

// playedSpacings returns the distances between neighbouring marks in frames.
func playedSpacings(l testsignals.Layout) (d [3]float64) {
	for i := range d {
		d[i] = float64(l.Marks[i+1].Start - l.Marks[i].Start)
	}
	return d
}
