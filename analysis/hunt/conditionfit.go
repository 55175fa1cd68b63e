package hunt

import (
	"cmp"
	"math"
	"slices"
)

// gain is one thing that a condition may do to a cause, in dB, with its share
// of its kind of effect.
type gain struct{ db, share float64 }

// gains are by kind: vanishes, same, other.
var gains = [3][]gain{goneGains(), {{-0.3, 0.2}, {0, 0.6}, {0.3, 0.2}}, otherGains()}

// goneDB is as good as nothing left.
const goneDB = -140.0

// goneGains: half of what vanishes is gone for good, the rest falls by
// anything.
func goneGains() []gain {
	out := evenGains(-100, -12, 4)
	for i := range out {
		out[i].share /= 2
	}
	return append(out, gain{goneDB, 0.5})
}

func evenGains(from, to, step float64) []gain {
	var out []gain
	for db := from; db <= to; db += step {
		out = append(out, gain{db: db})
	}
	for i := range out {
		out[i].share = 1 / float64(len(out))
	}
	return out
}

// otherGains are more often a fall than a rise.
func otherGains() []gain {
	out := evenGains(-10, 10, 2)
	sum := 0.0
	for i := range out {
		if out[i].share = 1; out[i].db > 0 {
			out[i].share = 0.5
		}
		sum += out[i].share
	}
	for i := range out {
		out[i].share /= sum
	}
	return out
}

const (
	// linesCompared are as many of the strongest lines as take part.
	linesCompared = 10
	// sameDB and movedScatterDB are how alike lines of one cause move, where it
	// stays and where it goes; toneScatterDB is how far a jittering
	// tone strays from take to take.
	sameDB         = 0.25
	movedScatterDB = 1.5
	toneScatterDB  = 1.5
	// shareSpreadDB is how well a share is known that templates foretell.
	shareSpreadDB = 7.0
	// oddShare of lines do as they like, within oddDB.
	oddShare = 0.05
	oddDB    = 60.0
	// witnesses lines that move together count as so many witnesses.
	witnesses = 3
)

// moved is what one line did: its change in dB, or a bound of it; share is
// that of each cause in it, clutter last.
type moved struct {
	db, std float64
	bound   bool
	share   []float64
}

// combMoves compares the strongest lines of two spectra.
func combMoves(base, now *spectrum, share [][]float64) []moved {
	var at []int
	for i, l := range base.lines {
		if !l.bound && !l.absent && !now.lines[i].absent {
			at = append(at, i)
		}
	}
	slices.SortFunc(at, func(a, b int) int { return cmp.Compare(base.lines[b].db, base.lines[a].db) })
	var out []moved
	for _, i := range at[:min(len(at), linesCompared)] {
		a, b := base.lines[i], now.lines[i]
		m := moved{db: b.db - a.db, std: math.Hypot(math.Hypot(a.std, b.std), (base.moves+now.moves)/2), bound: b.bound}
		for _, s := range share {
			m.share = append(m.share, s[i])
		}
		out = append(out, m)
	}
	return out
}

// toneMoves compares the tones.
func toneMoves(base, now *spectrum, share [][]float64) []moved {
	var out []moved
	for i, t := range base.tones {
		m := moved{}
		k := indexTone(now.tones, t.FrequencyHz.Value)
		level := math.Max(now.toneBound, 1e-12)
		if k >= 0 {
			level = now.tones[k].RMS.Value
		}
		m.bound = k < 0
		m.db = 20 * math.Log10(level/t.RMS.Value)
		m.std = math.Hypot(8.7*t.RMS.Std/t.RMS.Value, toneScatterDB)
		if i >= linesCompared {
			break
		}
		for _, s := range share {
			m.share = append(m.share, s[i])
		}
		out = append(out, m)
	}
	return out
}

// kinds is the likelihood of what was seen by what kind of effect the
// condition had on each of at most two causes: [first][second]; with one cause
// the second is of no matter and all its kinds are alike.
type kinds [3][3]float64

// likelihoodOf finds it for moves, as a logarithm; two says whether there are
// two causes.
func likelihoodOf(moves []moved, two bool) kinds {
	var out kinds
	for a := range gains {
		for b := range gains {
			if !two && b > 0 {
				out[a][b] = out[a][0]
				continue
			}
			second := gains[b]
			if !two {
				second = []gain{{0, 1}}
			}
			var logs []float64
			for _, g := range gains[a] {
				for _, h := range second {
					logs = append(logs, math.Log(g.share*h.share)+logMoves(moves, []float64{g.db, h.db}, two))
				}
			}
			out[a][b] = logSum(logs)
		}
	}
	if !two {
		out.alone(moves)
	}
	return out
}

