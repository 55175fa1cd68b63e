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

// level appends a reading of a level in volts, put right by own.
func (b *silenceReadings) level(r Reading, c corrected, own share) {
	floor := typeB(sourceFloor, DBFromRelative(c.benchStd/c.Value))
	floor.Rectangular = c.line
	read := reading(r.Quantity, b.output, DBu(c.Value)+own.db, append(nonzero(
		typeA(sourceScatter, DBFromRelative(c.Std/c.Value)), floor, evenly(sourceShare, own.std)), b.scale...))
	read.FrequencyHz, read.Harmonic, read.Weighting, read.Note = r.FrequencyHz, r.Harmonic, r.Weighting, r.Note
	r = read
	r.UpperBound, r.FloorLimited = c.upperBound, c.floorLimited
	if c.note != "" && r.Note != "" {
		r.Note += "; "
	}
	r.Note += c.note
	b.res.Readings = append(b.res.Readings, r)
}

func (b *silenceReadings) addNoise() {
	for _, w := range Weightings {
		c, cross := corrected{Estimate: b.s.Noise[w]}, 0.0
		if b.floor != nil {
			cross = b.floor.crossVariance(b.s, w)
			c = takeOffFloor(b.s.Noise[w], b.floor.Noise[w], cross)
		}
		b.level(Reading{Quantity: Noise, Weighting: w}, c, b.bench.ofWeighting(b.s.ThirdOctaves, w))
	}
	for _, w := range Weightings {
		c := corrected{Estimate: b.s.Hiss[w]}
		if b.floor != nil {
			c = takeOffFloor(b.s.Hiss[w], b.floor.Hiss[w], 0)
		}
		b.level(Reading{Quantity: Hiss, Weighting: w}, c, b.bench.ofWeighting(b.s.hissOctaves, w))
	}
}

func (b *silenceReadings) addMains() {
	m := b.s.Mains
	if m.Found {
		b.res.Readings = append(b.res.Readings, reading(MainsFrequency, b.output, m.FrequencyHz.Value,
			nonzero(typeA(sourceNoise, m.FrequencyHz.Std), evenly(sourceClock, m.FrequencyHz.Value*b.s.clockStdPPM*1e-6))))
	} else {
		b.res.refuse(b.output, "", m.Reason, MainsFrequency)
		if len(b.s.Harmonics) == 0 {
			b.res.refuse(b.output, "", m.Reason+", and its nominal frequency is not known", Hum, HumHarmonic)
			return
		}
	}
	hum := corrected{Estimate: b.s.Hum, upperBound: b.s.HumUpperBound}
	if b.floor != nil && !hum.upperBound {
		hum = b.floor.takeOffHum(b.s)
	}
	b.level(Reading{Quantity: Hum}, hum, b.humShare())
	for _, h := range b.s.Harmonics {
		c := corrected{Estimate: h.RMS, upperBound: h.UpperBound}
		if !h.UpperBound {
			c = takeOffLine(h.RMS, b.floor.harmonic(h.Harmonic))
		}
		r := Reading{Quantity: HumHarmonic, Harmonic: h.Harmonic}
		if m.Found {
			r.FrequencyHz = float64(h.Harmonic) * m.FrequencyHz.Value
		}
		b.level(r, c, b.bench.inputShare(float64(h.Harmonic)*b.mainsHz()))
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
	density.Note = fmt.Sprintf("in 1 Hz, read in %.2g Hz: a line of v dBu shows as v %+.1f dBu", d.BandwidthHz, -10*math.Log10(d.BandwidthHz))
	thirds := Curve{Quantity: ThirdOctaves, Output: b.output, Unit: "dBu"}
	for _, o := range b.s.ThirdOctaves {
		thirds.FrequencyHz = append(thirds.FrequencyHz, o.CentreHz)
		thirds.Value = append(thirds.Value, DBu(math.Max(o.RMS.Value, math.SmallestNonzeroFloat64)))
		thirds.Uncertainty = append(thirds.Uncertainty, CoverageK*Hypot(DBFromRelative(o.RMS.Std/o.RMS.Value), b.scale.Std()))
	}
	b.res.Curves = append(b.res.Curves, density, thirds)
}
