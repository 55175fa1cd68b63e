package analysis

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

// noSignalDB is how far the response must stand above its own noise at 1 kHz
// for there to be a signal at all.
const noSignalDB = 20.0

var responseQuantities = []string{Response, Gain, LowCorner, HighCorner, Flatness}

// SweepResult reads the response of each output from a sweep, and how the
// others match the first. impulses is a take of an impulse train in the same
// state, the second opinion; nil when there is none. It returns an error only
// when nothing can be read at all.
func SweepResult(rec, impulses *Recording, band Band) (Result, error) {
	played, err := NewPlayed(rec.Signal)
	if err != nil {
		return Result{}, fmt.Errorf("reading a sweep: %w", err)
	}
	var second secondOpinion
	if impulses != nil {
		second = impulsesOf(impulses)
	}
	t := readSweep(rec, second, played)
	return sweepResult(rec, t.responses(), band), nil
}

// secondOpinion is the averaged impulse response of an output.
type secondOpinion func(i int) (*ImpulseResponse, error)

func impulsesOf(rec *Recording) secondOpinion {
	return func(i int) (*ImpulseResponse, error) {
		return AverageImpulses(rec.Samples[i], rec.Signal, rec.OffsetFrames)
	}
}

// sweepTake is what one sweep showed, output by output: a reason where the
// output cannot be believed.
type sweepTake struct {
	rec     *Recording
	raws    []*Raw
	gated   []*Gated
	reasons []string
	// harmonics and dense, the ratio over the first output, are read where raws are not
	// kept.
	harmonics [][]Curve
	dense     [][]phasePoint
}

func readSweep(rec *Recording, second secondOpinion, played *Played) *sweepTake {
	n := len(rec.Outputs)
	t := &sweepTake{rec: rec, raws: make([]*Raw, n), gated: make([]*Gated, n), reasons: make([]string, n)}
	grid := Grid(rec.RateHz)
	each(n, func(i int) error { //nolint:errcheck // the reasons say all
		raw, g, reason := readOutput(rec, second, played, grid, i)
		if t.reasons[i] = reason; reason == "" {
			t.raws[i], t.gated[i] = raw, g
		}
		return nil
	})
	return t
}

// responses are what readings are made of: of one sweep, or of several
// averaged. gated is nil where there is a reason.
type responses struct {
	gated     []*Gated
	reasons   []string
	harmonics func(i int) []Curve
	// split compares output i with the first.
	split func(i int) (*Split, error)
}

func (t *sweepTake) responses() responses {
	return responses{
		gated: t.gated, reasons: t.reasons,
		harmonics: func(i int) []Curve { return t.raws[i].Harmonics(t.gated[i]) },
		split: func(i int) (*Split, error) {
			return CompareOutputs(t.raws[i], t.raws[0], t.gated[i], t.gated[0], t.rec.bench(i), t.rec.bench(0))
		},
	}
}

// sweepResult makes readings and curves. rec says which outputs they are of
// and what is known of the bench.
func sweepResult(rec *Recording, all responses, band Band) Result {
	results := make([]Result, len(rec.Outputs))
	each(len(results), func(i int) error { //nolint:errcheck // what fails is refused
		if reason := all.reasons[i]; reason != "" {
			results[i].refuse(rec.Outputs[i], "", reason, responseQuantities...)
		} else {
			results[i] = responseResult(rec, all.harmonics(i), all.gated[i], i, band)
		}
		return nil
	})
	var res Result
	for _, r := range results {
		res.Add(r)
	}
	res.Add(splitResult(rec, all, band))
	res.setState(rec.State)
	return res
}

// readOutput deconvolves one output and returns why it cannot be believed, if
// it cannot.
func readOutput(rec *Recording, second secondOpinion, played *Played, grid []float64, i int) (*Raw, *Gated, string) {
	if p := rec.problem(i); p != "" {
		return nil, nil, p
	}
	raw, err := played.deconvolve(rec.Samples[i], rec.OffsetFrames, rec.mains(i))
	if err != nil {
		return nil, nil, err.Error()
	}
	g := raw.Response(grid)
	at := NearestIndex(grid, gridReferenceHz)
	if DB(cmplx.Abs(g.H[at])/g.Noise[at]) < noSignalDB {
		return nil, nil, fmt.Sprintf("no signal: the response at 1 kHz is only %.1f dB above the noise; check the patch",
			DB(cmplx.Abs(g.H[at])/g.Noise[at]))
	}
	if reason := checkMarks(rec, i); reason != "" {
		return nil, nil, reason
	}
	if reason := checkRunIn(rec, i, g); reason != "" {
		return nil, nil, reason
	}
	var imp *ImpulseResponse
	if second != nil {
		if imp, err = second(i); err != nil {
			return nil, nil, "the second opinion failed: " + err.Error()
		}
		if reason, _ := checkImpulses(g, imp); reason != "" {
			return nil, nil, reason
		}
	}
	g.fine = raw.readFine(g)
	if reason := raw.disturbances(g, imp, rec.markChange(i)); reason != "" {
		return nil, nil, reason
	}
	g.alike(g.fine)
	return raw, g, ""
}