// alone adds what a cause that is alone may do besides: go, so that what is left
// is of whatever else is about; or leave some of its lines and take others.
func (k *kinds) alone(moves []moved) {
	for b := range k[0] {
		k[0][b] = logMean([]float64{k[0][b], logOthersAreLeft(moves)})
		k[2][b] = logMean([]float64{k[2][b], logEachItsOwnWay(moves)})
	}
}

// leftFromDB and leftToDB are how far down what is left may be when a cause is
// gone.
const leftFromDB, leftToDB = -12.0, -100.0

// logOthersAreLeft is how likely the lines moved so if all fell, each to
// whatever was beneath it.
func logOthersAreLeft(moves []moved) float64 {
	sum := 0.0
	for i := range moves {
		m := &moves[i]
		switch {
		case m.bound:
			sum += math.Log(1 - oddShare)
		case m.db < leftFromDB && m.db > leftToDB:
			sum += math.Log((1 - oddShare) / (leftFromDB - leftToDB))
		default:
			sum += math.Log(oddShare / oddDB)
		}
	}
	return witnessed(sum, len(moves))
}

// logMoves is how likely the lines moved so if each cause moved by its gain.
// The lines of one cause move together, so that they are not witnesses each by
// itself.
func logMoves(moves []moved, db []float64, two bool) float64 {
	with, without := 0.0, 0.0
	n := 1
	if two {
		n = 2
	}
	var power [2]float64
	for k := range n {
		power[k] = powerOf(db[k])
	}
	for i := range moves {
		m := &moves[i]
		clutter := m.share[len(m.share)-1]
		v, stays := m.likelihood(db[:n], power[:n], clutter)
		none := v
		if stays > 0.1 && clutter < 0.5 {
			none, _ = m.likelihood(db[:n], power[:n], 0)
		}
		with += math.Log(v)
		without += math.Log(none)
	}
	// Clutter is an allowance: there may be as well none of it.
	return logMean([]float64{witnessed(with, len(moves)), witnessed(without, len(moves))})
}

// witnessed is the logarithm of the likelihood of n lines that move together.
func witnessed(log float64, n int) float64 {
	return log * math.Min(1, witnesses/math.Max(1, float64(n)))
}

// logEachItsOwnWay is how likely the lines moved so if each either stayed or
// went, as those of two converters do where one is off.
func logEachItsOwnWay(moves []moved) float64 {
	sum := 0.0
	for i := range moves {
		m := &moves[i]
		same, _ := m.likelihood([]float64{0}, []float64{1}, 0)
		none, _ := m.likelihood([]float64{goneDB}, []float64{powerOf(goneDB)}, 0)
		sum += math.Log((same + none) / 2)
	}
	return witnessed(sum, len(moves))
}

// likelihood is that of one line's move where each cause moves by a gain and
// clutter stays as it is; stays is the share that clutter then has.
func (m *moved) likelihood(db, power []float64, clutter float64) (v, stays float64) {
	total := clutter
	for k := range db {
		total += m.share[k] * power[k]
	}
	total = math.Max(total, 1e-14)
	mean := math.Log(total) / dbToNeper
	variance := m.std*m.std + sameDB*sameDB + uncertainShare(0, clutter, clutter/total, mean)
	for k := range db {
		left := m.share[k] * power[k] / total
		variance += uncertainShare(db[k], m.share[k], left, mean)
		if left > 0.5 {
			scatter := movedScatterDB * math.Min(1, math.Abs(db[k])/2)
			variance += scatter * scatter
		}
	}
	if len(db) == 2 {
		apart := math.Min(1, math.Abs(db[0]-db[1])/10)
		variance += beatingDB2 * m.share[0] * m.share[1] * apart * apart
	}
	std := math.Sqrt(variance)
	if m.bound {
		return (1-oddShare)*below1(m.db, mean, std) + oddShare/2, clutter / total
	}
	return (1-oddShare)*normal(m.db, mean, std) + oddShare/oddDB, clutter / total
}

// uncertainShare is the variance that a line has for what is left of a cause
// in it being as uncertain as the share that the cause had.
func uncertainShare(gain, share, left, mean float64) float64 {
	off := math.Min(1, math.Abs(gain-mean)/6) * (1 - share) * shareSpreadDB * left
	return off * off
}

// under is the likelihood of what was seen if the causes are at places.
func (k *kinds) under(first, second effect, most float64) float64 {
	a := [3]float64{first.vanishes, first.same, first.other}
	b := [3]float64{second.vanishes, second.same, second.other}
	sum := 0.0
	for i := range a {
		for j := range b {
			sum += a[i] * b[j] * math.Exp(k[i][j]-most)
		}
	}
	return math.Log(math.Max(sum, 1e-300)) + most
}

func (k *kinds) most() float64 {
	most := math.Inf(-1)
	for _, row := range k {
		for _, v := range row {
			most = math.Max(most, v)
		}
	}
	return most
}
