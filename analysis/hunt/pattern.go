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
	// A line of number n has the amplitude odd(n) or even(n), times n to rising.
	add := func(cause string, rising float64, odd, even func(n float64) float64) {
		var t template
		for n := 1; n <= 200; n++ {
			v := even(float64(n))
			if n%2 == 1 {
				v = odd(float64(n))
			}
			v *= math.Pow(float64(n), rising)
			t[classOf(n, 20)] += v * v
		}
		most := slices.Max(t[:])
		for i := range t {
			t[i] = dbOf(t[i]/most + powerOf(nothingDB))
		}
		all[cause] = append(all[cause], t)
		all[Bench] = append(all[Bench], t)
	}
	none := func(float64) float64 { return 0 }
	falling := func(third, fall float64) func(n float64) float64 {
		return func(n float64) float64 {
			if n == 1 {
				return 1
			}
			return third * math.Pow(3/n, fall)
		}
	}
	for _, third := range currentThirds {
		for _, fall := range currentFalls {
			add(GroundLoop, 0, falling(third, fall), none)
			add(Magnetic, 1, falling(third, fall), none) // a field induces in proportion to frequency
		}
	}
	for _, rising := range rises {
		for _, third := range voltageThirds {
			add(Electric, rising, falling(third, voltageFall), none)
		}
		for _, edge := range dimmerEdges {
			add(Dimmer, rising, falling(edge/3, 1), none)
		}
	}
	for _, fall := range rippleFalls {
		ripple := func(n float64) float64 { return math.Pow(2/n, fall) }
		for _, uneven := range rippleUneven {
			add(Ripple, 0, func(n float64) float64 { return uneven * ripple(n) }, ripple)
		}
	}
	return all
}()

// fitComb is how well causes, one or two, explain the comb as found, as a
// logarithm, and by class how likely each share of the first of two is.
func (s *spectrum) fitComb(causes []string) (log float64, share [classes]shareOdds) {
	var logs []float64
	best, ends := math.Inf(-1), [2]float64{ratios[0], ratios[len(ratios)-1]}
	for _, a := range templates[causes[0]] {
		if len(causes) == 1 {
			logs = append(logs, s.fits(&a))
			continue
		}
		for _, b := range templates[causes[1]] {
			for byDB := -20.0; byDB <= 20; byDB += 10 {
				sum := a
				for k := range sum {
					sum[k] = math.Max(a[k], b[k]+byDB)
				}
				v := s.fits(&sum)
				logs = append(logs, v)
				if best = math.Max(best, v); v < best-hopeless/2 {
					continue
				}
				for k := range share {
					foretold := math.Max(ends[0], math.Min(a[k]-b[k]-byDB, ends[1]))
					for at, ratio := range ratios {
						share[k][at] += math.Exp(v) * (normal(ratio, foretold, shareDB) + anyShare)
					}
				}
			}
		}
	}
	for k := range share {
		share[k].normalise()
	}
	return logSum(logs) - math.Log(float64(len(logs))), share
}

func (o *shareOdds) normalise() {
	sum := 0.0
	for _, v := range o {
		sum += v
	}
	for i := range o {
		o[i] /= math.Max(sum, 1e-300)
	}
}

// fits is the logarithm of the likelihood of the comb under a template, both
// under their strongest class.
func (s *spectrum) fits(t *template) float64 {
	top, peak, sum := math.Inf(-1), slices.Max(t[:]), 0.0
	for _, l := range s.comb {
		if l.seen() {
			top = math.Max(top, l.db)
		}
	}
	for i, l := range s.comb {
		std, foretold := math.Hypot(shapeDB, l.std), t[i]-peak
		switch {
		case !l.known:
		case l.bound:
			sum += math.Log((1-oddLine)*under(l.db-top, foretold, std) + oddLine/2)
		default:
			if foretold < clutterDB { // what the cause does not bring is from whatever else is about
				foretold, std = clutterDB, 2*std
			}
			sum += math.Log((1-oddLine)*normal(l.db-top, foretold, std) + oddLine/oddRangeDB)
		}
	}
	return sum
}

// normal is the density of a normal variate, under the chance that one is under x.
func normal(x, mean, std float64) float64 {
	d := (x - mean) / std
	return math.Exp(-d*d/2) / (std * math.Sqrt(2*math.Pi))
}

