package analysis

import (
	"cmp"
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
	t := tonesOf(rec)
	var res Result
	for i, name := range rec.Outputs {
		if t.reasons[i] != "" {
			res.refuse(name, "", t.reasons[i], toneQuantities...)
		}
	}
	if len(t.names) > 0 {
		more, err := t.results(rec)
		if err != nil {
			return Result{}, err
		}
		res.Add(more)
	}
	res.setState(rec.State)
	return res, nil
}

// toneParts are the steady parts of a recording of a tone, at rateHz. Where all
// that is read of it lies below 20 kHz that is lower than the recording's.
type toneParts struct {
	rateHz float64
	// reasons is, by output, why there is no tone, "" where there is one; names
	// are the outputs that have one. heard, all that was recorded, and quiet,
	// without hum, go with names, and so does the hum.
	reasons      []string
	names        []int
	heard, quiet [][]float64
	hum          []*Comb
}

func tonesOf(rec *Recording) *toneParts {
	n := len(rec.Outputs)
	t := &toneParts{rateHz: rec.RateHz, reasons: make([]string, n)}
	span, rates := steadyPart(rec), make([]float64, n)
	heard, quiet, hum := make([][]float64, n), make([][]float64, n), make([]*Comb, n)
	each(n, func(i int) error { //nolint:errcheck // the reasons say all
		x, ok := rec.part(i, span)
		switch {
		case rec.problem(i) != "":
			t.reasons[i] = rec.problem(i)
		case !ok:
			t.reasons[i] = "the recording ends before the tone does"
		case checkMarks(rec, i) != "":
			t.reasons[i] = checkMarks(rec, i)
		default:
			heard[i], rates[i] = rec.forTone(x)
			if !hasTone(heard[i], rates[i], rec.Signal.FrequencyHz) {
				t.reasons[i] = fmt.Sprintf("no signal: there is no steady tone near %g Hz; check the patch", rec.Signal.FrequencyHz)
				return nil
			}
			hum[i] = rec.mains(i)
			quiet[i], _ = rec.forTone(rec.without(hum[i], i, span))
		}
		return nil
	})
	for i, reason := range t.reasons {
		if reason == "" {
			t.names, t.rateHz = append(t.names, i), rates[i]
			t.heard, t.quiet, t.hum = append(t.heard, heard[i]), append(t.quiet, quiet[i]), append(t.hum, hum[i])
		}
	}
	return t
}

// forTone thins x where that leaves every harmonic that is read, to a length
// quick to transform.
func (r *Recording) forTone(x []float64) ([]float64, float64) {
	if r.Signal.FrequencyHz*distortionOrders > audioHighHz {
		return x, r.RateHz
	}
	y, rateHz := thinned(x, r.RateHz)
	return y[:quickLength(len(y))], rateHz
}

func (t *toneParts) results(rec *Recording) (Result, error) {
	fit, err := FitTone(t.quiet, t.rateHz, rec.Signal.FrequencyHz, distortionOrders)
	if err != nil {
		return Result{}, err
	}
	steady, results := make([]unsteadiness, len(t.names)), make([]Result, len(t.names))
	each(len(t.names), func(j int) error { //nolint:errcheck // none fails
		i := t.names[j]
		steady[j] = fit.steadiness(t.quiet[j], j, t.rateHz)
		if why := steady[j].refused(); why != "" {
			results[j].refuse(rec.Outputs[i], "", why, toneQuantities...)
			return nil
		}
		results[j] = t.readings(rec, fit, j, steady[j])
		return nil
	})
	var res Result
	for _, r := range results {
		res.Add(r)
	}
	res.Add(t.match(rec, fit, steady))
	return res, nil
}

// without is a part of output i with its mains lines taken off, one of which
// may lie on the tone. rec must hold it.
func (r *Recording) without(hum *Comb, i int, span testsignals.Span) []float64 {
	at := span.Shift(int(r.OffsetFrames + 0.5))
	x := slices.Clone(r.Samples[i][at.Start:at.End])
	hum.addTo(x, at.Start, -1)
	return x
}

