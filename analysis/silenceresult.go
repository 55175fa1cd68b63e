package analysis

import (
	"fmt"
	"math"
)

// SilenceResult makes readings and curves of one output's silence, in dBu.
// bench is what is known of the input: its VoltsBudget is what all levels
// share; its Floor's power is taken off noise, hiss, hum, harmonics and tones,
// and its part in the Loopback put right, but not in the curves, which show
// what was recorded.
func SilenceResult(s *Silence, output, state string, bench BenchInput) Result {
	b := silenceReadings{s: s, bench: bench, floor: bench.Floor, scale: bench.VoltsBudget, output: output, state: state}
	if s.Reason != "" {
		b.res.refuse(output, "", s.Reason, Noise, Hiss, MainsFrequency, Hum, HumHarmonic, OtherTone, NoiseDensity, ThirdOctaves)
	} else {
		b.addNoise()
		b.addMains()
		b.addTones()
		b.addCurves()
	}
	b.res.setState(state)
	return b.res
}

type silenceReadings struct {
	s             *Silence
	bench         BenchInput
	floor         *Floor
	scale         Budget
	output, state string
	res           Result
}

// level appends a reading of a level in volts, put right by own, that is
// uncertain by more besides.
func (b *silenceReadings) level(r Reading, c corrected, own share, more ...Contribution) {
	floor := typeB(sourceFloor, DBFromRelative(c.benchStd/c.Value))
	floor.Rectangular = c.line
	read := reading(r.Quantity, b.output, DBu(c.Value)+own.db, append(nonzero(
		append(more, typeA(sourceScatter, DBFromRelative(c.Std/c.Value)), floor, evenly(sourceShare, own.std))...), b.scale...))
	read.FrequencyHz, read.Harmonic, read.Weighting, read.Note = r.FrequencyHz, r.Harmonic, r.Weighting, r.Note
	r = read
	r.UpperBound, r.FloorLimited = c.upperBound, c.floorLimited
	r.Note = joined(r.Note, c.note)
	b.res.Readings = append(b.res.Readings, r)
}

func (b *silenceReadings) addNoise() {
	how := b.s.steadiness
	for _, w := range Weightings {
		c, cross := corrected{Estimate: b.s.Noise[w]}, 0.0
		if b.floor != nil {
			cross = b.floor.crossVariance(b.s, w)
			c = takeOffFloor(b.s.Noise[w], b.floor.Noise[w], cross)
		}
		b.level(Reading{Quantity: Noise, Weighting: w, Note: how.noise[w].note}, c, b.bench.ofWeighting(b.s.ThirdOctaves, w), how.noise[w].contribution(), b.weighting(w, c.Value))
	}
	for _, w := range Weightings {
		c := corrected{Estimate: b.s.Hiss[w]}
		if b.floor != nil {
			c = takeOffFloor(b.s.Hiss[w], b.floor.Hiss[w], 0)
		}
		b.level(Reading{Quantity: Hiss, Weighting: w, Note: how.hiss.note}, c, b.bench.ofWeighting(b.s.hissOctaves, w), how.hiss.contribution(), b.weighting(w, c.Value))
	}
}

// curveStdDB is what a weighting's curve is worth: the constants of it in its
// standard are rounded, and the noise is summed in bins (own estimate).
const curveStdDB = 0.01

// weighting is what the definition of the weighting leaves open. The weighted
// curves are as good as nothing at the edges of the band; without a weighting
// the noise of half a bin at each of them may count or not.
func (b *silenceReadings) weighting(w string, rms float64) Contribution {
	if w != Unweighted {
		return typeB(sourceCurve, curveStdDB)
	}
	d := b.s.Density
	if len(d.VoltsPerRootHz) == 0 || rms <= 0 {
		return typeB(sourceEdge, 0)
	}
	edges := (sq(d.VoltsPerRootHz[0]) + sq(d.VoltsPerRootHz[len(d.VoltsPerRootHz)-1])) * d.BandwidthHz / 2
	return evenly(sourceEdge, 10*math.Log10(1+edges/sq(rms))/2/math.Sqrt(3))
}

