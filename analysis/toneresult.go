package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

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
	span := steadyPart(rec)
	reasons, quiet := make([]string, len(rec.Outputs)), make([][]float64, len(rec.Outputs))
	each(len(rec.Outputs), func(i int) error { //nolint:errcheck // the reasons say all
		if reasons[i] = noTone(rec, i, span); reasons[i] == "" {
			quiet[i] = rec.withoutMains(i, span)
		}
		return nil
	})
	var res Result
	var rows [][]float64
	var names []int
	for i, name := range rec.Outputs {
		if reasons[i] != "" {
			res.refuse(name, "", reasons[i], toneQuantities...)
			continue
		}
		rows, names = append(rows, quiet[i]), append(names, i)
	}
	if len(rows) > 0 {
		more, err := tonesOf(rec, span, rows, names)
		if err != nil {
			return Result{}, err
		}
		res.Add(more)
	}
	res.setState(rec.State)
	return res, nil
}

// noTone is why output i holds no tone to be read, "" where it does.
func noTone(rec *Recording, i int, span testsignals.Span) string {
	x, ok := rec.part(i, span)
	switch {
	case rec.problem(i) != "":
		return rec.problem(i)
	case !ok:
		return "the recording ends before the tone does"
	case checkMarks(rec, i) != "":
		return checkMarks(rec, i)
	case !hasTone(x, rec.RateHz, rec.Signal.FrequencyHz):
		return fmt.Sprintf("no signal: there is no steady tone near %g Hz; check the patch", rec.Signal.FrequencyHz)
	}
	return ""
}

// tonesOf reads the outputs called names, of which rows are that span of the
// recording without hum.
func tonesOf(rec *Recording, span testsignals.Span, rows [][]float64, names []int) (Result, error) {
	fit, err := FitTone(rows, rec.RateHz, rec.Signal.FrequencyHz, distortionOrders)
	if err != nil {
		return Result{}, err
	}
	steady, results := make([]unsteadiness, len(names)), make([]Result, len(names))
	each(len(names), func(j int) error { //nolint:errcheck // none fails
		i := names[j]
		steady[j] = fit.steadiness(rows[j], j, rec.RateHz)
		if why := steady[j].refused(); why != "" {
			results[j].refuse(rec.Outputs[i], "", why, toneQuantities...)
			return nil
		}
		x, _ := rec.part(i, span)
		results[j] = toneReadings(rec, fit, x, j, i, steady[j])
		return nil
	})
	var res Result
	for _, r := range results {
		res.Add(r)
	}
	res.Add(toneMatch(rec, fit, names, steady))
	return res, nil
}

