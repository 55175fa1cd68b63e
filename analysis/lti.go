package analysis

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"boardproof/testsignals"
)

// How far two readings of one gain may lie apart before the board is called
// not linear and time-invariant: ltiSigmas standard uncertainties and, for
// what a clean analogue path may do, ltiAllowanceDB.
const (
	ltiSigmas      = 4.0
	ltiAllowanceDB = 0.05
)

// sameGain is true when a and b, in dB, are no further apart than their
// uncertainties and the allowance explain.
func sameGain(a, b Estimate) bool {
	return math.Abs(a.Value-b.Value) <= ltiSigmas*Hypot(a.Std, b.Std)+ltiAllowanceDB
}

// notLTI is the reason for which there is no response, with what was seen.
func notLTI(seen string, args ...any) string {
	return "not linear and time-invariant in this state: " + fmt.Sprintf(seen, args...) +
		"; is a compressor, drive or modulation engaged, or a joint loose"
}

// runInGain is the gain at 1 kHz that the quiet run-in tone saw, in dB.
func runInGain(rec *Recording, i int) (Estimate, error) {
	// An output that is late, as far as its response is read, is still coming up.
	flat := rec.Signal.RunInFlat
	flat.Start += min(int(shortGate.to*rec.RateHz), flat.Len()/2)
	x, ok := rec.part(i, flat)
	if !ok {
		return Estimate{}, errors.New("the recording does not hold the run-in")
	}
	fit, err := FitTone([][]float64{x}, rec.RateHz, testsignals.RunInHz, 1)
	if err != nil {
		return Estimate{}, fmt.Errorf("reading the run-in: %w", err)
	}
	played := rec.Signal.Amplitude() * math.Pow(10, -testsignals.RunInBelowDB/20)
	c := fit.Channels[0]
	return Estimate{DB(c.Amplitude[0] / played), DBFromRelative(c.Std[0] / c.Amplitude[0])}, nil
}

// checkRunIn holds the sweep's gain at 1 kHz against the run-in's, which was
// 12 dB quieter: only something that is not linear tells them apart.
func checkRunIn(rec *Recording, i int, g *Gated) string {
	at := NearestIndex(g.FrequencyHz, testsignals.RunInHz)
	sweep := Estimate{g.MagnitudeDB(at), DBFromRelative(g.RelStd(at))}
	runIn, err := runInGain(rec, i)
	if err != nil {
		return ""
	}
	if sameGain(sweep, runIn) {
		return ""
	}
	return notLTI("gain at 1 kHz is %.2f dB, for a signal 12 dB quieter it is %.2f dB", sweep.Value, runIn.Value)
}

// checkMarks holds the level of the marks before and after the body together.
func checkMarks(rec *Recording, i int) string {
	if i >= len(rec.MarkChangeDB) {
		return ""
	}
	change := rec.MarkChangeDB[i]
	if sameGain(change, Estimate{}) {
		return ""
	}
	return notLTI("the marks after the signal are %+.2f dB against those before it", change.Value)
}

// The band in which impulses and sweep are compared, octave by octave.
const (
	opinionLowHz  = 100.0
	opinionHighHz = 10000.0
)

// checkImpulses compares the sweep's response with that of averaged impulses,
// octave by octave. Bands where the impulses cannot tell half a decibel are
// passed over; told is false when all are.
func checkImpulses(g *Gated, imp *ImpulseResponse) (reason string, told bool) {
	ratio := againstSweep(g, imp)
	for low := opinionLowHz; low < opinionHighHz; low *= 2 {
		band := bandGain(ratio, low, math.Min(2*low, opinionHighHz))
		if band.Std > 0.5/ltiSigmas || math.IsNaN(band.Value) {
			continue
		}
		told = true
		if !sameGain(band, Estimate{}) {
			return notLTI("from %.0f to %.0f Hz the impulses' gain differs from the sweep's by %+.2f dB",
				low, math.Min(2*low, opinionHighHz), band.Value), true
		}
	}
	return "", told
}

type opinion struct {
	f      float64
	z      complex128 // impulses over sweep, delay between the takes taken out
	relStd float64
}

// againstSweep divides impulses by sweep at each frequency of the impulses
// and lines the two takes up in time.
func againstSweep(g *Gated, imp *ImpulseResponse) []opinion {
	var all []opinion
	var points []phasePoint
	for k, f := range imp.FrequencyHz {
		if f < opinionLowHz || f > opinionHighHz {
			continue
		}
		h, rel := g.interpolate(f)
		m := cmplx.Abs(h)
		if m == 0 {
			continue
		}
		o := opinion{f, imp.H[k] / h, Hypot(imp.Std[k]/m, rel)}
		all = append(all, o)
		points = append(points, phasePoint{f: f, z: o.z, weight: 1 / sq(o.relStd+1e-9), std: o.relStd})
	}
	line, err := fitDelay(points)
	if err != nil {
		return all
	}
	for i := range all {
		all[i].z *= cis(2 * math.Pi * all[i].f * line.delayS)
	}
	return all
}

// bandGain is the weighted mean over a band of impulses over sweep, in dB.
func bandGain(all []opinion, lowHz, highHz float64) Estimate {
	var sum complex128
	weight := 0.0
	for _, o := range all {
		if o.f >= lowHz && o.f < highHz {
			w := 1 / (sq(o.relStd) + 1e-12)
			sum += scale(w, o.z)
			weight += w
		}
	}
	if weight == 0 {
		return Estimate{math.NaN(), math.Inf(1)}
	}
	return Estimate{DB(cmplx.Abs(sum) / weight), DBFromRelative(math.Sqrt(0.5 / weight))}
}

// interpolate returns the response between grid points, magnitude and phase
// apart, and its relative standard deviation.
func (g *Gated) interpolate(f float64) (complex128, float64) {
	n := len(g.FrequencyHz)
	i := sort.SearchFloat64s(g.FrequencyHz, f)
	if i == 0 || i == n {
		return 0, 0
	}
	a, b := g.H[i-1], g.H[i]
	if a == 0 || b == 0 {
		return 0, 0
	}
	x := math.Log(f/g.FrequencyHz[i-1]) / math.Log(g.FrequencyHz[i]/g.FrequencyHz[i-1])
	turn := cmplx.Phase(b / a)
	m := math.Exp((1-x)*math.Log(cmplx.Abs(a)) + x*math.Log(cmplx.Abs(b)))
	return scale(m/cmplx.Abs(a), a*cis(x*turn)), g.Noise[i] / m
}
