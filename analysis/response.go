package analysis

import (
	"math"
	"math/cmplx"
)

// The gates through which a response is read: a long one for low
// frequencies, in which a transformer's low corner rings out, and a short one
// above splitHz, which lets in less noise. Both open before the arrival, so
// that their soft edge has risen when the response comes.
var (
	longGate  = gate{from: -0.19, to: 0.9, taper: sharpTaper}
	shortGate = gate{from: -0.012, to: 0.08, taper: sharpTaper}
)

const (
	splitHz = 200.0
	// noiseGates is how many shifted gates the noise is read through.
	noiseGates = 12
	// reachShare of the frequency, at most, is how far a gate's transform
	// reaches: at 10 Hz it stays above 3.5 Hz, where a sweep still has energy.
	reachShare   = 0.65
	longReachHz  = 40.0
	shortReachHz = 250.0
)

// gateFor returns the gate for frequency f and how far its transform reaches.
func gateFor(f float64) (g gate, reachHz float64) {
	if f < splitHz {
		return longGate, math.Min(reachShare*f, longReachHz)
	}
	return shortGate, math.Min(reachShare*f, shortReachHz)
}

// Gated is the response of one channel on a grid: complex, out over in, in
// the units of the recording over those of the played signal.
type Gated struct {
	FrequencyHz []float64
	H           []complex128
	// Noise is the standard deviation of |δH| (both components together),
	// from the noise recorded beside the response.
	Noise []float64
	// ArrivalS is the delay already taken out of the phase of H, in seconds
	// from the signal's frame 0.
	ArrivalS float64
	// noise holds δH for each frequency and noise gate, so that noise common
	// to two channels cancels in their ratio.
	noise [][]complex128
	// long is true where the board rings longer than shortGate is open, so that a
	// longer one was used; nil where that was not looked for.
	long []bool
	// ripple is what the gate's height is uneven by where the board rings beside
	// what it passes, as in a notch, relative to |H|; nil where not looked for.
	ripple []float64
	// reference is the power of what a ratio was divided by, on the fine grid; nil for
	// a response that is none.
	reference []float64
	// pairs is what output and reference of a ratio are each uncertain by; nil for a
	// response that is none.
	pairs []pair
	// at reads the response between the points, on the fine grid only.
	at func(hz float64) complex128
	// fine is the same response on the fine grid, nil where it was not read.
	fine *Gated
	// disturbed is what events and echoes in the record are good for, relative
	// to |H|; nil where they were not looked for.
	disturbed []float64
	// changes is what of the magnitude may be a change of gain in time, relative; nil
	// where that was not looked for. untold: no pilot tone told.
	changes []float64
	untold  bool
	// note qualifies what is read from the response; "" where nothing does.
	note string
}

// Response reads the linear response at each frequency of grid. Its noise is
// read through the same gate moved to where the board has rung out and no
// harmonic's response lies, so it holds all that was in the record: hiss,
// what is left of the hum, and whatever was not linear and time-invariant.
func (r *Raw) Response(grid []float64) *Gated {
	g := &Gated{
		FrequencyHz: grid,
		H:           make([]complex128, len(grid)),
		noise:       make([][]complex128, len(grid)),
		ArrivalS:    r.arrivalS,
	}
	for i, f := range grid {
		w, reach := gateFor(f)
		g.H[i] = r.through(w, f, reach, []float64{0})[0]
		g.noise[i] = r.noiseThrough(w, f, reach)
	}
	g.Noise = g.smoothNoise()
	return g
}

// through reads the response at f through w, moved by each of shifts. It is
// not called twice at once.
func (r *Raw) through(w gate, f, reachHz float64, shifts []float64) []complex128 {
	out := make([]complex128, len(shifts))
	r.read(out, w, f, r.played.weighting(w, f, reachHz), shifts)
	return out
}

// noiseThrough is what gates like w see at f beside the response, as noise would
// come through w itself.
func (r *Raw) noiseThrough(w gate, f, reachHz float64) []complex128 {
	quiet := w.quiet()
	out := r.through(quiet, f, reachHz, r.quietShifts(quiet, reachHz))
	as := math.Sqrt(r.played.weighting(w, f, reachHz).power / r.played.weighting(quiet, f, reachHz).power)
	for i, z := range out {
		out[i] = scale(as, z)
	}
	return out
}

// read is through with weights that are there already.
func (r *Raw) read(dst []complex128, w gate, f float64, weights weighting, shifts []float64) {
	if len(r.scratch) < len(weights.weights) {
		r.scratch = make([]complex128, len(weights.weights))
	}
	w.apply(dst, r.spec, r.played.binHz, f, weights, shifts, r.scratch)
}

