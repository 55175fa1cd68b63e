package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"boardproof/testsignals"
)

// Something that happens while the sweep passes a frequency (a drop-out, a
// click, a peak that clips) hides in the response there, but it is broadband:
// at every other frequency it shows as noise at that one moment. And what a
// board answers later than its gate (an echo, a long ringing) shows between
// the gate and where the noise is read. Both are looked for here. The yardstick is
// the noise at that very frequency over the whole record, whatever its colour.
const (
	momentS = 0.04
	// momentLowHz and momentHighHz bound where moments are looked at, by every
	// momentStep-th point of the grid, which are further apart than a gate resolves.
	momentLowHz  = 100.0
	momentHighHz = 15000.0
	momentStep   = 4
	// momentDB over the typical moment is an event. Less than that, where it is no
	// chance, is noise that is not always equally loud (hum that swells, two mains that
	// beat): it counts as noise. Drop-outs, clicks and clipping begin at 20 dB.
	momentDB = 10.0
	// A drop-out's own spectrum stands where the sweep is, so at the frequencies
	// where it is seen it is only a tail: momentTail times that is what it may
	// be there.
	momentTail = 30.0
	// momentRefuse is the disturbance, relative to the response, from which the
	// response is refused: 0.01 dB. Of a peak that clips so much shows where it
	// distorts the response by half. Pilot tones show that themselves, so beside them
	// it is what two readings of one gain may differ by (ltiAllowanceDB).
	momentRefuse  = 1e-3
	pilotedRefuse = ltiAllowanceDB * math.Ln10 / 20
	// echoRefuse is what comes after the gate, relative to the response, from which
	// the response is refused: -26 dB.
	echoRefuse = 0.05
	echoStep   = 6
	// echoSigmas in power over the noise is what an echo must show.
	echoSigmas = 16.0
	// falseAlarms is how often, in takes, noise alone may pass for an event, and for a
	// change of gain.
	falseAlarms = 1e-4
)

// disturbances finds events and echoes in the record of g, adds what is small
// to its uncertainty, and returns a reason to refuse it where one is not.
// imp, the impulses' response, and marks, how much louder the marks after it are than
// those before in dB, serve where no pilot tones do; imp is nil where there is none.
func (r *Raw) disturbances(g *Gated, imp *ImpulseResponse, marks Estimate) string {
	g.disturbed = make([]float64, len(g.H))
	if reason := r.addEchoes(g); reason != "" {
		return reason
	}
	if reason := r.checkAhead(g); reason != "" {
		return reason
	}
	t := r.pilotTrack(g)
	if t == nil {
		r.leaveOpen(g, imp, marks)
		return r.addMoments(g, momentRefuse)
	}
	if reason := r.addChanges(g, t); reason != "" {
		return reason
	}
	return r.addMoments(g, pilotedRefuse)
}

// sweepTime is when a sweep passes f, in seconds from its start.
func sweepTime(s testsignals.Spec, f float64) float64 {
	return testsignals.SweepRate(s) * math.Log(f/s.StartHz)
}

// moment is the noise of a short time of the sweep.
type moment struct {
	atS float64
	// over is its power over what is typical of each frequency, the median of those
	// that are seen then, and chance how likely noise that is always alike makes it so.
	over, chance float64
	// excess is what there is more than typical, as it would be at 1 Hz.
	excess float64
}

// addMoments looks at the noise by the time at which it was recorded. A disturbance
// of more than refuse, relative to the response, is a reason to refuse it.
func (r *Raw) addMoments(g *Gated, refuse float64) string {
	spec := r.played.sig.Spec
	all := r.moments(g)
	for _, m := range all {
		if m.chance > falseAlarms/float64(len(all)) {
			continue
		}
		event := 10*math.Log10(m.over) >= momentDB
		for i, f := range g.FrequencyHz {
			if math.Abs(sweepTime(spec, f)-m.atS) > 1.5*momentS {
				continue
			}
			rel := g.noiseRelStd(i) * math.Sqrt(math.Max(0, m.over-1))
			if event {
				// The noise of a response rises as f for one density.
				rel = momentTail * math.Sqrt(m.excess*f/2) / cmplx.Abs(g.H[i])
			}
			if event && rel > refuse {
				return fmt.Sprintf("something happened %.2f s into the sweep, near %.0f Hz: a drop-out, a click, or a peak that clips; the response there cannot be believed",
					m.atS, sweptHz(spec, m.atS))
			}
			g.disturbed[i] = Hypot(g.disturbed[i], rel)
		}
	}
	return ""
}

