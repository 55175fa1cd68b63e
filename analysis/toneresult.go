package analysis

import (
	"fmt"
	"math"
	"math/cmplx"

	"boardproof/testsignals"
)

const (
	// distortionOrders is how many harmonics THD sums: the common choice for
	// IEC 60268-3.
	distortionOrders = 10
	// toneSettleS is left out at each end of a tone, for ramps and settling.
	toneSettleS = 0.15
	audioLowHz  = 20.0
	audioHighHz = 20000.0
)

var toneQuantities = []string{Level, Gain, THD, THDN}

// ToneResult reads level, gain, THD and THD+N of each output from a tone, and
// the level match of the others against the first by one fit with a shared
// frequency.
func ToneResult(rec *Recording) (Result, error) {
	if rec.Signal.Kind != testsignals.Tone {
		return Result{}, fmt.Errorf("reading a tone: this signal is %s", rec.Signal.Kind)
	}
	var res Result
	steady := steadyPart(rec)
	var rows [][]float64
	var names []int
	for i, name := range rec.Outputs {
		x, ok := rec.part(i, steady)
		switch {
		case rec.problem(i) != "":
			res.refuse(name, "", rec.problem(i), toneQuantities...)
		case !ok:
			res.refuse(name, "", "the recording ends before the tone does", toneQuantities...)
		case !hasTone(x, rec.RateHz, rec.Signal.FrequencyHz):
			res.refuse(name, "", fmt.Sprintf("no signal: there is no steady tone near %g Hz; check the patch", rec.Signal.FrequencyHz), toneQuantities...)
		default:
			rows, names = append(rows, x), append(names, i)
		}
	}
	if len(rows) > 0 {
		fit, err := FitTone(rows, rec.RateHz, rec.Signal.FrequencyHz, distortionOrders)
		if err != nil {
			return Result{}, err
		}
		for j, i := range names {
			res.Add(toneReadings(rec, fit, rows[j], j, i))
		}
		res.Add(toneMatch(rec, fit, names))
	}
	res.setState(rec.State)
	return res, nil
}

// steadyPart is the tone without its ends, of a length quick to transform.
func steadyPart(rec *Recording) testsignals.Span {
	s := rec.Signal.Body
	skip := min(int(toneSettleS*rec.RateHz), s.Len()/4)
	s.Start, s.End = s.Start+skip, s.End-skip
	n := fastLength(s.Len())
	for n > s.Len() {
		n = fastLength(n * 9 / 10)
	}
	s.End = s.Start + n
	return s
}

// hasTone is true when a line at freqHz stands 20 dB above the noise beside it.
func hasTone(x []float64, rateHz, freqHz float64) bool {
	density := residualDensity(x, rateHz)
	at := int(math.Round(freqHz * float64(len(x)) / rateHz))
	peak := 0.0
	for k := max(1, at-2); k <= at+2 && k < len(density); k++ {
		peak = math.Max(peak, density[k])
	}
	return peak > 100*medianDensity(density, at)
}

// toneReadings reads fit channel j, which is output i, from samples x.
func toneReadings(rec *Recording, fit *ToneFit, x []float64, j, i int) Result {
	var res Result
	name, bench, c := rec.Outputs[i], rec.bench(i), fit.Channels[j]
	relStd := c.Std[0] / c.Amplitude[0]
	add := func(r Reading) {
		r.FrequencyHz = fit.FrequencyHz.Value
		res.Readings = append(res.Readings, r)
	}
	if bench.VoltsPerUnit > 0 {
		level := Estimate{DBu(c.Amplitude[0] * bench.VoltsPerUnit / math.Sqrt2), DBFromRelative(Hypot(relStd, bench.VoltsRelStd))}
		add(reading(Level, name, "dBu", level))
	} else {
		res.refuse(name, "", "no profile and no input full scale: give --input-full-scale for absolute levels", Level)
	}
	gain := Estimate{DB(c.Amplitude[0] / rec.Signal.Amplitude()), DBFromRelative(relStd)}
	if bench.Loopback != nil {
		own := bench.Loopback.at(fit.FrequencyHz.Value)
		gain.Value -= DB(cmplx.Abs(own))
		gain.Value += bench.LoadingDB.Value
		gain.Std = Hypot(gain.Std, bench.LoadingDB.Std, DBFromRelative(bench.Loopback.relStdAt(fit.FrequencyHz.Value)))
	}
	add(reading(Gain, name, "dB", gain))
	add(thd(c, name, bench))
	add(thdN(c, x, rec.RateHz, name))
	return res
}

func (t Transfer) relStdAt(f float64) float64 { return t.RelStd[NearestIndex(t.FrequencyHz, f)] }