// quietShifts spreads noise gates over the part of the circle that holds
// neither the response nor the harmonics up to the eighth.
func (r *Raw) quietShifts(w gate, reachHz float64) []float64 {
	edge := w.edge(reachHz)
	from := longGate.to - (w.from - edge)
	to := r.periodS() - r.harmonicLeadS(8) - (w.to + edge)
	if to <= from {
		return []float64{(from + to) / 2}
	}
	// Gates nearer than half their length hold the same noise twice.
	n := min(noiseGates, 1+int((to-from)/(w.length()/2)))
	shifts := make([]float64, n)
	for i := range shifts {
		shifts[i] = from
		if n > 1 {
			shifts[i] += (to - from) * float64(i) / float64(n-1)
		}
	}
	return shifts
}

// smoothNoise averages the power of the noise over the gates and over
// neighbouring points, a third of an octave in all, those that are read through
// a gate as long.
func (g *Gated) smoothNoise() []float64 {
	// The sweep's energy falls as 1/f, so the noise of the quotient rises as f:
	// it is levelled before averaging. Sums from the start, by gate.
	n := len(g.FrequencyHz)
	var sum, count [2][]float64
	for c := range sum {
		sum[c], count[c] = make([]float64, n+1), make([]float64, n+1)
	}
	for i, row := range g.noise {
		for c := range sum {
			sum[c][i+1], count[c][i+1] = sum[c][i], count[c][i]
		}
		c := g.gateClass(i)
		sum[c][i+1] += sq(rms(row)) / g.FrequencyHz[i]
		count[c][i+1]++
	}
	out := make([]float64, n)
	// Half a step more than a sixth of an octave, that rounding decides nothing.
	const ratio = (pointsPerOctave/6 + 0.5) / pointsPerOctave
	lo, hi := 0, 0
	for i, f := range g.FrequencyHz {
		for g.FrequencyHz[lo] < f*math.Exp2(-ratio) {
			lo++
		}
		for hi < n && g.FrequencyHz[hi] <= f*math.Exp2(ratio) {
			hi++
		}
		c := g.gateClass(i)
		out[i] = math.Sqrt(f * (sum[c][hi] - sum[c][lo]) / (count[c][hi] - count[c][lo]))
	}
	return out
}

// gateClass is 1 for a point that was read through a long gate, 0 for a short one.
func (g *Gated) gateClass(i int) int {
	if g.FrequencyHz[i] < splitHz || g.long != nil && g.long[i] {
		return 1
	}
	return 0
}

