package analysis

import "slices"

var matchQuantities = []string{LevelMatch, WorstLevelMatch, DelayMatch, PolarityMatch}

// splitResult matches each further output against the first.
func splitResult(rec *Recording, all responses, band Band) Result {
	var res Result
	for i := 1; i < len(rec.Outputs); i++ {
		name, ref := rec.Outputs[i], rec.Outputs[0]
		if bad := refusedOf(all.reasons, 0, i); bad >= 0 {
			res.refuse(name, ref, "output "+rec.Outputs[bad]+": "+all.reasons[bad], SplitQuantities()...)
			continue
		}
		s, err := all.split(i)
		if err != nil {
			res.refuse(name, ref, err.Error(), SplitQuantities()...)
			continue
		}
		res.Add(s.result(name, ref, band))
	}
	return res
}

// refusedOf returns the first of outputs for which there is a reason, -1 where
// there is none.
func refusedOf(reasons []string, outputs ...int) int {
	for _, i := range outputs {
		if reasons[i] != "" {
			return i
		}
	}
	return -1
}

func (s *Split) result(name, ref string, band Band) Result {
	var res Result
	m := s.Level()
	add := func(r Reading, f float64, note string) {
		r.Reference, r.FrequencyHz, r.Note = ref, f, note
		res.Readings = append(res.Readings, r)
	}
	at := NearestIndex(m.FrequencyHz, gridReferenceHz)
	add(reading(LevelMatch, name, m.DB[at], m.Budget(at)), gridReferenceHz, "")
	if w, err := s.bench.level(s.Ratio.fine).worst(band.LowHz, band.HighHz); err != nil {
		res.refuse(name, ref, err.Error(), WorstLevelMatch)
	} else {
		r := w.reading(WorstLevelMatch, name, w.db)
		add(r, w.hz, joined(band.String(), r.Note))
	}
	delay, budget := s.Delay()
	add(reading(DelayMatch, name, delay*1e6, budget.times(1e6)), 0, "")
	res.Add(s.meant.polarity(PolarityMatch, name, ref))
	c := Curve{Quantity: SplitDifference, Output: name, Reference: ref, Unit: UnitOf(SplitDifference),
		FrequencyHz: m.FrequencyHz, Value: slices.Clone(m.DB), Uncertainty: m.expanded(), NoiseUncertainty: m.noiseExpanded(),
		LoopNoiseUncertainty: m.expandedOf(sourceLoopNoise), SharedUncertainty: m.sharedExpanded(m.expanded())}
	c.PhaseDeg, c.PhaseUncertaintyDeg, c.GroupDelayUS = s.Ratio.phaseCurve(0, s.bench.relStd, Hypot(s.bench.LatencyS.Std, s.bench.LeadDelayStdS))
	m.bounded(&c)
	res.Curves = append(res.Curves, c.withoutGaps())
	res.qualify(s.Ratio.note, append([]string{SplitDifference}, matchQuantities...)...)
	return res
}
