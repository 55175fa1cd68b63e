package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/dsp/fourier"

	"boardproof/testsignals"
)

// Played is a signal ready to be divided out of recordings of it. It is made
// once and used for every channel and take of that signal, several at once.
type Played struct {
	sig   *testsignals.Signal
	seg   testsignals.Span // of the signal that is transformed
	inv   []complex128     // band window over the signal's spectrum, half
	binHz float64

	// fine is the fine grid, alike for every channel.
	fine []float64

	// transforming guards fft and buf, which are large.
	transforming sync.Mutex
	fft          *fourier.FFT
	buf          []float64
	// made keeps the weights of gates, which are the same for every channel,
	// by seen.
	made sync.Map
	// windows keeps gates as factors in time, by gate.
	windows sync.Map
}

// seen is a gate at a frequency.
type seen struct {
	gate       gate
	f, reachHz float64
}

func (p *Played) weighting(g gate, f, reachHz float64) weighting {
	key := seen{g, f, reachHz}
	if w, ok := p.made.Load(key); ok {
		return w.(weighting)
	}
	w := g.weighting(p.binHz, f, reachHz)
	p.made.Store(key, w)
	return w
}

// finish lets go of what only reading more recordings needs.
func (p *Played) finish() {
	p.inv, p.fft, p.buf = nil, nil, nil
	p.made.Clear()
	p.windows.Clear()
}

// settleS is left out at the start of the lead, for the last mark to ring out.
const settleS = 0.1

// NewPlayed prepares a sweep, or says why sig is not one.
func NewPlayed(sig *testsignals.Signal) (*Played, error) {
	if sig.Kind != testsignals.Sweep {
		return nil, fmt.Errorf("a response needs a sweep, this signal is %s", sig.Kind)
	}
	rate := float64(sig.RateHz)
	skip := min(int(settleS*rate), sig.Lead.Len()/4)
	seg := testsignals.Span{Start: sig.Lead.Start + skip, End: sig.Tail.End}
	n := fastLength(seg.Len())
	p := &Played{sig: sig, seg: seg, fft: fourier.NewFFT(n), binHz: rate / float64(n), buf: make([]float64, n)}
	copy(p.buf, sig.Samples[seg.Start:seg.End])
	x := p.fft.Coefficients(nil, p.buf)
	p.inv = x
	for k, v := range x {
		b := bandWindow(sig.Spec, float64(k)*p.binHz)
		if b == 0 {
			p.inv[k] = 0
			continue
		}
		p.inv[k] = scale(b/sqAbs(v), cmplx.Conj(v))
	}
	return p, nil
}

// bandWindow keeps the division to where the sweep has energy. Its edges are
// inside the fades, below and above where gates reach.
func bandWindow(s testsignals.Spec, f float64) float64 {
	_, high := testsignals.SweepFlatBand(s)
	return testsignals.RaisedCosine((f-s.StartHz*0.9)/(s.StartHz*0.8)) * testsignals.RaisedCosine((s.StopHz-f)/(s.StopHz-high))
}

// Raw is the undivided outcome of deconvolving one channel: the board's
// spectrum over the whole record, before any gate.
type Raw struct {
	played *Played
	spec   []complex128
	// arrivalS is the whole number of frames by which the signal was late,
	// taken out before the transform, in seconds.
	arrivalS float64
	scratch  []complex128
}

// Deconvolve divides the signal out of one recorded channel by spectral
// division with the played signal itself (Müller & Massarani, JAES 49(6),
// 2001), so that fades and truncation of the sweep divide out exactly. offset
// is the arrival of the signal's frame 0 in rec, in frames. The recording is
// not changed.
func (p *Played) Deconvolve(rec []float64, offset float64) (*Raw, error) {
	return p.deconvolve(rec, offset, &Comb{})
}

// deconvolve is Deconvolve of rec without the mains lines of hum.
func (p *Played) deconvolve(rec []float64, offset float64, hum *Comb) (*Raw, error) {
	whole := int(math.Round(offset))
	seg := p.seg.Shift(whole)
	if seg.Start < 0 || seg.End > len(rec) {
		return nil, fmt.Errorf("the recording ends before the signal does: it has %d frames, %d are needed", len(rec), seg.End)
	}
	p.transforming.Lock()
	defer p.transforming.Unlock()
	n := copy(p.buf, rec[seg.Start:seg.End])
	hum.addTo(p.buf[:n], seg.Start, -1)
	lead := min(p.sig.Body.Start-p.seg.Start, n)
	removeMean(p.buf[:n], lead)
	clear(p.buf[n:])
	y := p.fft.Coefficients(nil, p.buf)
	for k := range y {
		y[k] *= p.inv[k]
	}
	return &Raw{played: p, spec: y, arrivalS: float64(whole) / float64(p.sig.RateHz)}, nil
}

// removeMean takes the mean of the first lead samples from all of x: a
// converter's offset would otherwise be a step at the ends of the record.
func removeMean(x []float64, lead int) {
	if lead == 0 {
		return
	}
	mean := 0.0
	for _, v := range x[:lead] {
		mean += v
	}
	mean /= float64(lead)
	for i := range x {
		x[i] -= mean
	}
}

// periodS is the length of the circle on which the deconvolution lives.
func (r *Raw) periodS() float64 { return 1 / r.played.binHz }

// fastLength returns the smallest length not below n whose only prime factors
// are 2, 3 and 5, which the transform is quick at.
func fastLength(n int) int {
	for m := n + n%2; ; m += 2 {
		k := m
		for _, p := range []int{2, 3, 5} {
			for k%p == 0 {
				k /= p
			}
		}
		if k == 1 {
			return m
		}
	}
}