// moments is the noise by 40 ms of the record, at each frequency where neither its
// response nor that of its harmonics lies.
func (r *Raw) moments(g *Gated) []moment {
	p := r.played
	rate := float64(p.sig.RateHz)
	first := int(math.Ceil(float64(p.seg.Start-p.sig.Body.Start) / rate / momentS))
	last := int(float64(p.seg.End-p.sig.Body.Start) / rate / momentS)
	over, excess := make([][]float64, last-first), make([][]float64, last-first)
	yardsticks := math.Inf(1)
	for i := 0; i < len(g.FrequencyHz); i += momentStep {
		f := g.FrequencyHz[i]
		if f < momentLowHz || f > momentHighHz {
			continue
		}
		shifts, at := r.momentShifts(f, first, last)
		w, reach := shortGate, math.Min(reachShare*f, shortReachHz)
		power := make([]float64, len(shifts))
		for j, z := range r.through(w, f, reach, shifts) {
			power[j] = sqAbs(z)
		}
		typical := medianOf(append([]float64(nil), power...)) / math.Ln2
		if typical == 0 {
			continue
		}
		yardsticks = math.Min(yardsticks, float64(len(power))*momentS/w.length())
		for j, v := range power {
			over[at[j]-first] = append(over[at[j]-first], v/typical)
			excess[at[j]-first] = append(excess[at[j]-first], math.Max(0, v-typical)/f)
		}
	}
	var all []moment
	for k, v := range over {
		if len(v) > 0 {
			all = append(all, moment{atS: (float64(first+k) + 0.5) * momentS, over: medianOf(v) / math.Ln2, chance: chanceOfMoment(v, yardsticks), excess: medianOf(excess[k])})
		}
	}
	return all
}

// chanceOfMoment is how likely half of the powers at one moment are as large as half of
// these are. Each is of Gaussian noise at another frequency, so exponentially
// distributed, over the median of so many looks at that frequency: the median of n
// of them scatters by 1/(√n·ln 2), as a gamma variate of shape n·ln²2 does.
func chanceOfMoment(powers []float64, looks float64) float64 {
	v := append([]float64(nil), powers...)
	sort.Float64s(v)
	half := (len(v) + 1) / 2
	shape := looks * math.Ln2 * math.Ln2
	one := math.Pow(1+v[len(v)-half]/shape, -shape)
	return 1 - distuv.Binomial{N: float64(len(v)), P: one}.CDF(float64(half)-1)
}

// momentShifts lists the shifts of the gate at f for which it sees each moment, of
// those from first to last, and which moments these are.
func (r *Raw) momentShifts(f float64, first, last int) (shifts []float64, at []int) {
	spec := r.played.sig.Spec
	end := r.periodS() - r.harmonicLeadS(8) - 0.1
	for k := first; k < last; k++ {
		t := (float64(k) + 0.5) * momentS
		d := t - sweepTime(spec, f) - shortGate.centre()
		around := math.Mod(d+r.periodS(), r.periodS())
		if around > longGate.to+0.1 && around < end && !besidePilot(spec, f, t) {
			shifts, at = append(shifts, d), append(at, k)
		}
	}
	return shifts, at
}

// besidePilot is true where a curved board makes something of the sweep, or of its
// second harmonic, and a pilot that passes f at t: it is no event.
func besidePilot(spec testsignals.Spec, f, t float64) bool {
	if spec.PilotBelowDB == 0 {
		return false
	}
	margin := 1 / shortGate.length()
	for _, pilot := range testsignals.PilotsHz {
		for n := 1.0; n <= 2; n++ {
			low, high := n*sweptHz(spec, t-shortGate.length()), n*sweptHz(spec, t+shortGate.length())
			for _, made := range []float64{f - pilot, f + pilot, pilot - f} {
				if low < made+margin && made-margin < high {
					return true
				}
			}
		}
	}
	return false
}

// addEchoes looks at what comes after the short gate.
func (r *Raw) addEchoes(g *Gated) string {
	worst, worstAt := 0.0, 0.0
	points := map[float64]float64{}
	for i := 0; i < len(g.FrequencyHz); i += echoStep {
		f := g.FrequencyHz[i]
		if f < splitHz || f > momentHighHz {
			continue
		}
		if g.fine != nil && g.fine.ringsAt(f) {
			continue // it is read through a gate that is long enough
		}
		w, reach := gateFor(f)
		w = w.quiet()
		var shifts []float64
		for t := w.length() + 2*w.edge(reach); t < longGate.to+0.2; t += w.length() / 2 {
			shifts = append(shifts, t)
		}
		late, noise := 0.0, math.Max(sq(g.Noise[i]), sq(rms(g.noise[i])))
		for j, z := range r.through(w, f, reach, shifts) {
			p := sqAbs(z)
			if p < echoSigmas*noise {
				continue
			}
			late = math.Max(late, p)
			if rel := math.Sqrt(p) / cmplx.Abs(g.H[i]); rel > worst {
				worst, worstAt = rel, shifts[j]+w.centre()
			}
		}
		points[f] = math.Sqrt(late/2) / cmplx.Abs(g.H[i])
	}
	if worst > echoRefuse {
		return fmt.Sprintf("the board answers again after %.2f s, %.0f dB down: is a delay or reverb engaged; the response of an echo is no curve",
			worstAt, DB(worst))
	}
	raise(g, points)
	return ""
}

// raise gives each grid point the largest of what was seen at the points next
// to it.
func raise(g *Gated, points map[float64]float64) {
	var at []float64
	for f := range points {
		at = append(at, f)
	}
	sort.Float64s(at)
	for i, f := range g.FrequencyHz {
		if f < splitHz || len(at) == 0 {
			continue
		}
		k := sort.SearchFloat64s(at, f)
		near := points[at[min(k, len(at)-1)]]
		if k > 0 {
			near = math.Max(near, points[at[k-1]])
		}
		g.disturbed[i] = Hypot(g.disturbed[i], near)
	}
}
