package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// AverageSilences is SilenceOf of several silences in one state of the board:
// powers are averaged with the lengths as weights, mains harmonics as
// amplitudes. Silences that were spoilt are left out and listed. One silence
// gives exactly what SilenceOf gives.
func AverageSilences(silences Takes) (res Result, spoilt []Spoilt, err error) {
	if silences.N == 1 {
		rec, err := silences.Load(0)
		if err != nil {
			return Result{}, nil, err
		}
		res, err = SilenceOf(rec)
		return res, nil, err
	}
	first, read, err := readTakes(silences, "a silence", readSilences)
	if err != nil {
		return Result{}, nil, err
	}
	spoilt, err = screenSilences(read, first.Outputs).spoilt()
	if err != nil {
		return Result{}, nil, err
	}
	read = without(read, spoilt)
	for i := range first.Outputs {
		var good []*Silence
		reason := "every silence was spoilt"
		for _, take := range read {
			if take.reasons[i] == "" {
				good = append(good, take.silences[i])
			} else {
				reason = take.reasons[i]
			}
		}
		if 2*len(good) < len(read) || len(good) == 0 {
			res.Add(silenceResult(first, nil, reason, i))
			continue
		}
		res.Add(silenceResult(first, meanSilence(good), "", i))
	}
	res.setState(first.State)
	return res, spoilt, nil
}

// silenceTake is what one silence showed, output by output: a reason where it
// cannot be believed.
type silenceTake struct {
	silences []*Silence
	reasons  []string
}

func readSilences(rec *Recording) (silenceTake, error) {
	n := len(rec.Outputs)
	take := silenceTake{make([]*Silence, n), make([]string, n)}
	for i, name := range rec.Outputs {
		var err error
		if take.silences[i], take.reasons[i], err = readSilence(rec, i, 0); err != nil {
			return take, fmt.Errorf("output %s: %w", name, err)
		}
		if s := take.silences[i]; s != nil && s.Reason != "" {
			take.reasons[i] = s.Reason
		}
	}
	return take, nil
}

// screenSilences looks at the hiss under any weighting.
func screenSilences(read []silenceTake, outputs []string) screening {
	s := screening{outputs: outputs}
	for _, take := range read {
		s.reasons = append(s.reasons, take.reasons)
	}
	for _, w := range Weightings {
		s.noises = append(s.noises, loudness{"the hiss", silenceBangDB, func(take, output int) float64 {
			if read[take].reasons[output] != "" {
				return math.Inf(-1)
			}
			return DB(read[take].silences[output].Hiss[w].Value)
		}})
	}
	return s
}

// meanSilence combines silences of one output.
func meanSilence(takes []*Silence) *Silence {
	if len(takes) == 1 {
		return takes[0]
	}
	first := takes[0]
	weights := make([]float64, len(takes))
	out := &Silence{RateHz: first.RateHz, Noise: map[string]Estimate{}, Hiss: map[string]Estimate{}, clockStdPPM: first.clockStdPPM}
	for _, s := range takes {
		out.LengthS += s.LengthS
	}
	for t, s := range takes {
		weights[t] = s.LengthS / out.LengthS
	}
	for _, w := range Weightings {
		out.Noise[w] = meanPower(weights, func(t int) Estimate { return takes[t].Noise[w] })
		out.Hiss[w] = meanPower(weights, func(t int) Estimate { return takes[t].Hiss[w] })
	}
	out.Hum = meanPower(weights, func(t int) Estimate { return takes[t].Hum })
	out.boundAt = first.boundAt
	for _, s := range takes {
		out.HumUpperBound = out.HumUpperBound || s.HumUpperBound
	}
	out.Mains = meanMains(takes)
	out.Harmonics = meanHarmonics(takes)
	out.meanLines(takes, weights)
	out.Tones = meanTones(takes)
	out.ThirdOctaves = meanOctaves(takes, weights, func(s *Silence) []ThirdOctave { return s.ThirdOctaves })
	out.hissOctaves = meanOctaves(takes, weights, func(s *Silence) []ThirdOctave { return s.hissOctaves })
	out.Density = meanDensity(takes, weights)
	for _, s := range takes {
		out.steadiness = out.steadiness.worse(s.steadiness)
	}
	return out
}

// meanPower is the root of the weighted mean of squares.
func meanPower(weights []float64, of func(t int) Estimate) Estimate {
	var b bandPower
	for t, w := range weights {
		e := of(t)
		b.power += w * sq(e.Value)
		b.variance += sq(w * 2 * e.Value * e.Std)
	}
	return b.rms()
}