func sqAbs(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// longGateRelStd is what the gate itself may be off by, relative: its height is
// not quite constant where a low corner rings out. Seen against first-order
// sections in closed form. The short gate cuts off what a low corner still
// rings after it, which counts less the higher the frequency: shortGateRelStd
// is that at splitHz, seen against ngspice with a transformer's corner at 6 Hz.
const (
	longGateRelStd  = 4e-5
	shortGateRelStd = 5e-6
	// gateDelayStdS is what the gates may be off by in a delay, in seconds: the
	// phase was within 0.0005° of ngspice's at 10 kHz.
	gateDelayStdS = 1e-10
)

// RelStd returns the standard uncertainty of the magnitude relative to it, which is
// no less than that of the phase in radians.
func (g *Gated) RelStd(i int) float64 {
	return Hypot(g.noiseRelStd(i), g.gateRelStd(i), g.disturbedRelStd(i))
}

// phaseStd is the standard uncertainty of the phase in radians: a change of gain
// leaves it alone.
func (g *Gated) phaseStd(i int) float64 {
	return Hypot(g.noiseRelStd(i), g.gateRelStd(i), g.eventsRelStd(i))
}

// disturbedRelStd is the share of events, echoes and changes in time in RelStd.
func (g *Gated) disturbedRelStd(i int) float64 {
	return Hypot(g.eventsRelStd(i), g.changesRelStd(i))
}

// eventsRelStd is disturbedRelStd without what no pilot tone tells.
func (g *Gated) eventsRelStd(i int) float64 {
	if g.disturbed == nil {
		return 0
	}
	return g.disturbed[i]
}

// changesRelStd is the share in RelStd of changes of gain in time.
func (g *Gated) changesRelStd(i int) float64 {
	if g.changes == nil {
		return 0
	}
	return g.changes[i]
}

// noiseRelStd is the noise's share of RelStd: magnitude and phase each take
// half its power. Where the gates at this very frequency hold more noise than
// is usual around it, as on what is left of a hum line, it is theirs.
func (g *Gated) noiseRelStd(i int) float64 {
	noise := g.Noise[i]
	if own := rms(g.noise[i]); own > noise*unusual(len(g.noise[i])) {
		noise = own
	}
	return g.relative(i, noise)
}

// smoothRelStd is noiseRelStd without what one frequency has of its own: for
// sums over many of them.
func (g *Gated) smoothRelStd(i int) float64 { return g.relative(i, g.Noise[i]) }

func (g *Gated) relative(i int, noise float64) float64 {
	m := cmplx.Abs(g.H[i])
	if m == 0 {
		return math.Inf(1)
	}
	return noise / math.Sqrt2 / m
}

// unusual is how far the noise read through so many gates must exceed that
// around it not to be scatter: gates overlap by half, so that three of four
// count, and the power of Gaussian noise in n of them scatters by 1/√n. At 3.3
// times that one frequency in a thousand is taken wrongly.
func unusual(gates int) float64 { return math.Sqrt(1 + 3.3/math.Sqrt(0.75*float64(gates))) }

// NoiseCorrelation is how alike, -1 to 1, noise makes the magnitude of a response
// at two frequencies of its curve: it is read at both through gates over the same
// record. White noise and a straight phase are taken, and edges that are not soft.
func NoiseCorrelation(f1Hz, f2Hz float64) float64 {
	a, _ := gateFor(f1Hz)
	b, _ := gateFor(f2Hz)
	from, to := math.Max(a.from, b.from), math.Min(a.to, b.to)
	// The mean of cos(2π·Δf·t) over what both gates let in.
	turn := 2 * math.Pi * math.Abs(f1Hz-f2Hz)
	overlap := to - from
	if turn > 0 {
		overlap = (math.Sin(turn*to) - math.Sin(turn*from)) / turn
	}
	return overlap / math.Sqrt(a.length()*b.length())
}

func rms(z []complex128) float64 {
	sum := 0.0
	for _, v := range z {
		sum += sqAbs(v)
	}
	return math.Sqrt(sum / float64(max(1, len(z))))
}

// gateRelStd is the gate's share of RelStd.
func (g *Gated) gateRelStd(i int) float64 {
	if g.ripple == nil {
		return gateRelStdAt(g.FrequencyHz[i])
	}
	return Hypot(gateRelStdAt(g.FrequencyHz[i]), g.ripple[i])
}

func gateRelStdAt(f float64) float64 {
	if f >= splitHz {
		return shortGateRelStd * sq(splitHz/f)
	}
	return longGateRelStd
}

// Transfer returns g as a Transfer with delayS taken out of its phase.
func (g *Gated) Transfer(delayS float64) Transfer {
	n := len(g.H)
	t := Transfer{FrequencyHz: g.FrequencyHz, Re: make([]float64, n), Im: make([]float64, n), RelStd: make([]float64, n)}
	for i, h := range g.H {
		z := h * cis(2*math.Pi*g.FrequencyHz[i]*(delayS-g.ArrivalS))
		t.Re[i], t.Im[i], t.RelStd[i] = real(z), imag(z), g.RelStd(i)
	}
	return t
}

// over divides g by the bench's own response, which must be on the same grid.
// The uncertainty of t is not noise of this take: it is left to the caller.
func (g *Gated) over(t Transfer) (*Gated, error) {
	if err := sameGrid(g.FrequencyHz, t.FrequencyHz); err != nil {
		return nil, err
	}
	out := &Gated{
		FrequencyHz: g.FrequencyHz, H: make([]complex128, len(g.H)), Noise: make([]float64, len(g.H)),
		noise: make([][]complex128, len(g.H)), ArrivalS: g.ArrivalS, disturbed: g.disturbed, long: g.long, ripple: g.ripple, reference: g.reference, pairs: g.pairs,
		changes: g.changes, untold: g.untold, note: g.note,
	}
	if at := g.at; at != nil {
		out.at = func(hz float64) complex128 { return at(hz) / t.at(hz) }
	}
	if g.fine != nil {
		var err error
		if out.fine, err = g.fine.over(t.onto(g.fine.FrequencyHz)); err != nil {
			return nil, err
		}
	}
	for i := range g.H {
		z := t.point(i)
		out.H[i] = g.H[i] / z
		out.Noise[i] = g.Noise[i] / cmplx.Abs(z)
		for _, n := range g.noise[i] {
			out.noise[i] = append(out.noise[i], n/z)
		}
	}
	return out, nil
}

// MagnitudeDB returns |H| in dB at grid point i.
func (g *Gated) MagnitudeDB(i int) float64 { return DB(cmplx.Abs(g.H[i])) }
