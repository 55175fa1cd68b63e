package analysis

import (
	"fmt"

	"boardproof/testsignals"
)

// SilenceWatch reads windows of a silence that goes on, a few times a second. The
// lines of the mains are read in each, from where the one before left them; hiss and
// other tones, for which the whole spectrum is needed, in every fullEvery-th, the
// inputs by turns. Where no mains was found it is looked for in every lostEvery-th.
type SilenceWatch struct {
	last []*Silence
	turn int
}

const fullEvery, lostEvery = 4, 2

// Silences is what the function of that name reads, of the next window.
func (w *SilenceWatch) Silences(rec *Recording, nominalMainsHz float64) (silences []*Silence, reasons []string, err error) {
	if len(w.last) != len(rec.Outputs) {
		w.last = make([]*Silence, len(rec.Outputs))
	}
	silences, reasons = make([]*Silence, len(rec.Outputs)), make([]string, len(rec.Outputs))
	for i, name := range rec.Outputs {
		s := w.light(rec, i)
		if s == nil {
			if s, reasons[i], err = readSilence(rec, i, nominalMainsHz); err != nil {
				return nil, nil, fmt.Errorf("output %s: %w", name, err)
			}
		}
		if silences[i], w.last[i] = s, s; s != nil && s.Reason != "" {
			reasons[i] = s.Reason
		}
	}
	w.turn++
	return silences, reasons, nil
}

// light reads the lines alone; nil where all must be read.
func (w *SilenceWatch) light(rec *Recording, i int) *Silence {
	s, every := w.last[i], fullEvery
	if s == nil || s.lines == nil {
		every = lostEvery
	}
	if s == nil || (w.turn+i*every/len(w.last))%every == 0 || s.Reason != "" || rec.problem(i) != "" {
		return nil
	}
	x, err := rec.silence(i)
	if err != nil || checkFinite(x) != nil || held(x, rec.RateHz) != "" {
		return nil
	}
	if s.lines == nil {
		return s
	}
	volts := rec.bench(i).VoltsPerUnit
	if volts == 0 {
		volts = 1
	}
	x, rateHz := thinned(x, rec.RateHz)
	return s.next(x, volts, rateHz)
}

// next reads the lines of scale times x, with noise and tones as they are in s; nil
// where the comb is there no more.
func (s *Silence) next(x []float64, scale, rateHz float64) *Silence {
	whole := []testsignals.Span{{Start: 0, End: len(x)}}
	y, varies := withoutMean(x, scale, whole)
	if !varies || len(y) != int(s.LengthS*s.RateHz+0.5) {
		return nil
	}
	tapered := len(s.Tones) > 0
	m := *s.lines
	if m.comb = findComb(y, whole, rateHz, nil, tapered, s.lines.comb); !m.found() {
		return nil
	}
	m.lines = append([]mainsLine(nil), m.lines...)
	m.fitAmplitudes(y, tapered, nil)
	out := *s
	out.Mains, out.lines, out.Harmonics, out.HighHarmonics = m.comb, &m, nil, nil
	out.readLines(&m)
	return &out
}
