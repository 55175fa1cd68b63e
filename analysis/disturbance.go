package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"boardproof/testsignals"
)

// Something that happens while the sweep passes a frequency (a drop-out, a
// click, a peak that clips) hides in the response there, but it is broadband:
// at every other frequency it shows as noise at that one moment. And what a
// board answers later than its gate (an echo, a long ringing) shows between
// the gate and where the noise is read. Both are looked for here.
const (
	momentS = 0.04
	// momentLowHz and momentHighHz bound where moments are looked at, by every
	// momentStep-th point of the grid.
	momentLowHz  = 200.0
	momentHighHz = 15000.0
	momentStep   = 8
	// momentDB over the typical moment is more than noise or a smoothly
	// bending board show: clean records stay under 6 dB, drop-outs, clicks
	// and clipping begin at 20 dB.
	momentDB = 10.0
	// A drop-out's own spectrum stands where the sweep is, so at the frequencies
	// where it is seen it is only a tail: momentTail times that is what it may
	// be there.
	momentTail = 30.0
	// momentRefuse is the disturbance, relative to the response, from which
	// the response is refused: 0.01 dB.
	momentRefuse = 1e-3
	// echoRefuse is likewise for what comes after the gate: -26 dB.
	echoRefuse = 0.05
	echoStep   = 6
	// echoSigmas in power over the noise is what an echo must show.
	echoSigmas = 16.0
)

// disturbances finds events and echoes in the record of g, adds what is small
// to its uncertainty, and returns a reason to refuse it where one is not.
func (r *Raw) disturbances(g *Gated) string {
	g.disturbed = make([]float64, len(g.H))
	if reason := r.addEchoes(g); reason != "" {
		return reason
	}
	return r.addMoments(g)
}

// sweepTime is when a sweep passes f, in seconds from its start.
func sweepTime(s testsignals.Spec, f float64) float64 {
	return testsignals.SweepRate(s) * math.Log(f/s.StartHz)
}

// addMoments looks at the noise by the time at which it was recorded.
func (r *Raw) addMoments(g *Gated) string {
	power := r.moments(g)
	typical := medianOf(power)
	if typical == 0 {
		return ""
	}
	spec := r.played.sig.Spec
	for k, p := range power {
		if 10*math.Log10(p/typical) < momentDB {
			continue
		}
		at := (float64(k) + 0.5) * momentS
		for i, f := range g.FrequencyHz {
			if math.Abs(sweepTime(spec, f)-at) > 1.5*momentS {
				continue
			}
			// The noise of a response rises as f for one density.
			rel := momentTail * math.Sqrt(p*f/2) / cmplx.Abs(g.H[i])
			if rel > momentRefuse {
				return fmt.Sprintf("something happened %.2f s into the sweep, near %.0f Hz: a drop-out, a click, or a peak that clips; the response there cannot be believed",
					at, spec.StartHz*math.Exp(at/testsignals.SweepRate(spec)))
			}
			g.disturbed[i] = Hypot(g.disturbed[i], rel)
		}
	}
	return ""
}

// moments is the noise's power by 40 ms of the sweep, as it would be at 1 Hz:
// the median over frequencies, each where neither its response nor that of its
// harmonics lies.
func (r *Raw) moments(g *Gated) []float64 {
	spec := r.played.sig.Spec
	n := int(float64(r.played.sig.Body.Len()) / float64(spec.RateHz) / momentS)
	seen := make([][]float64, n)
	for i := 0; i < len(g.FrequencyHz); i += momentStep {
		f := g.FrequencyHz[i]
		if f < momentLowHz || f > momentHighHz {
			continue
		}
		shifts, at := r.momentShifts(f, n)
		w, reach := gateFor(f)
		for j, z := range r.through(w, f, reach, shifts) {
			seen[at[j]] = append(seen[at[j]], sqAbs(z)/f)
		}
	}
	power := make([]float64, n)
	for k, v := range seen {
		power[k] = medianOf(v)
	}
	return power
}

// momentShifts lists the shifts of the gate at f for which it sees each moment
// of the sweep, and which moments these are.
func (r *Raw) momentShifts(f float64, n int) (shifts []float64, at []int) {
	w, _ := gateFor(f)
	last := r.periodS() - r.harmonicLeadS(8) - 0.1
	for k := range n {
		d := (float64(k)+0.5)*momentS - sweepTime(r.played.sig.Spec, f) - w.centre()
		if around := math.Mod(d+r.periodS(), r.periodS()); around > longGate.to+0.1 && around < last {
			shifts, at = append(shifts, d), append(at, k)
		}
	}
	return shifts, at
}

// addEchoes looks at what comes after the short gate.
func (r *Raw) addEchoes(g *Gated) string {
	worst, worstAt := 0.0, 0.0
	points := map[float64]float64{}
	for i := 0; i < len(g.FrequencyHz); i += echoStep {
		f := g.FrequencyHz[i]
		if f < momentLowHz || f > momentHighHz {
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
		late, noise := 0.0, sq(g.Noise[i])
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
