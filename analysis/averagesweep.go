package analysis

import (
	"fmt"
	"math"
)

// AverageSweeps is SweepResult of several takes of one sweep in one state of
// the board, and of any number of impulse trains. Responses are combined with
// weights from their own noise, so the type A part of each uncertainty falls
// with the number of takes and the type B part does not. Takes that were
// spoilt are left out and listed, sweeps and impulses apart. One sweep gives
// exactly what SweepResult gives.
func AverageSweeps(sweeps, impulses Takes, band Band) (res Result, spoilt, spoiltImpulses []Spoilt, err error) {
	if sweeps.N == 1 && impulses.N < 2 {
		res, err = oneSweep(sweeps, impulses, band)
		return res, nil, nil, err
	}
	var second secondOpinion
	if impulses.N > 0 {
		if second, spoiltImpulses, err = averageImpulses(impulses); err != nil {
			return Result{}, nil, nil, err
		}
	}
	rec, takes, err := readSweeps(sweeps, second)
	if err != nil {
		return Result{}, nil, nil, err
	}
	if spoilt, err = screenSweeps(takes, rec.Outputs).spoilt(); err != nil {
		return Result{}, nil, nil, fmt.Errorf("averaging sweeps: %w", err)
	}
	kept := without(takes, spoilt)
	if len(kept) == 0 {
		return sweepResult(rec, takes[0].responses(), band), spoilt, spoiltImpulses, nil
	}
	all, err := averaged(kept)
	if err != nil {
		return Result{}, nil, nil, fmt.Errorf("averaging sweeps: %w", err)
	}
	return sweepResult(rec, all, band), spoilt, spoiltImpulses, nil
}

func oneSweep(sweeps, impulses Takes, band Band) (Result, error) {
	rec, err := sweeps.Load(0)
	if err != nil {
		return Result{}, err
	}
	var second *Recording
	if impulses.N == 1 {
		if second, err = impulses.Load(0); err != nil {
			return Result{}, err
		}
	}
	return SweepResult(rec, second, band)
}

func readSweeps(sweeps Takes, second secondOpinion) (first *Recording, takes []*sweepTake, err error) {
	var played *Played
	first, takes, err = readTakes(sweeps, "a sweep", func(rec *Recording) (*sweepTake, error) {
		if played == nil {
			var err error
			if played, err = NewPlayed(rec.Signal); err != nil {
				return nil, fmt.Errorf("reading a sweep: %w", err)
			}
		}
		take := readSweep(rec, second, played)
		take.rec = rec.withoutSamples()
		take.readRest()
		return take, nil
	})
	if played != nil {
		played.finish()
	}
	return first, takes, err
}

// readRest reads all that is read from the raw responses.
func (t *sweepTake) readRest() {
	n := len(t.raws)
	t.harmonics, t.dense = make([][]Curve, n), make([][]phasePoint, n)
	for i, raw := range t.raws {
		if raw == nil {
			continue
		}
		t.harmonics[i] = raw.Harmonics(t.gated[i])
		if i > 0 && t.raws[0] != nil {
			t.dense[i] = denseRatio(raw, t.raws[0])
		}
	}
}

func screenSweeps(takes []*sweepTake, outputs []string) screening {
	s := screening{outputs: outputs, strays: "response"}
	for _, take := range takes {
		s.reasons = append(s.reasons, take.reasons)
	}
	s.at = func(take, output int) bool { return takes[take].gated[output] != nil }
	s.noises = []loudness{{"the noise beside the sweep", bangDB, func(take, output int) float64 {
		if !s.at(take, output) {
			return math.Inf(-1)
		}
		return takes[take].gated[output].noiseDB()
	}}}
	s.apart = func(others []int, take, output int) (chi2, awayDB float64, err error) {
		var rest []*Gated
		for _, t := range others {
			rest = append(rest, takes[t].gated[output].coarse())
		}
		return takes[take].gated[output].coarse().apart(rest)
	}
	return s
}