// withoutMains is a part of output i with the mains lines taken off, one of
// which may lie on the tone. rec must hold it.
func (r *Recording) withoutMains(i int, span testsignals.Span) []float64 {
	at := span.Shift(int(r.OffsetFrames + 0.5))
	x := slices.Clone(r.Samples[i][at.Start:at.End])
	r.mains(i).addTo(x, at.Start, -1)
	return x
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

// toneReadings reads fit channel j, which is output i; x is that part as it
// was recorded, unsteady how much its level moved.
func toneReadings(rec *Recording, fit *ToneFit, x []float64, j, i int, unsteady unsteadiness) Result {
	var res Result
	name, bench, c := rec.Outputs[i], rec.bench(i), fit.Channels[j]
	relStd := c.Std[0] / c.Amplitude[0]
	add := func(r Reading) {
		r.FrequencyHz = fit.FrequencyHz.Value
		res.Readings = append(res.Readings, r)
	}
	noise := typeA(sourceNoise, Hypot(DBFromRelative(relStd), unsteady.std()))
	if bench.VoltsPerUnit > 0 {
		level := DBu(c.Amplitude[0] * bench.VoltsPerUnit / math.Sqrt2)
		add(reading(Level, name, level, append(nonzero(noise), bench.VoltsBudget...)))
	} else {
		res.refuse(name, "", NoVolts, Level)
	}
	gain, own := bench.toneAt(fit.FrequencyHz.Value)
	gain += DB(c.Amplitude[0] / rec.Signal.Amplitude())
	add(reading(Gain, name, gain, append(nonzero(noise), own...)))
	if r, why := thd(c, name, bench); why != "" {
		res.refuse(name, "", why, THD)
	} else {
		add(r)
	}
	add(thdN(c, x, rec.RateHz, fit.FrequencyHz.Value, name))
	return res
}

// toneAt returns what has to be added to a gain in dB recorded at f for the
// bench's own, and what that is uncertain by.
func (b BenchInput) toneAt(f float64) (db float64, own Budget) {
	if b.Loopback == nil {
		return 0, nil
	}
	return b.LoadingDB.Value - DB(cmplx.Abs(b.Loopback.at(f))), nonzero(
		typeB(sourceLoopNoise, DBFromRelative(b.Loopback.relStdAt(f))),
		typeB(sourceLoopPlug, DBFromRelative(b.PlugRelStd)), evenly(sourceLoading, b.LoadingDB.Std))
}

func (t Transfer) relStdAt(f float64) float64 { return t.RelStd[NearestIndex(t.FrequencyHz, f)] }

// thd is the RMS sum of harmonics 2 to 10 over the fundamental, in percent:
// IEC 60268-3. The power that noise adds to each harmonic is taken off. What
// cannot be told from noise, or from the bench's own, is an upper bound.
func thd(c ToneChannel, output string, bench BenchInput) (r Reading, refused string) {
	if len(c.Amplitude) < 2 {
		return Reading{}, "no harmonic of this tone lies in the recorded band"
	}
	defer func() {
		if n := len(c.Amplitude); n < distortionOrders && refused == "" {
			r.Note = strings.TrimPrefix(r.Note+fmt.Sprintf("; harmonics 2 to %d only, the others lie beyond the recorded band", n), "; ")
		}
	}()
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
	percent := 100 / c.Amplitude[0]
	bound := math.Sqrt(math.Max(power, 0)+CoverageK*math.Sqrt(variance)) * percent
	if power < 2*math.Sqrt(variance) {
		r = reading(THD, output, bound, nil)
		r.UpperBound, r.Note = true, "harmonics are not above the noise"
		return r, ""
	}
	value := math.Sqrt(power)
	own := 0.0
	if bench.THDPercent != nil {
		own = bench.THDPercent.Value
	}
	if own > 0 && power < 2*floor {
		r = reading(THD, output, bound+own, nil)
		r.UpperBound, r.FloorLimited, r.Note = true, true, "the bench sets this figure"
		return r, ""
	}
	// The bench's harmonics add to the board's in a phase that is not known:
	// the result can be off by all of them, evenly spread.
	return reading(THD, output, value*percent, nonzero(
		typeA(sourceNoise, math.Sqrt(variance)/(2*value)*percent), evenly(sourceFloor, own/math.Sqrt(3)))), ""
}

// thdN is the RMS of all but the fundamental from 20 Hz to 20 kHz over the
// RMS of all, in percent: AES17; IEC 60268-3. x is as recorded, hum included.
func thdN(c ToneChannel, x []float64, rateHz, freqHz float64, output string) Reading {
	raw, err := fitHarmonics(x, 2*math.Pi*freqHz/rateHz, 1)
	if err != nil {
		raw = c
	}
	rest, variance := audioPower(raw.overtones, rateHz, audioLowHz, audioHighHz)
	total := rest + sq(c.Amplitude[0])/2
	std := 0.0
	if rest > 0 {
		std = math.Sqrt(variance) / (2 * math.Sqrt(rest)) / math.Sqrt(total)
	}
	return reading(THDN, output, 100*math.Sqrt(rest/total), nonzero(typeA(sourceScatter, 100*std)))
}

// audioPower is the mean square of x between two frequencies and its variance.
// Lines in x are steady: they scatter only by beating with the noise under
// them, which is read beside them.
func audioPower(x []float64, rateHz, lowHz, highHz float64) (power, variance float64) {
	density := residualDensity(x, rateHz)
	binHz := rateHz / float64(len(x))
	// A Hann window spreads each line over bins that are not independent:
	// the variance of their sum is 35/18 of that of independent ones.
	const hannCorrelation = 35.0 / 18
	const block = 2 * noiseBinsTo
	floor := 0.0
	for k := range density {
		if k%block == 0 {
			floor = medianDensity(density, min(k+block/2, len(density)-1)) * binHz
		}
		if f := float64(k) * binHz; f >= lowHz && f <= highHz {
			p := density[k] * binHz
			power += p
			variance += hannCorrelation * math.Max(2*p*floor-floor*floor, 0)
		}
	}
	return power, variance
}

// toneMatch is the level of each further output against the first.
func toneMatch(rec *Recording, fit *ToneFit, names []int, steady []unsteadiness) Result {
	var res Result
	if len(names) == 0 || names[0] != 0 {
		for _, i := range names {
			res.refuse(rec.Outputs[i], rec.Outputs[0], "there is no tone at output "+rec.Outputs[0]+" to compare with", LevelMatch)
		}
		return res
	}
	for j := 1; j < len(names); j++ {
		if why := steady[0].refused() + steady[j].refused(); why != "" {
			res.refuse(rec.Outputs[names[j]], rec.Outputs[0], why, LevelMatch)
			continue
		}
		db, std := fit.levelOver(j, 0, rec.RateHz)
		b := nonzero(typeA(sourceNoise, Hypot(std, steady[0].std(), steady[j].std())))
		f := fit.FrequencyHz.Value
		if out, ref := rec.bench(names[j]), rec.bench(0); out.Loopback != nil && ref.Loopback != nil {
			bench, err := benchRatio(out, ref)
			if err != nil {
				res.refuse(rec.Outputs[names[j]], rec.Outputs[0], err.Error(), LevelMatch)
				continue
			}
			add, own := bench.toneAt(f)
			db, b = db+add, append(b, own...)
		}
		r := reading(LevelMatch, rec.Outputs[names[j]], db, b)
		r.Reference, r.FrequencyHz = rec.Outputs[0], math.Round(f*1000)/1000
		res.Readings = append(res.Readings, r)
	}
	return res
}

// levelOver returns the level of channel j over channel i in dB and its
// standard uncertainty from the noise of both. Noise that both carry alike
// cancels, as long as they are in phase or opposed.
func (f *ToneFit) levelOver(j, i int, rateHz float64) (db, std float64) {
	a, b := f.Channels[j], f.Channels[i]
	db = DB(a.Amplitude[0] / b.Amplitude[0])
	sign := math.Cos(a.PhaseRad[0] - b.PhaseRad[0])
	if math.Abs(sign) < 0.95 {
		return db, DBFromRelative(Hypot(a.Std[0]/a.Amplitude[0], b.Std[0]/b.Amplitude[0]))
	}
	diff := make([]float64, len(a.residual))
	for k := range diff {
		diff[k] = a.residual[k]/a.Amplitude[0] - math.Copysign(1, sign)*b.residual[k]/b.Amplitude[0]
	}
	seconds := float64(len(diff)) / rateHz
	at := int(math.Round(f.FrequencyHz.Value * seconds))
	return db, DBFromRelative(math.Sqrt(medianDensity(residualDensity(diff, rateHz), at) / seconds))
}