// mains is the comb of mains lines of output i, as fitted in the silences
// around the signal. Where none can be fitted nothing is to be taken off: what
// is left of hum then shows in the noise of the response.
func (r *Recording) mains(i int) *Comb {
	comb, err := FitMainsAround(r.Samples[i], r.RateHz, r.quiet(), 0)
	if err != nil {
		return &Comb{}
	}
	return comb
}

// markChange is how much louder the marks after the body are at output i than those
// before, zero where that is not known.
func (r *Recording) markChange(i int) Estimate {
	if i < len(r.MarkChangeDB) {
		return r.MarkChangeDB[i]
	}
	return Estimate{}
}

// responseResult turns the response of output i into readings and curves.
func responseResult(rec *Recording, harmonics []Curve, g *Gated, i int, band Band) Result {
	var res Result
	name, bench := rec.Outputs[i], rec.bench(i)
	res.Curves = append(res.Curves, named(harmonics, name)...)
	if bench.Loopback != nil {
		over, err := g.over(*bench.Loopback)
		if err != nil {
			res.refuse(name, "", "the profile does not fit: "+err.Error(), responseQuantities...)
			return res
		}
		g = over
	}
	m, fine := bench.level(g), bench.level(g.fine)
	if line, err := fitDelay(g.phasePoints()); err != nil {
		res.refuse(name, "", err.Error(), Delay, Response)
	} else {
		res.Add(delayResult(g, m, line, bench, name))
		res.Curves[len(res.Curves)-1].Fine = fine.curve(res.Curves[len(res.Curves)-1])
	}
	res.Add(figures(fine, name, band))
	res.qualify(g.note, Response, Gain, LowCorner, HighCorner, Flatness)
	if bench.Loopback == nil {
		for j := range res.Readings {
			if r := &res.Readings[j]; r.Quantity == Gain {
				r.Note = joinedNotes("no profile: ratio of the files' full scales", r.Note)
			}
		}
	}
	return res
}

// level is the magnitude of g, which the loopback has been taken out of, with
// the bench's uncertainty.
func (b BenchInput) level(g *Gated) Magnitude {
	m := g.magnitude()
	if b.Loopback != nil {
		t := b.Loopback.onto(g.FrequencyHz)
		b.Loopback = &t
	}
	b.addTo(&m)
	return m
}

// addTo adds to m, a response divided by the loopback, what the bench is
// uncertain by, and corrects it for the loopback's loading.
func (b BenchInput) addTo(m *Magnitude) {
	if b.Loopback == nil {
		return
	}
	noise, gate := make([]float64, len(m.DB)), make([]float64, len(m.DB))
	for i := range m.DB {
		n, g := b.loopbackParts(i)
		noise[i], gate[i] = DBFromRelative(n), DBFromRelative(g)
		m.DB[i] += b.LoadingDB.Value
		if b.Loopback.RelStd[i] >= hiddenRelStd {
			m.known[i] = isNothing
		}
	}
	if read := m.read; read != nil {
		m.read = func(hz float64) float64 { return read(hz) + b.LoadingDB.Value }
	}
	m.parts = append(m.parts, part{source: sourceLoopNoise, kind: "B", std: noise}, part{source: sourceLoopGate, kind: "B", std: gate})
	m.addShared(typeB(sourceLoopPlug, DBFromRelative(b.PlugRelStd)))
	m.addShared(evenly(sourceLoading, b.LoadingDB.Std))
}

// loopbackParts parts the loopback's RelStd at point i into what noise and what the
// gate made of it: that noise never comes again, the gate always does.
func (b BenchInput) loopbackParts(i int) (noise, gate float64) {
	all := b.Loopback.RelStd[i]
	gate = math.Min(all, gateRelStdAt(b.Loopback.FrequencyHz[i])*math.Sqrt(float64(max(1, b.loopbacks))))
	return math.Sqrt(sq(all) - sq(gate)), gate
}