// averaged combines takes output by output. An output that most takes refuse
// is refused with the first reason.
func averaged(takes []*sweepTake) (responses, error) {
	rec := takes[0].rec
	all := responses{gated: make([]*Gated, len(rec.Outputs)), reasons: make([]string, len(rec.Outputs))}
	for i := range rec.Outputs {
		for _, t := range takes {
			if all.reasons[i] == "" {
				all.reasons[i] = t.reasons[i]
			}
		}
		if all.reasons[i] != "" {
			continue
		}
		gated := make([]*Gated, len(takes))
		for t, take := range takes {
			gated[t] = take.gated[i]
		}
		var err error
		if all.gated[i], err = averageGated(gated, true); err != nil {
			return responses{}, err
		}
	}
	all.harmonics = func(i int) []Curve {
		curves := make([][]Curve, len(takes))
		for t, take := range takes {
			curves[t] = take.harmonics[i]
		}
		return averageCurves(curves)
	}
	// Before anything is made of the means: the takes may go then.
	splits, errs := make([]*Split, len(rec.Outputs)), make([]error, len(rec.Outputs))
	for i := 1; i < len(rec.Outputs); i++ {
		if refusedOf(all.reasons, 0, i) < 0 {
			splits[i], errs[i] = averageSplit(takes, i)
		}
	}
	for _, t := range takes {
		t.raws, t.gated = nil, nil
	}
	all.split = func(i int) (*Split, error) { return splits[i], errs[i] }
	return all, nil
}

// averageSplit combines the ratios of output i over the first, which each
// take gives at one time, so that they need no lining up.
func averageSplit(takes []*sweepTake, i int) (*Split, error) {
	ratios, dense := make([]*Gated, len(takes)), make([][]phasePoint, len(takes))
	for t, take := range takes {
		var err error
		if ratios[t], err = take.gated[i].ratio(take.gated[0]); err != nil {
			return nil, err
		}
		dense[t] = take.dense[i]
	}
	mean, err := averageGated(ratios, false)
	if err != nil {
		return nil, err
	}
	rec := takes[0].rec
	return newSplit(mean, averagePoints(dense, ratios, mean), rec.bench(i), rec.bench(0))
}

// averagePoints combines the dense readings of a ratio with the weights of the
// nearest grid point. What the takes scatter beyond their noise is in the points'.
func averagePoints(dense [][]phasePoint, ratios []*Gated, mean *Gated) []phasePoint {
	weights, widened := gatedWeights(ratios), scatterBeyond(ratios, mean)
	out := append([]phasePoint(nil), dense[0]...)
	for k := range out {
		p := &out[k]
		at := NearestIndex(mean.FrequencyHz, p.f)
		p.z = 0
		std := make([]float64, len(dense))
		for t := range dense {
			p.z += scale(weights[t][at], dense[t][k].z)
			std[t] = widened * weights[t][at] * dense[t][k].std
		}
		p.std = Hypot(std...)
	}
	return out
}

// averageCurves combines the harmonics of several takes, weighed by their
// uncertainties, in dB: of those that are no bounds, or, where most are, the least
// bound.
func averageCurves(takes [][]Curve) []Curve {
	takes = inAll(takes)
	out := takes[0]
	for c := range out {
		for i := range out[c].Value {
			var values, std []float64
			least := math.Inf(1)
			for t := range takes {
				if takes[t][c].UpperBound[i] {
					least = math.Min(least, takes[t][c].Value[i])
				} else {
					values, std = append(values, takes[t][c].Value[i]), append(std, takes[t][c].Uncertainty[i])
				}
			}
			if 2*len(values) < len(takes) {
				out[c].Value[i], out[c].Uncertainty[i], out[c].UpperBound[i] = least, 0, true
				continue
			}
			weights, combined := inverseVariance(std)
			value := 0.0
			for k, v := range values {
				value += weights[k] * v
			}
			out[c].Value[i], out[c].Uncertainty[i], out[c].UpperBound[i] = value, combined, false
		}
	}
	return out
}

