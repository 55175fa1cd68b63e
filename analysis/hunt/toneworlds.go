package hunt

import (
	"math"
)

// toneWorlds lists what may be so as to the tones. That none of the causes
// brings them is kept in, for stray tones.
func (b *bench) toneWorlds() []world {
	base := b.base()
	if len(base.tones) == 0 {
		return []world{{}}
	}
	out := b.strayWorlds()
	for i, c := range toneCauses {
		out = append(out, b.toneWorldsOf([]string{c}, prior[c])...)
		for _, d := range toneCauses[i+1:] {
			out = append(out, b.toneWorldsOf([]string{c, d}, prior[c]*prior[d])...)
		}
	}
	return out
}

// strayShare is the weight of tones that no cause brings and that nothing that
// is done moves, where they are weak, and unknownShare of those of any level
// that do as they like.
const strayShare, unknownShare = 0.3, 0.02

// strayWorlds are those in which none of the causes brings the tones.
func (b *bench) strayWorlds() []world {
	base := b.base()
	f := fitTones(base, nil)
	weak := 20 * math.Log10(rmsOf(base.tones)/math.Max(base.hiss.RMS.Value, 1e-12))
	unmoved := world{log: f.logEvidence + math.Log(strayShare) +
		math.Log(math.Min(1, rangeDB*normal(math.Max(weak, weaklyDB), weaklyDB, weaklySpread)))}
	unknown := world{
		causes: []string{unexplained}, places: []place{{}}, volts: []float64{rmsOf(base.tones)},
		log: f.logEvidence + math.Log(unknownShare),
	}
	none := [][]float64{make([]float64, len(base.tones)), f.share[0]}
	all := [][]float64{f.share[0], make([]float64, len(base.tones))}
	for i := range b.spectra[1:] {
		unmoved.log += logMoves(toneMoves(base, &b.spectra[i+1], none), []float64{0, 0}, false)
		k := likelihoodOf(toneMoves(base, &b.spectra[i+1], all), false)
		unknown.log += k.under(anything, effect{0, 1, 0}, k.most())
	}
	return []world{unmoved, unknown}
}

func rmsOf(tones []Tone) float64 {
	v := 0.0
	for _, t := range tones {
		v = math.Hypot(v, t.RMS.Value)
	}
	return v
}

func (b *bench) toneWorldsOf(causes []string, prior float64) []world {
	f := fitTones(b.base(), causes)
	var seen []kinds
	for i := range b.spectra[1:] {
		seen = append(seen, likelihoodOf(toneMoves(b.base(), &b.spectra[i+1], f.share), len(causes) == 2))
	}
	volts := make([]float64, len(causes))
	for k := range volts {
		for i, t := range b.base().tones {
			volts[k] += f.share[k][i] * t.RMS.Value * t.RMS.Value
		}
		volts[k] = math.Sqrt(volts[k])
	}
	return b.placed(causes, volts, seen, f.logEvidence+math.Log(prior))
}