// delayResult gives delay and polarity, and the curve with the delay taken
// out of its phase.
func delayResult(g *Gated, m Magnitude, line straightPhase, bench BenchInput, name string) Result {
	var res Result
	meant := g.meaning(line)
	budget := nonzero(typeA(sourceNoise, line.delayStd), typeB(sourceGate, gateDelayStdS), typeB(sourceLoopNoise, bench.LatencyS.Std),
		typeB(sourceDrift, bench.clockStdS), evenly(sourceLoopDelay, bench.LeadDelayStdS), evenly(sourceMeaning, meant.delayStdS)).times(1e6)
	delay := g.ArrivalS + line.delayS - bench.LatencyS.Value
	res.Readings = append(res.Readings, reading(Delay, name, delay*1e6, budget))
	res.Add(meant.polarity(Polarity, name, ""))
	c := Curve{Quantity: Response, Output: name, Unit: UnitOf(Response), FrequencyHz: m.FrequencyHz, Value: slices.Clone(m.DB),
		Uncertainty: m.expanded(), NoiseUncertainty: m.noiseExpanded(),
		LoopNoiseUncertainty: m.expandedOf(sourceLoopNoise), SharedUncertainty: m.sharedExpanded(m.expanded())}
	c.PhaseDeg, c.PhaseUncertaintyDeg, c.GroupDelayUS = g.phaseCurve(line.delayS, bench.relStd, Hypot(bench.LatencyS.Std, bench.LeadDelayStdS, bench.clockStdS))
	m.bounded(&c)
	res.Curves = append(res.Curves, c.withoutGaps())
	return res
}

// relStd is what the profile adds to a response at grid point i, relative.
func (b BenchInput) relStd(i int) float64 {
	if b.Loopback == nil {
		return 0
	}
	return Hypot(b.Loopback.RelStd[i], b.PlugRelStd)
}

func named(curves []Curve, output string) []Curve {
	for i := range curves {
		curves[i].Output = output
	}
	return curves
}

// magnitude is g in dB with the uncertainty that its own record shows.
func (g *Gated) magnitude() Magnitude {
	m := Magnitude{FrequencyHz: g.FrequencyHz, known: g.known()}
	if g.at != nil {
		m.read = func(hz float64) float64 { return DB(cmplx.Abs(g.at(hz))) }
	}
	noise, gate, events := make([]float64, len(g.H)), make([]float64, len(g.H)), make([]float64, len(g.H))
	for i := range g.H {
		m.DB = append(m.DB, g.MagnitudeDB(i))
		noise[i], gate[i] = DBFromRelative(g.noiseRelStd(i)), DBFromRelative(g.gateRelStd(i))
		events[i] = DBFromRelative(g.disturbedRelStd(i))
	}
	m.parts = []part{{source: sourceNoise, kind: "A", std: noise}, {source: sourceGate, kind: "B", std: gate},
		{source: sourceDisturbed, kind: "A", std: events}}
	return m
}

// phasePoints weighs each point of the logarithmic grid alike, which is 1/f
// for each hertz: the sweep's own energy.
func (g *Gated) phasePoints() []phasePoint {
	points := make([]phasePoint, len(g.H))
	for i, h := range g.H {
		points[i] = phasePoint{f: g.FrequencyHz[i], z: h, weight: 1, std: Hypot(g.smoothRelStd(i), g.eventsRelStd(i))}
	}
	return points
}

// figures reads gain, corners and flatness.
func figures(m Magnitude, output string, band Band) Result {
	var res Result
	at := NearestIndex(m.FrequencyHz, gridReferenceHz)
	gain := reading(Gain, output, m.DB[at], m.Budget(at))
	gain.FrequencyHz = gridReferenceHz
	res.Readings = append(res.Readings, gain)
	res.Add(corner(m, output, LowCorner, true))
	res.Add(corner(m, output, HighCorner, false))
	w, err := m.flatness(band.LowHz, band.HighHz)
	if err != nil {
		res.refuse(output, "", err.Error(), Flatness)
		return res
	}
	r := w.reading(Flatness, output, math.Abs(w.db))
	r.Note = joined("largest departure from the gain at 1 kHz, "+band.String(), r.Note)
	res.Readings = append(res.Readings, r)
	return res
}

// reading gives w as value.
func (w furthest) reading(quantity, output string, value float64) Reading {
	r := reading(quantity, output, value, w.budget)
	r.FrequencyHz = w.hz
	if w.atLeast {
		// A departure with its sign is below zero here, so that it is at most this.
		r.LowerBound, r.UpperBound = value > 0, value <= 0
		r.Note = "at least so far: where it is under the noise, how much further cannot be told"
	}
	return r
}

// corner gives a corner, or the end of the band as the bound that it is.
func corner(m Magnitude, output, quantity string, low bool) Result {
	var res Result
	hz, budget, err := m.Corner(low)
	if err != nil && !errors.Is(err, ErrNoCorner) {
		res.refuse(output, "", err.Error(), quantity)
		return res
	}
	r := reading(quantity, output, hz, budget)
	if err != nil {
		r.Note = "the measured band ends here, the corner is beyond"
		if hz != m.FrequencyHz[0] && hz != m.FrequencyHz[len(m.FrequencyHz)-1] {
			r.Note = "here or beyond: within its uncertainty the response falls by 3 dB here, but it need not"
		}
		r.UpperBound, r.LowerBound = low, !low
	}
	res.Readings = append(res.Readings, r)
	return res
}
