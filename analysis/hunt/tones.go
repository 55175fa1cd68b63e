package hunt

import (
	"cmp"
	"math"
	"slices"

	"boardproof/analysis"
)

// Lines as near to each other as smearHz or smearShare of their frequency are
// the smear of one that is not steady: the skirts of a line as wide as 1 Hz
// stand out of the noise for some tens of hertz; common practice, no source.
const (
	smearHz    = 20.0
	smearShare = 1e-3
)

// tonesOf puts the lines off the comb together where they are one smear.
func tonesOf(s *analysis.Silence, bench analysis.BenchInput) []Tone {
	lines := slices.Clone(s.Tones)
	slices.SortFunc(lines, func(a, b analysis.Tone) int { return cmp.Compare(a.FrequencyHz.Value, b.FrequencyHz.Value) })
	lines = slices.DeleteFunc(lines, func(t analysis.Tone) bool { return isResidue(s, t) })
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

// residueDB under a line of the comb and within one resolution of it, a tone is
// what the fit of the comb left of that line; common practice, no source.
const residueDB = 30.0

func isResidue(s *analysis.Silence, t analysis.Tone) bool {
	rms, offHz := besideHarmonic(s, t)
	return offHz < 1/s.LengthS && t.RMS.Value < rms*math.Pow(10, -residueDB/20)
}

// nearComb says whether a stronger line of the comb shares the bins of the
// averaged spectrum with a tone, which then says nothing of the tone.
func nearComb(s *analysis.Silence, t analysis.Tone) bool {
	rms, offHz := besideHarmonic(s, t)
	f := s.Density.FrequencyHz
	return len(f) > 1 && offHz < 4*(f[1]-f[0]) && rms > t.RMS.Value
}

// besideHarmonic is the level of the harmonic of the mains that is nearest to a
// tone and how far off it is; 0 and infinity where there is none.
func besideHarmonic(s *analysis.Silence, t analysis.Tone) (rms, offHz float64) {
	if !s.Mains.Found {
		return 0, math.Inf(1)
	}
	n := int(math.Round(t.FrequencyHz.Value / s.Mains.FrequencyHz.Value))
	if n < 1 || n > len(s.Harmonics) || s.Harmonics[n-1].UpperBound {
		return 0, math.Inf(1)
	}
	return s.Harmonics[n-1].RMS.Value, math.Abs(t.FrequencyHz.Value - float64(n)*s.Mains.FrequencyHz.Value)
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
	if seen, ok := inSpectrum(s, whole.FrequencyHz.Value); ok && !nearComb(s, whole) && seen.Value > 1.2*whole.RMS.Value {
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