// steadyPart is the tone without its ends, of a length quick to transform.
func steadyPart(rec *Recording) testsignals.Span {
	s := rec.Signal.Body
	skip := min(int(toneSettleS*rec.RateHz), s.Len()/4)
	s.Start, s.End = s.Start+skip, s.End-skip
	s.End = s.Start + quickLength(s.Len())
	return s
}

// quickLength is a length of at most n that is quick to transform.
func quickLength(n int) int {
	m := fastLength(n)
	for m > n {
		m = fastLength(m * 9 / 10)
	}
	return m
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

// readings reads fit channel j; unsteady is how much its level moved.
func (t *toneParts) readings(rec *Recording, fit *ToneFit, j int, unsteady unsteadiness) Result {
	var res Result
	i := t.names[j]
	name, bench, c := rec.Outputs[i], rec.bench(i), fit.Channels[j]
	relStd := Hypot(c.Std[0], t.besideStd(fit, j)) / c.Amplitude[0]
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
	if r, why := thd(c, t.humAt(rec, fit, j), name, bench); why != "" {
		res.refuse(name, "", why, THD)
	} else {
		add(r)
	}
	add(thdN(c, t.heard[j], t.rateHz, fit.FrequencyHz.Value, name, bench.crossPower(t.hum[j])))
	return res
}

// besideStd is what is left of hum in the amplitude of channel j.
func (t *toneParts) besideStd(fit *ToneFit, j int) float64 {
	return t.hum[j].beside(fit.FrequencyHz.Value, float64(len(t.quiet[j]))/t.rateHz)
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
// cannot be told from noise, or from the bench's own, is an upper bound. hum is
// the standard uncertainty of each amplitude for lines of the mains, some of which
// may lie on the tone's harmonics.
func thd(c ToneChannel, hum []float64, output string, bench BenchInput) (r Reading, refused string) {
	if len(c.Amplitude) < 2 {
		return Reading{}, "no harmonic of this tone lies in the recorded band"
	}
	defer func() {
		if n := len(c.Amplitude); n < distortionOrders && refused == "" {
			r.Note = strings.TrimPrefix(r.Note+fmt.Sprintf("; harmonics 2 to %d only, the others lie beyond the recorded band", n), "; ")
		}
	}()
	power, variance, noise := 0.0, 0.0, 0.0
	hums := 0.0
	for k := 1; k < len(c.Amplitude); k++ {
		hums += 2 * sq(hum[k])
		a2, v := sq(c.Amplitude[k]), sq(c.Std[k])+sq(hum[k])
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
		if hums > noise/2 {
			r.Note = "lines of the mains lie on the tone's harmonics"
		}
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

// match is the level of each further output against the first.
func (t *toneParts) match(rec *Recording, fit *ToneFit, steady []unsteadiness) Result {
	var res Result
	names := t.names
	if len(names) == 0 || names[0] != 0 {
		for _, i := range names {
			res.refuse(rec.Outputs[i], rec.Outputs[0], "there is no tone at output "+rec.Outputs[0]+" to compare with", LevelMatch)
		}
		return res
	}
	for j := 1; j < len(names); j++ {
		if why := cmp.Or(steady[0].refused(), steady[j].refused()); why != "" {
			res.refuse(rec.Outputs[names[j]], rec.Outputs[0], why, LevelMatch)
			continue
		}
		db, std := fit.levelOver(j, 0, t.rateHz)
		hum := DBFromRelative(Hypot(t.besideStd(fit, 0)/fit.Channels[0].Amplitude[0], t.besideStd(fit, j)/fit.Channels[j].Amplitude[0]))
		b := nonzero(typeA(sourceNoise, Hypot(std, hum, steady[0].std(), steady[j].std())))
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
