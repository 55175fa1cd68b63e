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
	// pilotGateEdgeS is over how long the gate fades out through which a response is
	// taken to foretell a pilot.
	pilotGateEdgeS = 0.01
	// pilotQuietS is the time over which it is looked at whether the board still rings:
	// the mean power of noise in it, of some twenty independent values, is twice the
	// usual once in ten thousand times.
	pilotQuietS    = 0.02
	pilotQuietOver = 2.0
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
	// heard is the pilot as it came over what was foretold of it; of one pilot only.
	heard []complex128
	// pilots are those that make up a combined track.
	pilots []track
}

// look is the window at one moment.
type look struct {
	atS, lengthS float64
	// halfHz is half the width of its main lobe.
	halfHz float64
}

// looks lists the moments at which the pilots are read.
func looks(spec testsignals.Spec) []look {
	var all []look
	for t := lookStepS; t < sweepTime(spec, spec.StopHz); t += lookStepS {
		l := look{atS: t, lengthS: math.Max(lookS, lookPeriods/sweptHz(spec, t))}
		l.halfHz = math.Hypot(quietTaper, math.Pi) / (math.Pi * l.lengthS)
		all = append(all, l)
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

// within is true where the window reaches into the time from one moment to another.
func (l look) within(fromS, toS float64) bool {
	return l.atS+l.lengthS/2 > fromS && l.atS-l.lengthS/2 < toS
}

// pilotBand is the record around a pilot, shifted to 0 Hz and at a low rate, in two
// parts: what the response, as it was read, makes of all that was played, and the rest.
// Sweep and pilot as they come, fade, ring and are late are in the one, so a change of
// gain is what the pilot leaves in the other.
type pilotBand struct {
	foretold, rest []complex128
	rateHz         float64
	// endS is till when after the sweep has passed the response is read.
	endS float64
	// startS is when its first sample is, in seconds of the sweep.
	startS float64
	// offHz is where the pilot is in it.
	offHz float64
}

// pilotBand cuts the band around f out of the record's spectrum, which is the raw
// response times the played one, and parts it by what of the response comes before the
// board is first quiet again. ok is false where the sweep does not cover it.
func (r *Raw) pilotBand(f float64) (b pilotBand, ok bool) {
	p := r.played
	reach, mid := int(pilotBandHz/p.binHz), int(math.Round(f/p.binHz))
	if mid-reach < 1 || mid+reach >= len(p.inv) || p.inv[mid-reach] == 0 || p.inv[mid+reach] == 0 {
		return b, false
	}
	n := fastLength(2*reach + 2)
	all, soft := make([]complex128, n), make([]complex128, n)
	for k := -reach; k <= reach; k++ {
		edge := testsignals.RaisedCosine((pilotBandHz - math.Abs(float64(k))*p.binHz) / pilotEdgeHz)
		all[(k+n)%n] = scale(edge/float64(n), r.spec[mid+k])
		soft[(k+n)%n] = scale(taperAt(tapers[quietTaper], sq(float64(k)/float64(reach))), r.spec[mid+k])
	}
	b.rateHz = float64(n) * p.binHz
	fft := fourier.NewCmplxFFT(n)
	b.endS = r.quietFrom(fft.Sequence(nil, soft), b.rateHz)
	gated := fft.Sequence(nil, all)
	for k := range gated {
		lag := float64((k+n/2)%n-n/2) / b.rateHz
		gated[k] = scale(testsignals.RaisedCosine((lag-shortGate.from)/pilotGateEdgeS+1)*testsignals.RaisedCosine((b.endS-lag)/pilotGateEdgeS+1), gated[k])
	}
	seen := fft.Coefficients(nil, gated)
	rest := make([]complex128, n)
	for k := -reach; k <= reach; k++ {
		i := (k + n) % n
		// The transform there and back multiplies by n.
		seen[i] = scale(1/float64(n), seen[i])
		rest[i] = (all[i] - seen[i]) / p.inv[mid+k]
		seen[i] /= p.inv[mid+k]
	}
	for i := reach + 1; i < n-reach; i++ {
		seen[i] = 0
	}
	b.foretold, b.rest = fft.Sequence(nil, seen), fft.Sequence(nil, rest)
	b.startS = float64(p.seg.Start-p.sig.Body.Start) / float64(p.sig.RateHz)
	b.offHz = f - float64(mid)*p.binHz
	return b, true
}

// quietFrom is when after its strongest moment the response h, of a narrow band and at a
// low rate, is first as quiet as its noise, in seconds. A change of gain when a pilot is
// passed looks like ringing that has not ended, a later one does not.
func (r *Raw) quietFrom(h []complex128, rateHz float64) float64 {
	step := int(pilotQuietS * rateHz)
	mean := func(fromS float64) float64 {
		from := min(int(fromS*rateHz), len(h))
		return sq(rms(h[from:min(from+step, len(h))]))
	}
	stepS := float64(step) / rateHz
	var noise []float64
	for t := longGate.to; t < r.periodS()-r.harmonicLeadS(pilotHarmonics)-2*stepS; t += stepS {
		noise = append(noise, mean(t))
	}
	most, atS := 0.0, 0.0
	for t := 0.0; t < longGate.to; t += stepS {
		if power := mean(t); power > most {
			most, atS = power, t
		}
	}
	for atS += stepS; atS < longGate.to && mean(atS) > pilotQuietOver*medianOf(noise); atS += stepS {
	}
	return atS
}

// through reads the level of z offHz from the pilot through the window. noise is what
// white noise of density 1 would have for a mean square.
func (b pilotBand) through(z []complex128, l look, offHz float64) (level complex128, noise float64) {
	from := max(0, int(math.Ceil((l.atS-l.lengthS/2-b.startS)*b.rateHz)))
	to := min(len(z), int((l.atS+l.lengthS/2-b.startS)*b.rateHz)+1)
	var sum complex128
	weight, square := 0.0, 0.0
	step := cis(-2 * math.Pi * (b.offHz + offHz) / b.rateHz)
	turn := cis(-2 * math.Pi * (b.offHz + offHz) / b.rateHz * float64(from))
	for n := from; n < to; n++ {
		t := b.startS + float64(n)/b.rateHz
		w := taperAt(tapers[quietTaper], sq((t-l.atS)/(l.lengthS/2)))
		sum += scale(w, z[n]*turn)
		weight += w
		square += w * w
		turn *= step
	}
	return scale(1/weight, sum), square / sq(weight)
}