func meanOctaves(takes []*Silence, weights []float64, of func(*Silence) []ThirdOctave) []ThirdOctave {
	out := append([]ThirdOctave(nil), of(takes[0])...)
	for k := range out {
		out[k].RMS = meanPower(weights, func(t int) Estimate { return of(takes[t])[k].RMS })
	}
	return out
}

// meanMains is the mean frequency of the takes in which there is a comb.
func meanMains(takes []*Silence) *Comb {
	out := &Comb{Reason: takes[0].Mains.Reason}
	var std []float64
	sum := 0.0
	for _, s := range takes {
		if s.Mains.Found {
			sum += s.Mains.FrequencyHz.Value
			std = append(std, s.Mains.FrequencyHz.Std)
		}
	}
	if n := float64(len(std)); n > 0 {
		out.Found, out.FrequencyHz = true, Estimate{sum / n, Hypot(std...) / n}
	}
	return out
}

// meanHarmonics averages amplitudes, for the phases of two takes have nothing
// to do with each other. A harmonic that is a bound in one take is one in the
// mean: the root mean square of what it can at most have been.
func meanHarmonics(takes []*Silence) []MainsHarmonic {
	var out []MainsHarmonic
	for h := 1; h <= searchHarmonics; h++ {
		var same []MainsHarmonic
		for _, s := range takes {
			for _, x := range s.Harmonics {
				if x.Harmonic == h {
					same = append(same, x)
				}
			}
		}
		if len(same) > 0 {
			out = append(out, meanHarmonic(same))
		}
	}
	return out
}

func meanHarmonic(same []MainsHarmonic) MainsHarmonic {
	out := MainsHarmonic{Harmonic: same[0].Harmonic}
	n, most, std := float64(len(same)), 0.0, make([]float64, len(same))
	for t, x := range same {
		out.UpperBound = out.UpperBound || x.UpperBound
		out.Note = cmp.Or(out.Note, x.Note)
		out.RMS.Value += x.RMS.Value / n
		std[t] = x.RMS.Std
		most += sq(oneSidedBound(x.RMS)) / n
	}
	out.RMS.Std = Hypot(std...) / n
	if out.UpperBound {
		out.RMS = Estimate{Value: math.Sqrt(most)}
	}
	return out
}

// sameToneHz is how far one tone may wander from take to take, relative and
// at least: what a free-running oscillator does in a minute; common practice,
// no source.
const (
	sameToneShare = 1e-3
	sameToneHz    = 1.0
)

// meanTones lists the tones of all takes, each as the power mean of the takes
// in which it was found: one that comes and goes is not made small by the
// takes without it.
func meanTones(takes []*Silence) []Tone {
	type group struct{ tones []Tone }
	var groups []*group
	for _, s := range takes {
	next:
		for _, x := range s.Tones {
			for _, g := range groups {
				if f := g.tones[0].FrequencyHz.Value; math.Abs(f-x.FrequencyHz.Value) <= math.Max(sameToneHz, sameToneShare*f) {
					g.tones = append(g.tones, x)
					continue next
				}
			}
			groups = append(groups, &group{[]Tone{x}})
		}
	}
	var out []Tone
	for _, g := range groups {
		alikeWeights, _ := alike(make([]float64, len(g.tones)))
		mean := g.tones[0]
		mean.RMS = meanPower(alikeWeights, func(t int) Estimate { return g.tones[t].RMS })
		out = append(out, mean)
	}
	slices.SortStableFunc(out, func(a, b Tone) int { return cmp.Compare(b.RMS.Value, a.RMS.Value) })
	return out
}

// meanDensity is the power mean of the curves where they are on one grid; a
// line that stood out in some puts its point elsewhere, and then the first
// take's frequency stays.
func meanDensity(takes []*Silence, weights []float64) DensityCurve {
	first := takes[0].Density
	out := DensityCurve{FrequencyHz: first.FrequencyHz, BandwidthHz: first.BandwidthHz}
	for k := range first.FrequencyHz {
		mean := meanPower(weights, func(t int) Estimate {
			v := takes[t].Density.VoltsPerRootHz[k]
			return Estimate{v, v * takes[t].Density.RelStd[k]}
		})
		out.VoltsPerRootHz = append(out.VoltsPerRootHz, mean.Value)
		out.RelStd = append(out.RelStd, mean.Std/mean.Value)
	}
	return out
}