// inAll is takes with those curves, and points of them, that all have.
func inAll(takes [][]Curve) [][]Curve {
	type point struct {
		harmonic int
		hz       float64
	}
	count := map[point]int{}
	for _, curves := range takes {
		for _, c := range curves {
			for _, hz := range c.FrequencyHz {
				count[point{c.Harmonic, hz}]++
			}
		}
	}
	out := make([][]Curve, len(takes))
	for t, curves := range takes {
		for _, c := range curves {
			var keep []int
			for i, hz := range c.FrequencyHz {
				if count[point{c.Harmonic, hz}] == len(takes) {
					keep = append(keep, i)
				}
			}
			if len(keep) > 0 {
				out[t] = append(out[t], c.only(keep))
			}
		}
	}
	return out
}

// trainTake is what one train of impulses showed, output by output.
type trainTake struct {
	answers []*ImpulseResponse
	errs    []error
}

// averageImpulses combines trains of impulses; a train that is far noisier
// than the others at any output is left out.
func averageImpulses(trains Takes) (secondOpinion, []Spoilt, error) {
	first, takes, err := readTakes(trains, "impulses", func(rec *Recording) (trainTake, error) {
		n := len(rec.Outputs)
		t := trainTake{make([]*ImpulseResponse, n), make([]error, n)}
		for i := range n {
			t.answers[i], t.errs[i] = impulsesOf(rec)(i)
		}
		return t, nil
	})
	if err != nil {
		return nil, nil, err
	}
	scatter := loudness{"the scatter of the impulses", bangDB, func(take, output int) float64 {
		if takes[take].errs[output] != nil {
			return math.Inf(-1)
		}
		return takes[take].answers[output].scatterDB()
	}}
	spoilt, err := screening{outputs: first.Outputs, reasons: make([][]string, len(takes)), noises: []loudness{scatter}}.spoilt()
	if err != nil {
		return nil, nil, err
	}
	kept := without(takes, spoilt)
	return func(i int) (*ImpulseResponse, error) {
		at := make([]*ImpulseResponse, len(kept))
		for t, take := range kept {
			if take.errs[i] != nil {
				return nil, take.errs[i]
			}
			at[t] = take.answers[i]
		}
		return meanImpulses(at), nil
	}, spoilt, nil
}

// scatterDB is how far the periods of a train scatter over the band in which
// they are compared with a sweep.
func (r *ImpulseResponse) scatterDB() float64 {
	power, n := 0.0, 0.0
	for k, f := range r.FrequencyHz {
		if f >= opinionLowHz && f <= opinionHighHz {
			power += sq(r.Std[k])
			n++
		}
	}
	return 10 * math.Log10(power/n)
}

// meanImpulses weighs each train by its whole scatter: that of one frequency,
// from a dozen periods, would weigh by chance. The trains' delays are lined
// up with the first's.
func meanImpulses(trains []*ImpulseResponse) *ImpulseResponse {
	if len(trains) == 1 {
		return trains[0]
	}
	std := make([]float64, len(trains))
	for t, r := range trains {
		std[t] = math.Pow(10, r.scatterDB()/20)
	}
	weights, _ := inverseVariance(std)
	first := trains[0]
	out := &ImpulseResponse{FrequencyHz: first.FrequencyHz, H: make([]complex128, len(first.H)), Std: make([]float64, len(first.H))}
	for t, r := range trains {
		delay := r.delayAgainst(first)
		for k, f := range out.FrequencyHz {
			out.H[k] += scale(weights[t], r.H[k]*cis(2*math.Pi*f*delay))
			out.Std[k] = math.Hypot(out.Std[k], weights[t]*r.Std[k])
		}
	}
	return out
}

// delayAgainst is how much later r is than o, 0 where that cannot be found.
func (r *ImpulseResponse) delayAgainst(o *ImpulseResponse) float64 {
	if r == o {
		return 0
	}
	var points []phasePoint
	for k, f := range r.FrequencyHz {
		if o.H[k] != 0 {
			points = append(points, phasePoint{f: f, z: r.H[k] / o.H[k], weight: 1 / f})
		}
	}
	line, err := fitDelay(points)
	if err != nil {
		return 0
	}
	return line.delayS
}
