package capture

import (
	"fmt"
	"math"
	"slices"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Noise is looked at in cells of cellHz, of which the outer cellEdgeHz are left
// out, up to where the slowest common rate, 44.1 kHz, still lets it through
// after it was changed to another: from there to its half is for filters.
const (
	cellHz      = 500
	cellEdgeHz  = 60
	firstCellHz = 2000
	lastCellHz  = 20500
	// cellWindowS and cellBeta are of the window's length and of its shape: a
	// Kaiser window whose sidelobes, under -170 dB, hide no empty cell beside
	// a full one.
	cellWindowS = 0.05
	cellBeta    = 18.0
	// emptyOverRounding is how far over the noise of rounding a cell without
	// other noise may be: dither makes 5 dB, a decoder's arithmetic some.
	emptyOverRounding = 4.0 // as power, 6 dB
	// emptyDBPerHz is under the noise of any converter, relative to a square
	// of full scale in a hertz: -127 dBFS in 20 kHz. Common practice, no source.
	emptyDBPerHz = -170.0
	// The noise must fall by as much as ten first-order stages let it over the
	// cells beside the edge, and by edgeDB at least.
	edgeDB          = 6.0
	edgeDBPerOctave = 60.0
	// fullShare is the share of the cells under the edge that must have noise.
	fullShare = 0.8
)

// Lossy codecs and lower sample rates leave nothing above some frequency, not
// even the noise of the recorder, which analogue noise never does: below it is
// noise, above it only what rounding to codes leaves. checkLossy looks for that
// edge in a recording from a file, where nothing but the noise is known to be
// heard: in the silences and around the run-in tone.
func (p *Proof) checkLossy(take *Take, sig *testsignals.Signal) error {
	if take.Instrument.Kind != fromFile {
		return nil
	}
	for c, x := range take.Samples {
		if p.Channels[c].Problem != "" {
			continue
		}
		_, _, code := extent(x)
		for _, part := range quietParts(x, sig, int(p.offset(c)), take.RateHz) {
			if hz := emptyFrom(part, take.RateHz, code); hz > 0 {
				return &BadTake{Fault: Lossy, Input: p.Channels[c].Input, Reason: fmt.Sprintf("lossy recording: above %.1f kHz it holds nothing, not even noise, which no converter gives; "+
					"it went through a lossy codec (as MP3, AAC, Opus, Vorbis) or a lower sample rate: record and keep it as WAV or FLAC at %d Hz", hz/1000, take.RateHz)}
			}
		}
	}
	return nil
}

// fromFile is the Kind of instruments that read a recording from a file.
const fromFile = "wavtake"

// quietParts are the stretches of x in which nothing was played, and the run-in.
func quietParts(x []float64, sig *testsignals.Signal, offset, rateHz int) [][]float64 {
	const longestS = 10
	if sig == nil {
		return [][]float64{part(x, 0, longestS*rateHz)}
	}
	spans := []testsignals.Span{sig.Lead, sig.Tail, sig.RunIn}
	if sig.Kind == testsignals.Silence {
		spans = append(spans, testsignals.Span{Start: sig.Body.Start, End: min(sig.Body.End, sig.Body.Start+longestS*rateHz)})
	}
	var parts [][]float64
	// What a board smears of a mark is left out.
	clear := rateHz / 50
	for _, s := range spans {
		parts = append(parts, part(x, offset+s.Start+clear, offset+s.End-clear))
	}
	return parts
}

// emptyFrom returns the frequency in hertz above which x holds nothing but what
// rounding to steps of code leaves, while it holds noise below; 0 where there
// is none.
func emptyFrom(x []float64, rateHz int, code float64) float64 {
	cells := noiseCells(x, rateHz)
	if len(cells) == 0 {
		return 0
	}
	rounding := code * code / 12 / (float64(rateHz) / 2)
	empty := math.Max(emptyOverRounding*rounding, math.Pow(10, emptyDBPerHz/10))
	k := len(cells)
	for k > 0 && cells[k-1] <= empty {
		k--
	}
	if k < 4 || k == len(cells) {
		return 0
	}
	// The edge itself may lie within cell k.
	above := min(k+1, len(cells)-1)
	octaves := math.Log2(cellAtHz(above) / cellAtHz(k-2))
	ratio := math.Pow(10, math.Max(edgeDB, edgeDBPerOctave*octaves)/10)
	if cells[k-2] < ratio*cells[above] {
		return 0
	}
	full := 0
	for _, c := range cells[:k] {
		if c >= math.Pow(10, edgeDB/10)*slices.Max(cells[above:]) {
			full++
		}
	}
	if float64(full) < fullShare*float64(k) {
		return 0
	}
	return cellAtHz(k)
}

func cellAtHz(k int) float64 { return firstCellHz + float64(k)*cellHz }

// noiseCells returns the power density of the noise of x in each cell, full
// scale squared per hertz: the median of a periodogram's bins, so that lines
// count for nothing. None where x is too short.
func noiseCells(x []float64, rateHz int) []float64 {
	n := int(cellWindowS * float64(rateHz))
	window, power := kaiser(n, cellBeta)
	fft := fourier.NewFFT(n)
	bins := make([][]float64, (lastCellHz-firstCellHz)/cellHz+1)
	row, coeff := make([]float64, n), make([]complex128, n/2+1)
	hz := float64(rateHz) / float64(n)
	for at := 0; at+n <= len(x); at += n / 2 {
		for i, w := range window {
			row[i] = w * x[at+i]
		}
		fft.Coefficients(coeff, row)
		for k := range bins {
			low := cellAtHz(k)
			for b := int((low + cellEdgeHz) / hz); float64(b)*hz < low+cellHz-cellEdgeHz; b++ {
				bins[k] = append(bins[k], 2*sq(coeff[b])/(power*float64(rateHz)))
			}
		}
	}
	if len(bins[0]) == 0 {
		return nil
	}
	cells := make([]float64, len(bins))
	for k, b := range bins {
		slices.Sort(b)
		// The median of a periodogram's bin is ln 2 of its mean.
		cells[k] = b[len(b)/2] / math.Ln2
	}
	return cells
}

// kaiser returns a Kaiser window and the sum of its squares.
func kaiser(n int, beta float64) (window []float64, power float64) {
	window = make([]float64, n)
	for i := range window {
		u := (2*float64(i)+1)/float64(n) - 1
		window[i] = testsignals.BesselI0OfSquare(beta*beta*(1-u*u)) / testsignals.BesselI0OfSquare(beta*beta)
		power += window[i] * window[i]
	}
	return window, power
}