// thd is the RMS sum of harmonics 2 to 10 over the fundamental, in percent:
// IEC 60268-3. The power that noise adds to each harmonic is taken off. What
// cannot be told from noise, or from the bench's own, is an upper bound.
func thd(c ToneChannel, output string, bench BenchInput) Reading {
	power, variance, noise := 0.0, 0.0, 0.0
	for k := 1; k < len(c.Amplitude); k++ {
		a2, v := sq(c.Amplitude[k]), sq(c.Std[k])
		power += a2 - 2*v
		// The variance of a squared amplitude with noise of variance v in each
		// of its two components: 4·A²·v + 4·v².
		variance += 4*math.Max(a2-2*v, 0)*v + 4*v*v
		noise += 2 * v
	}
	floor := noise
	if bench.THDPercent != nil {
		floor = math.Max(floor, sq(bench.THDPercent.Value/100*c.Amplitude[0]))
	}
	r := Reading{Quantity: THD, Output: output, Unit: "%", K: CoverageK}
	bound := math.Sqrt(math.Max(power, 0)+CoverageK*math.Sqrt(variance)) / c.Amplitude[0] * 100
	if power < 2*math.Sqrt(variance) {
		r.Value, r.UpperBound, r.Note = bound, true, "harmonics are not above the noise"
		return r
	}
	value := math.Sqrt(power)
	r.Value = value / c.Amplitude[0] * 100
	r.Uncertainty = CoverageK * math.Sqrt(variance) / (2 * value) / c.Amplitude[0] * 100
	if bench.THDPercent != nil {
		own := bench.THDPercent.Value
		// The bench's harmonics add to the board's in a phase that is not
		// known: the result can be off by all of them, evenly spread.
		r.Uncertainty = CoverageK * Hypot(r.Uncertainty/CoverageK, own/math.Sqrt(3))
		if power < 2*floor {
			r.UpperBound, r.FloorLimited = true, true
			r.Value, r.Note = bound+own, "the bench sets this figure"
			r.Uncertainty = 0
		}
	}
	return r
}

// thdN is the RMS of all but the fundamental from 20 Hz to 20 kHz over the
// RMS of all, in percent: AES17; IEC 60268-3.
func thdN(c ToneChannel, x []float64, rateHz float64, output string) Reading {
	rest, variance := audioPower(c.overtones, rateHz, audioLowHz, audioHighHz)
	total := rest + sq(c.Amplitude[0])/2
	value := math.Sqrt(rest / total)
	std := math.Sqrt(variance) / (2 * math.Sqrt(rest)) / math.Sqrt(total)
	if rest == 0 {
		std = 0
	}
	return reading(THDN, output, "%", Estimate{100 * value, 100 * std})
}

// audioPower is the mean square of x between two frequencies and its variance.
func audioPower(x []float64, rateHz, lowHz, highHz float64) (power, variance float64) {
	density := residualDensity(x, rateHz)
	binHz := rateHz / float64(len(x))
	// A Hann window spreads each line over bins that are not independent:
	// the variance of their sum is 35/18 of that of independent ones.
	const hannCorrelation = 35.0 / 18
	for k := range density {
		if f := float64(k) * binHz; f >= lowHz && f <= highHz {
			p := density[k] * binHz
			power += p
			variance += hannCorrelation * p * p
		}
	}
	return power, variance
}

// toneMatch is the level of each further output against the first.
func toneMatch(rec *Recording, fit *ToneFit, names []int) Result {
	var res Result
	if len(names) == 0 || names[0] != 0 {
		return res
	}
	ref := fit.Channels[0]
	for j := 1; j < len(names); j++ {
		c := fit.Channels[j]
		e := Estimate{DB(c.Amplitude[0] / ref.Amplitude[0]),
			DBFromRelative(Hypot(c.Std[0]/c.Amplitude[0], ref.Std[0]/ref.Amplitude[0]))}
		a, b := rec.bench(names[j]), rec.bench(0)
		if a.Loopback != nil && b.Loopback != nil {
			f := fit.FrequencyHz.Value
			e.Value -= DB(cmplx.Abs(a.Loopback.at(f)) / cmplx.Abs(b.Loopback.at(f)))
			e.Std = Hypot(e.Std, DBFromRelative(Hypot(a.Loopback.relStdAt(f), b.Loopback.relStdAt(f))))
		}
		r := reading(LevelMatch, rec.Outputs[names[j]], "dB", e)
		r.Reference, r.FrequencyHz = rec.Outputs[0], math.Round(fit.FrequencyHz.Value*1000)/1000
		res.Readings = append(res.Readings, r)
	}
	return res
}
