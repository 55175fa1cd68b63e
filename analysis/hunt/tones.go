package hunt

import (
	"cmp"
	"math"
	"slices"

	"boardproof/analysis"
)

// Lines as near to each other as smearHz or smearShare of their frequency are
// the smear of one that is not steady; common practice, no source.
const (
	smearHz    = 3.0
	smearShare = 1e-3
)

// tonesOf puts the lines off the comb together where they are one smear.
func tonesOf(s *analysis.Silence, bench analysis.BenchInput) []Tone {
	lines := slices.Clone(s.Tones)
	slices.SortFunc(lines, func(a, b analysis.Tone) int { return cmp.Compare(a.FrequencyHz.Value, b.FrequencyHz.Value) })
	var out []Tone
	for len(lines) > 0 {
		n := 1
		for n < len(lines) && lines[n].FrequencyHz.Value-lines[n-1].FrequencyHz.Value < math.Max(smearHz, smearShare*lines[n].FrequencyHz.Value) {
			n++
		}
		out = append(out, toneOf(s, bench, lines[:n]))
		lines = lines[n:]
	}
	slices.SortStableFunc(out, func(a, b Tone) int { return cmp.Compare(b.RMS.Value, a.RMS.Value) })
	return out
}

// toneOf is one tone of all lines of a smear. A line that is not steady has
// more power than any sine fitted to it, so the spectrum is asked as well.
func toneOf(s *analysis.Silence, bench analysis.BenchInput, lines []analysis.Tone) Tone {
	power, variance, hz := 0.0, 0.0, 0.0
	strongest := lines[0]
	for _, l := range lines {
		p := l.RMS.Value * l.RMS.Value
		power += p
		variance += 4 * p * l.RMS.Std * l.RMS.Std
		hz += p * l.FrequencyHz.Value
		if l.RMS.Value > strongest.RMS.Value {
			strongest = l
		}
	}
	whole := strongest
	if power > 0 {
		whole.FrequencyHz.Value = hz / power
		whole.RMS = analysis.Estimate{Value: math.Sqrt(power), Std: math.Sqrt(variance / power / 4)}
	}
	if seen, ok := inSpectrum(s, whole.FrequencyHz.Value); ok && seen.Value > 1.2*whole.RMS.Value {
		whole.RMS = seen
	}
	width := lines[len(lines)-1].FrequencyHz.Value - lines[0].FrequencyHz.Value
	whole.FrequencyHz.Std = analysis.Hypot(strongest.FrequencyHz.Std, width/4)
	return Tone{whole.FrequencyHz, levelOf(s.ToneLevel(whole, bench)), width, strongest.Family}
}

// inSpectrum is the power that the averaged spectrum shows in the bin at hz;
// ok is false where nothing stands out of what is beside it.
func inSpectrum(s *analysis.Silence, hz float64) (analysis.Estimate, bool) {
	d := s.Density
	at := analysis.NearestIndex(d.FrequencyHz, hz)
	if at < 3 || at+3 >= len(d.FrequencyHz) {
		return analysis.Estimate{}, false
	}
	for _, k := range []int{at - 1, at + 1} {
		if d.VoltsPerRootHz[k] > d.VoltsPerRootHz[at] {
			at = k
		}
	}
	beside := math.Min(d.VoltsPerRootHz[max(at-3, 0)], d.VoltsPerRootHz[min(at+3, len(d.FrequencyHz)-1)])
	v := math.Sqrt(math.Max(0, d.VoltsPerRootHz[at]*d.VoltsPerRootHz[at]-beside*beside) * d.BandwidthHz)
	return analysis.Estimate{Value: v, Std: v * d.RelStd[at]}, v > 0 && math.Abs(d.FrequencyHz[at]-hz) < math.Max(smearHz, 0.01*hz)
}

// allTones is the level of all tones together, or, without any, what one
// may be that hides in the noise.
func allTones(tones []Tone, bound float64) Level {
	if len(tones) == 0 {
		return Level{RMS: analysis.Estimate{Value: bound}, UpperBound: true, RawRMS: bound}
	}
	var out Level
	power, variance, raw, bench := 0.0, 0.0, 0.0, 0.0
	out.UpperBound, out.FloorLimited = true, true
	for _, t := range tones {
		p := t.RMS.Value * t.RMS.Value
		power += p
		variance += p * t.RMS.Std * t.RMS.Std
		raw += t.RawRMS * t.RawRMS
		bench += t.BenchRMS * t.BenchRMS
		out.UpperBound = out.UpperBound && t.UpperBound
		out.FloorLimited = out.FloorLimited && t.FloorLimited
	}
	out.RMS.Value, out.RawRMS, out.BenchRMS = math.Sqrt(power), math.Sqrt(raw), math.Sqrt(bench)
	if power > 0 {
		out.RMS.Std = math.Sqrt(variance / power)
	}
	return out
}
