package hunt

import (
	"maps"
	"math"
	"slices"
)

func sortedKeys[V any](m map[int]V) []int { return slices.Sorted(maps.Keys(m)) }

// template is what a cause foretells of the classes of the comb, in dB under
// the strongest.
type template [classes]float64

// templates are by cause, for some choices of what is not known of it; the
// bench's hum may look like any.
var templates = func() map[string][]template {
	all := map[string][]template{}
	add := func(cause string, of func(n float64, odd bool) float64) {
		var t template
		for n := 1; n <= 200; n++ {
			v := of(float64(n), n%2 == 1)
			t[classOf(n, 20)] += v * v
		}
		most := slices.Max(t[:])
		for i := range t {
			t[i] = 10 * math.Log10(t[i]/most+powerOf(nothingDB))
		}
		all[cause] = append(all[cause], t)
		all[Bench] = append(all[Bench], t)
	}
	// What rectifiers and other loads draw: odd harmonics that fall with some
	// power of their number, hardly any even ones (IEC 61000-3-2 allows a small
	// supply 3.4 mA/W of the 3rd, 1.9 of the 5th, 1.0 of the 7th, from memory).
	for _, third := range []float64{0.02, 0.1, 0.5} {
		for _, fall := range []float64{1.5, 2.2, 3} {
			current := func(n float64, odd bool) float64 {
				switch {
				case n == 1:
					return 1
				case odd:
					return third * math.Pow(3/n, fall)
				}
				return 0
			}
			add(GroundLoop, current)
			// A field induces in proportion to frequency.
			add(Magnetic, func(n float64, odd bool) float64 { return n * current(n, odd) })
		}
	}
	// The mains voltage has some per cent of the low odd harmonics (EN 50160
	// allows 5 % of the 3rd, 6 % of the 5th, 5 % of the 7th, from memory), and a
	// stray capacitance passes them in proportion to frequency as long as the
	// node's resistance is the smaller.
	for _, third := range []float64{0.005, 0.03} {
		for _, rising := range []float64{0, 1} {
			add(Electric, func(n float64, odd bool) float64 {
				switch {
				case n == 1:
					return 1
				case odd:
					return third * math.Pow(3/n, 1.2) * math.Pow(n, rising)
				}
				return 0
			})
		}
	}
	// A sine that is off from each zero crossing to an angle has odd lines that
	// fall as the edge does, in proportion to their number, or not at all behind
	// a stray capacitance or a coil.
	for _, edge := range []float64{0.1, 0.4, 1} {
		for _, rising := range []float64{0, 1} {
			add(Dimmer, func(n float64, odd bool) float64 {
				switch {
				case n == 1:
					return 1
				case odd:
					return edge * math.Pow(n, rising-1)
				}
				return 0
			})
		}
	}
	// What a full-wave rectifier leaves on its reservoir: a sawtooth of twice the
	// mains, smoother behind a filter, sharper behind a regulator that lets more
	// through the higher; odd lines where its halves differ, or where there is
	// only one.
	for _, fall := range []float64{0.4, 1, 1.8} {
		for _, uneven := range []float64{0.003, 0.1, 1} {
			add(Ripple, func(n float64, odd bool) float64 {
				v := math.Pow(2/n, fall)
				if odd {
					return uneven * v
				}
				return v
			})
		}
	}
	return all
}()

// combFit is how well causes explain the comb as found, and by class how likely
// each of the shares of the first of two causes is.
type combFit struct {
	log   float64
	share [classes][7]float64
}

// fitComb explains the comb by one cause or two, whatever is not known of them.
func fitComb(s *spectrum, causes []string) combFit {
	var f combFit
	var logs []float64
	for i := range templates[causes[0]] {
		a := &templates[causes[0]][i]
		if len(causes) == 1 {
			logs = append(logs, s.fits(a))
			continue
		}
		for j := range templates[causes[1]] {
			b := &templates[causes[1]][j]
			for byDB := -20.0; byDB <= 20; byDB += 5 {
				var sum template
				for k := range sum {
					sum[k] = 10 * math.Log10(powerOf(a[k])+powerOf(b[k]+byDB))
				}
				v := s.fits(&sum)
				logs = append(logs, v)
				for k := range f.share {
					for at, ratio := range ratios {
						f.share[k][at] += math.Exp(v) * (normal(ratio, a[k]-b[k]-byDB, shareDB) + anyShare)
					}
				}
			}
		}
	}
	for k := range f.share {
		sum := 0.0
		for _, v := range f.share[k] {
			sum += v
		}
		for at := range f.share[k] {
			f.share[k][at] /= math.Max(sum, 1e-300)
		}
	}
	f.log = logMean(logs)
	return f
}

// fits is the logarithm of the likelihood of the comb under a template, both
// under their strongest class.
func (s *spectrum) fits(t *template) float64 {
	top, peak := math.Inf(-1), slices.Max(t[:])
	for _, l := range s.comb {
		if l.seen() {
			top = math.Max(top, l.db)
		}
	}
	sum := 0.0
	for i, l := range s.comb {
		if !l.known {
			continue
		}
		std, foretold := math.Hypot(shapeDB, l.std), t[i]-peak
		if !l.bound && foretold < clutterDB {
			// What the cause does not bring is from whatever else is about.
			foretold, std = clutterDB, 2*std
		}
		d := l.db - top - foretold
		v := (1-oddLine)*normal(d, 0, std) + oddLine/oddRangeDB
		if l.bound {
			v = (1-oddLine)*under(d, 0, std) + oddLine/2
		}
		sum += math.Log(v)
	}
	return sum
}

// normal is the density of a normal variate.
func normal(x, mean, std float64) float64 {
	d := (x - mean) / std
	return math.Exp(-d*d/2) / (std * math.Sqrt(2*math.Pi))
}

// under is the chance that a normal variate is under x.
func under(x, mean, std float64) float64 { return math.Erfc((mean-x)/(std*math.Sqrt2)) / 2 }

func logMean(logs []float64) float64 { return logSum(logs) - math.Log(float64(len(logs))) }

// logSum is the logarithm of the sum of exponentials.
func logSum(logs []float64) float64 {
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	most := slices.Max(logs)
	if math.IsInf(most, -1) {
		return most
	}
	sum := 0.0
	for _, v := range logs {
		sum += math.Exp(v - most)
	}
	return most + math.Log(sum)
}