func (b *silenceReadings) addMains() {
	m := b.s.Mains
	if m.Found {
		b.res.Readings = append(b.res.Readings, reading(MainsFrequency, b.output, m.FrequencyHz.Value,
			nonzero(typeA(sourceNoise, m.FrequencyHz.Std), evenly(sourceClock, m.FrequencyHz.Value*b.s.clockStdPPM*1e-6))))
	} else {
		b.res.refuse(b.output, "", m.Reason, MainsFrequency)
	}
	how := b.s.steadiness.hum
	hum := corrected{Estimate: b.s.Hum, upperBound: b.s.HumUpperBound}
	if b.floor != nil && !hum.upperBound {
		hum = b.floor.takeOffHum(b.s)
	}
	b.level(Reading{Quantity: Hum, Note: joined(b.s.humNote(), how.note)}, hum, b.humShare(), how.contribution())
	for _, h := range b.s.Harmonics {
		c := corrected{Estimate: h.RMS, upperBound: h.UpperBound}
		if !h.UpperBound {
			c = takeOffLine(h.RMS, b.floor.line(h.Harmonic, m.FrequencyHz.Value))
		}
		r := Reading{Quantity: HumHarmonic, Harmonic: h.Harmonic, Note: joined(h.Note, how.note)}
		if m.Found {
			r.FrequencyHz = float64(h.Harmonic) * m.FrequencyHz.Value
		}
		b.level(r, c, b.bench.inputShare(float64(h.Harmonic)*b.mainsHz()), how.contribution())
	}
}

// mainsHz is the mains frequency, or near enough where none was found.
func (b *silenceReadings) mainsHz() float64 {
	if b.s.Mains.Found {
		return b.s.Mains.FrequencyHz.Value
	}
	return 50
}

// humShare is the input's share in the hum as a whole.
func (b *silenceReadings) humShare() share {
	var hz, power []float64
	for _, h := range b.s.Harmonics {
		hz = append(hz, float64(h.Harmonic)*b.mainsHz())
		power = append(power, sq(h.RMS.Value))
	}
	return b.bench.inputShareOf(hz, power)
}

func (b *silenceReadings) addTones() {
	for _, t := range b.s.Tones {
		c := takeOffLine(t.RMS, b.floor.tone(t.FrequencyHz.Value))
		b.level(Reading{Quantity: OtherTone, FrequencyHz: t.FrequencyHz.Value, Note: t.Family}, c, b.bench.inputShare(t.FrequencyHz.Value))
	}
}

func (b *silenceReadings) addCurves() {
	d := b.s.Density
	density := Curve{Quantity: NoiseDensity, Output: b.output, Unit: "dBu", FrequencyHz: d.FrequencyHz}
	for i, v := range d.VoltsPerRootHz {
		density.Value = append(density.Value, DBu(math.Max(v, math.SmallestNonzeroFloat64)))
		density.Uncertainty = append(density.Uncertainty, CoverageK*Hypot(DBFromRelative(d.RelStd[i]), b.scale.Std()))
	}
	density.Note = fmt.Sprintf("noise in each hertz of bandwidth; a hum line or steady tone shows here %s its own level", shownAs(-10*math.Log10(d.BandwidthHz)))
	thirds := Curve{Quantity: ThirdOctaves, Output: b.output, Unit: "dBu"}
	for _, o := range b.s.ThirdOctaves {
		thirds.FrequencyHz = append(thirds.FrequencyHz, o.CentreHz)
		thirds.Value = append(thirds.Value, DBu(math.Max(o.RMS.Value, math.SmallestNonzeroFloat64)))
		thirds.Uncertainty = append(thirds.Uncertainty, CoverageK*Hypot(DBFromRelative(o.RMS.Std/o.RMS.Value), b.scale.Std()))
	}
	b.res.Curves = append(b.res.Curves, density, thirds)
}

// joined puts two notes together.
func joined(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}

// shownAs words by how much a line is off in a density curve.
func shownAs(db float64) string {
	if db < 0 {
		return fmt.Sprintf("%.1f dB under", -db)
	}
	return fmt.Sprintf("%.1f dB over", db)
}

// humNote is what its harmonics have to say.
func (s *Silence) humNote() string {
	note := ""
	if !s.Mains.Found {
		note = s.Mains.Reason
		for i, hz := range s.boundAt {
			note += []string{": no more than this at ", " and at "}[min(i, 1)] + fmt.Sprintf("%g Hz", hz)
		}
	}
	if s.humTo > 0 {
		note = fmt.Sprintf("without weak harmonics past the %dth, for lack of a certain mains frequency", s.humTo)
	}
	for _, h := range s.Harmonics {
		if h.Note != "" {
			return joined(note, fmt.Sprintf("harmonic %d: %s", h.Harmonic, h.Note))
		}
	}
	return note
}
