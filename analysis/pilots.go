package analysis

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"boardproof/testsignals"
)

const (
	// lookS is the window through which a pilot's level is read at a moment, while
	// the sweep is high enough: a Kaiser window (quietTaper) that keeps the sweep out
	// as soon as it is 60 Hz away. It weighs as much as a third of its length.
	lookS = 0.08
	// lookStepS is from one moment to the next, half of what a window weighs.
	lookStepS = 0.016
	// A curved board makes sidebands of pilot and sweep: lookPeriods of the sweep in
	// a window put its first zero on them.
	lookPeriods = 4.6
	// pilotBandHz is how far each side of a pilot the record is looked at, and
	// pilotEdgeHz over how much of that the band fades out.
	pilotBandHz = 500.0
	pilotEdgeHz = 150.0
	// pilotHarmonics is the highest harmonic of the sweep that is kept apart from
	// the pilots: the gates that read them hold so many.
	pilotHarmonics = 8
	// curvedGain is by how much more a cubic curve changes a quiet tone's gain beside
	// a loud one than it makes of the third harmonic: of c·x³, 3c·A²/2 against
	// c·A²/4 (sin³ and the mean of sin², closed form).
	curvedGain = 6.0
	// curvedMost is the third harmonic up to which a board is taken for mildly curved;
	// what does more to a pilot is no curve but a peak that clips.
	curvedMost = 0.01
)

// besideLobes are where the noise beside a pilot is read, in half main lobes of the
// window from it: clear of the pilot and of one another.
var besideLobes = []float64{-2.8, -2.2, -1.6, 1.6, 2.2, 2.8}

// track is a gain against time: how far it departs from its own median, relative,
// looked at every lookStepS.
type track struct {
	spec testsignals.Spec
	// atS is when, in seconds of the sweep.
	atS []float64
	// departure has the variance that is given; infinite where nothing could be seen.
	departure, variance []float64
	// alike is over how many moments a window reaches: so many hold the same noise.
	alike []float64
	// curved is how much of a departure the board's curvature can make.
	curved float64
}

// look is the window at one moment.
type look struct {
	atS, lengthS float64
	// halfHz is half the width of its main lobe.
	halfHz float64
}

// looks lists the moments at which the pilots are read: while the window is within
// the time in which they are steady. What a filter makes of a pilot that comes or goes
// is no pilot that is weaker: it rings.
func looks(spec testsignals.Spec) []look {
	rate := testsignals.SweepRate(spec)
	lowHz, highHz := testsignals.SweepFlatBand(spec)
	fromS, toS := rate*math.Log(lowHz/spec.StartHz), rate*math.Log(highHz/spec.StartHz)
	var all []look
	for t := lookStepS; t < toS; t += lookStepS {
		l := look{atS: t, lengthS: math.Max(lookS, lookPeriods/sweptHz(spec, t))}
		l.halfHz = math.Hypot(quietTaper, math.Pi) / (math.Pi * l.lengthS)
		if t-l.lengthS/2 > fromS && t+l.lengthS/2 < toS {
			all = append(all, l)
		}
	}
	return all
}

// sweptHz is where a sweep is at t seconds.
func sweptHz(s testsignals.Spec, t float64) float64 {
	return s.StartHz * math.Exp(t/testsignals.SweepRate(s))
}

// crosses is true where harmonic n of the sweep comes nearer than marginHz to f
// within the window.
func (l look) crosses(s testsignals.Spec, n int, f, marginHz float64) bool {
	low, high := float64(n)*sweptHz(s, l.atS-l.lengthS/2), float64(n)*sweptHz(s, l.atS+l.lengthS/2)
	return low-marginHz < f && f < high+marginHz
}

// pilotBand is the record around a pilot, shifted to 0 Hz and at a low rate.
type pilotBand struct {
	z      []complex128
	rateHz float64
	// startS is when its first sample is, in seconds of the sweep.
	startS float64
	// offHz is where the pilot is in it.
	offHz float64
}

// pilotBand cuts the band around f out of the record's spectrum, which is the raw
// response times the played one. ok is false where the sweep does not cover it.
func (r *Raw) pilotBand(f float64) (b pilotBand, ok bool) {
	p := r.played
	reach, mid := int(pilotBandHz/p.binHz), int(math.Round(f/p.binHz))
	if mid-reach < 1 || mid+reach >= len(p.inv) || p.inv[mid-reach] == 0 || p.inv[mid+reach] == 0 {
		return b, false
	}
	c := make([]complex128, fastLength(2*reach+2))
	for k := -reach; k <= reach; k++ {
		edge := raisedCosine((pilotBandHz - math.Abs(float64(k))*p.binHz) / pilotEdgeHz)
		c[(k+len(c))%len(c)] = scale(edge, r.spec[mid+k]/p.inv[mid+k])
	}
	rate := float64(p.sig.RateHz)
	return pilotBand{
		z: fourier.NewCmplxFFT(len(c)).Sequence(nil, c), rateHz: float64(len(c)) * p.binHz,
		startS: float64(p.seg.Start-p.sig.Body.Start) / rate, offHz: f - float64(mid)*p.binHz,
	}, true
}

// through reads the level offHz from the pilot through the window, over that of a
// tone that comes and goes with the sweep. noise is what white noise of density 1
// would have for a mean square.
func (b pilotBand) through(l look, offHz float64, fade func(float64) float64) (z complex128, noise float64) {
	from := max(0, int(math.Ceil((l.atS-l.lengthS/2-b.startS)*b.rateHz)))
	to := min(len(b.z), int((l.atS+l.lengthS/2-b.startS)*b.rateHz)+1)
	var sum complex128
	played, weight, square := 0.0, 0.0, 0.0
	step := cis(-2 * math.Pi * (b.offHz + offHz) / b.rateHz)
	turn := cis(-2 * math.Pi * (b.offHz + offHz) / b.rateHz * float64(from))
	for n := from; n < to; n++ {
		t := b.startS + float64(n)/b.rateHz
		w := taperAt(tapers[quietTaper], sq((t-l.atS)/(l.lengthS/2)))
		sum += scale(w, b.z[n]*turn)
		played += w * fade(t)
		weight += w
		square += w * w
		turn *= step
	}
	if played < 0.5*weight {
		return 0, math.Inf(1)
	}
	return scale(1/played, sum), square / sq(played)
}