func under(x, mean, std float64) float64 { return math.Erfc((mean-x)/(std*math.Sqrt2)) / 2 }

// logSum is the logarithm of the sum of exponentials.
func logSum(logs []float64) float64 {
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	most, sum := slices.Max(logs), 0.0
	if math.IsInf(most, -1) {
		return most
	}
	for _, v := range logs {
		sum += math.Exp(v - most)
	}
	return most + math.Log(sum)
}

const audioHz = 20000.0

// fitTones is how well causes explain the tones as found, as a logarithm, and
// by tone the share of the first.
func fitTones(tones []Tone, causes []string) (log float64, share []float64) {
	for i, t := range tones {
		stray := strayChance / audioHz
		if dbOf(math.Pow(t.RMS.Value/tones[0].RMS.Value, 2)) < strayDB {
			stray *= 10
		}
		sum, first := stray, 0.0
		for k, c := range causes {
			d := toneDensity(c, tones, i) / float64(len(causes))
			sum += d
			if k == 0 {
				first = d
			}
		}
		share = append(share, (first+stray/2)/sum)
		log += math.Log(sum)
	}
	return log, share
}

// toneDensity is how likely a cause brings a tone where tone i is, per hertz.
func toneDensity(cause string, tones []Tone, i int) float64 {
	hz := tones[i].FrequencyHz.Value
	if cause == USB {
		return clockDensity(tones, i)
	}
	d := 0.0
	for _, s := range toneSpreads[cause] {
		if hz >= s.fromHz && hz <= s.toHz {
			d += s.share / (hz * math.Log(s.toHz/s.fromHz))
		}
	}
	if cause != Bench && isMultiple(tones, i) {
		d += multipleShare / (4 * differHz)
	}
	if n := float64(len(tones)); cause == Beat && isDifference(tones, i) {
		d += differShare / (n * (n - 1) / 2) / (4 * differHz)
	}
	return d
}

// clockDensity is even over the multiples of 1 kHz, as near as a crystal keeps
// them; all lines of one clock are off by the same share.
func clockDensity(tones []Tone, i int) float64 {
	t, hz := tones[i], tones[i].FrequencyHz.Value
	reach := clockReach(t)
	if i > 0 && onGrid(tones[0]) {
		hz, reach = hz*math.Round(tones[0].FrequencyHz.Value/1000)*1000/tones[0].FrequencyHz.Value, reach/5
	}
	n := math.Round(hz / 1000)
	if n < 1 || t.WidthHz > 0 || math.Abs(hz-1000*n) > reach {
		return 0
	}
	return 1 / audioHz * 1000 / (2 * reach)
}

func clockReach(t Tone) float64 { return clockShare*t.FrequencyHz.Value + 2*t.FrequencyHz.Std + 0.05 }

// onGrid says whether a tone may be of a clock's family.
func onGrid(t Tone) bool {
	n := math.Round(t.FrequencyHz.Value / 1000)
	return n >= 1 && math.Abs(t.FrequencyHz.Value-1000*n) < clockReach(t)
}

// isMultiple says whether tone i is a multiple of a stronger one.
func isMultiple(tones []Tone, i int) bool {
	hz := tones[i].FrequencyHz.Value
	return slices.ContainsFunc(tones[:i], func(o Tone) bool {
		n := math.Round(hz / o.FrequencyHz.Value)
		return n >= 2 && math.Abs(hz-n*o.FrequencyHz.Value) < differHz+n*(o.WidthHz+3*o.FrequencyHz.Std)
	})
}

// isDifference says whether tone i is the difference of two others, none of
// which is a multiple of another: those of one tone differ by it.
func isDifference(tones []Tone, i int) bool {
	for j := range tones {
		for k := range tones[:j] {
			a, b, t := tones[j], tones[k], tones[i]
			if i == j || i == k || isMultiple(tones, i) || isMultiple(tones, j) || isMultiple(tones, k) {
				continue
			}
			if d := math.Abs(a.FrequencyHz.Value - b.FrequencyHz.Value); math.Abs(d-t.FrequencyHz.Value) < differHz+t.WidthHz+a.WidthHz+b.WidthHz {
				return true
			}
		}
	}
	return false
}
