package analysis

import (
	"cmp"
	"math"
	"slices"

	"boardproof/testsignals"
)

// combFit fits the mains comb to the decimated record: the phase that all harmonics
// share is read off them in short blocks and smoothed, which straightens those that
// could not be read yet, and so on.
type combFit struct {
	s *mainsSearch
	// look is quick: what it errs by is a share of what it looks at.
	fold, look *folder
	blocks     []mainsBlock
	guess      mainsGuess
	first      mainsGuess // that the search gave
	phase      mainsPhase
	smooth     *smoothPhase // of the phase over the guess
	walk       float64      // the least walk
	amps       []complex128
	noise      []float64 // V²/Hz by harmonic
	known      bool      // what the noise is
	bent       []bool    // whether a harmonic does not stand still against the phase
	trusted    []bool
	strayHz    []Estimate // by how much a harmonic's own frequency is off
}

// A mainsBlock is a stretch of the record short enough for the mains to stand still
// in, and how much each of its samples counts: nil, all alike, or a Hann window that
// lets no other tone in, and then two blocks share each sample.
type mainsBlock struct {
	testsignals.Span
	centreS float64 // from the beginning of the first span
	window  []float64
	worth   float64 // samples
}

const (
	// blockS is 5 or 6 periods.
	blockS = 0.1
	// mostBlocks keeps long records quick; blocks of a minute's record are 0.3 s.
	mostBlocks = 200
)

func (s *mainsSearch) blocks(tapered bool) []mainsBlock {
	length := math.Max(math.Min(blockS, s.longestS()/6), 2*s.halfS/mostBlocks)
	var out []mainsBlock
	for _, sp := range s.spans {
		n := max(2, int(math.Round(float64(sp.Len())/(length*s.rateHz))))
		cuts := make([]int, n+1)
		for i := range cuts {
			cuts[i] = sp.Start + i*sp.Len()/n
		}
		for i := range n {
			b := mainsBlock{Span: testsignals.Span{Start: cuts[i], End: cuts[i+1]}, worth: float64(cuts[i+1] - cuts[i])}
			if tapered {
				if i == n-1 {
					break
				}
				b.End = cuts[i+2]
				b.window = periodicHann(b.Len())
			}
			b.centreS = (float64(b.Start+b.End-1)/2 - float64(s.spans[0].Start)) / s.rateHz
			out = append(out, b)
		}
	}
	return out
}

func newCombFit(s *mainsSearch, g mainsGuess, floor spectrumFloor, tapered bool) *combFit {
	f := &combFit{
		s: s, guess: g, blocks: s.blocks(tapered),
		fold: newFolder(float64(s.stride), searchHarmonics, searchRing),
		look: newFolder(float64(s.stride), searchHarmonics, quickRing),
		amps: make([]complex128, searchHarmonics+1), noise: make([]float64, searchHarmonics+1),
	}
	if len(s.spans) > 1 {
		f.walk = mainsWander
	}
	for h := range f.noise {
		f.noise[h] = floor.at(float64(h) * g.hz)
	}
	f.setPhase()
	return f
}

// again is f as it stands, for a record that is nearly the same: that without other
// tones, or the next window of what goes on.
func (f *combFit) again(s *mainsSearch, tapered bool) *combFit {
	g := *f
	g.known = true
	g.s, g.blocks = s, s.blocks(tapered)
	g.setPhase()
	return &g
}

// setPhase makes the spline of guess and smoothed phase.
func (f *combFit) setPhase() {
	s, n := f.s, len(f.blocks)+2
	stepS := 2 * s.halfS / float64(n-1)
	p := mainsPhase{
		firstFrame: float64(s.spans[0].Start * s.stride), stepFrames: stepS * s.rateHz * float64(s.stride),
		cycles: make([]float64, n), slopes: make([]float64, n),
	}
	for i := range n {
		t := float64(i) * stepS
		cycles, hz := f.phaseAt(t)
		p.cycles[i], p.slopes[i] = cycles, hz*stepS
	}
	middle, _ := f.phaseAt(s.halfS)
	for i := range p.cycles {
		p.cycles[i] -= middle
	}
	f.phase = p
}

func (f *combFit) phaseAt(t float64) (cycles, hz float64) {
	if f.smooth != nil {
		cycles, hz = f.smooth.at(t)
	}
	t -= f.s.halfS
	return cycles + f.guess.hz*t + f.guess.hzPerS*t*t/2, hz + f.guess.hz + f.guess.hzPerS*t
}

// mostSteps is how often phase and amplitudes are fitted in turn at most; stillCycles
// is how little the phase then moves.
const (
	mostSteps   = 10
	stillCycles = 1e-5
	// noiseSteps is how often the noise is read off what is left: then nothing of the
	// lines is left in it.
	noiseSteps = 4
)

func (f *combFit) run() {
	for i := range mostSteps {
		before := slices.Clone(f.phase.cycles)
		f.step(i < noiseSteps)
		moved := 0.0
		for k, c := range f.phase.cycles {
			moved = math.Max(moved, math.Abs(c-before[k]))
		}
		// The noise must have been read once with the lines out of it.
		if moved < stillCycles && (f.known || i > 1) {
			break
		}
	}
}

// step reads the amplitudes, the noise beside them and the phase in each block.
func (f *combFit) step(readNoise bool) {
	rest := f.residual()
	if readNoise && f.smooth != nil && !f.known {
		f.readNoise(rest)
	}
	z, worth := make([][]complex128, len(f.blocks)), 0.0
	for k, b := range f.blocks {
		z[k] = f.look.amplitudes(rest, b, &f.phase)
		worth += b.worth
	}
	amps := slices.Clone(f.amps)
	for h := range amps {
		for k, b := range f.blocks {
			amps[h] += z[k][h] * complex(b.worth/worth, 0)
		}
	}
	for k := range z {
		for h := range z[k] {
			z[k][h] += f.amps[h]
		}
	}
	f.amps = amps
	f.trusted = f.trust(z)
	times, cycles, variances := f.readings(z)
	f.smooth = newSmoothPhase(times, cycles, variances, 2*f.s.halfS, f.walk)
	f.setPhase()
}

// residual is what the amplitudes leave.
func (f *combFit) residual() []float64 {
	e := slices.Clone(f.s.x)
	for _, sp := range f.s.spans {
		f.fold.addTo(e, sp, f.amps, &f.phase, -1)
	}
	return e
}

// readNoise reads the noise beside each harmonic off what they leave.
func (f *combFit) readNoise(e []float64) {
	d := welch(e, f.s.spans, f.s.rateHz, welchLength(f.s.spans, f.s.rateHz))
	floor := newSpectrumFloor(d.psd, d.binHz, d.averages, 12, 40)
	longest := slices.MaxFunc(f.s.spans, func(a, b testsignals.Span) int { return cmp.Compare(a.Len(), b.Len()) })
	psd, binHz := periodogram(e[longest.Start:longest.End], f.s.rateHz)
	for h := range f.noise {
		f.noise[h] = noiseBeside(psd, binHz, floor, float64(h)*f.guess.hz)
	}
}

// variance is that of either quadrature of a harmonic's amplitude over so many
// samples.
func (f *combFit) variance(h int, samples float64) float64 {
	return f.noise[h] * f.s.rateHz / samples
}

// powers are the harmonics' powers over noise, |a|²·N/(4σ²): an exponential variate of
// mean 1 where there is noise only.
func (f *combFit) powers() []float64 {
	out, n := make([]float64, len(f.amps)), f.s.samples()
	for h := 1; h < len(out); h++ {
		out[h] = sqAbs(f.amps[h]) / (2 * f.variance(h, n))
	}
	return out
}

// Power over noise of a harmonic from which its phase is trusted to help find
// the mains frequency: anywhere in the comb, or next to one that does. Noise
// alone passes the first once in 160,000 harmonics, the second once in 55. A
// harmonic that is noise would claim to know much, as the square of its
// number.
const (
	trustedPower   = 12.0
	neighbourPower = 4.0
)

// trust says which harmonics help to find the phase: none that stands by itself or where
// a clock's line may be, nor one that is not yet straight, or whose own frequency is
// another. z are their amplitudes by block.
func (f *combFit) trust(z [][]complex128) []bool {
	powers := f.powers()
	in := make([]bool, len(powers))
	for h := 1; h < len(in); h++ {
		beside := in[h-1] || h >= 2 && in[h-2]
		in[h] = (powers[h] > trustedPower || beside && powers[h] > neighbourPower) && !f.clocked(h)
	}
	f.bent = make([]bool, len(in))
	for h, power := range accompanied(powers) {
		f.bent[h] = !f.straight(z, h)
		in[h] = in[h] && power > 0 && !f.bent[h]
	}
	f.strayHz = f.astray(z, in)
	return in
}

// Clocks in audio and on USB have lines at multiples of clockHz, to clockShare;
// common practice, no source.
const (
	clockHz    = 500.0
	clockShare = 2e-4
)

// clocked says whether harmonic h is too near to where a clock's line may be to be
// told from one.
func (f *combFit) clocked(h int) bool {
	hz := float64(h) * f.guess.hz
	n := math.Round(hz / clockHz)
	return n > 0 && math.Abs(hz-n*clockHz) < sharedBins/(2*f.s.halfS)+clockShare*hz
}

// sharedBins over the length of a record is how far apart two lines must be to
// be told from one another.
const sharedBins = 1.5

// straight says whether a harmonic's phase stands still enough for its amplitude to
// be that of its blocks: less than half of it is lost, or noise explains what is.
func (f *combFit) straight(z [][]complex128, h int) bool {
	spread, noise := 0.0, 0.0
	for k, b := range f.blocks {
		spread += sqAbs(z[k][h] - f.amps[h])
		noise += 2 * f.variance(h, b.worth)
	}
	n := float64(len(f.blocks))
	return spread < sqAbs(f.amps[h])*n || spread < noise*(1+4/math.Sqrt(n))
}

// astrayShown is how much a harmonic's frequency must disagree with that of the rest
// to have no say, in standard uncertainties: one in 3 million does by chance.
const astrayShown = 5.0

// astray finds by how much the frequency of each harmonic differs from that of the
// trusted others, in hertz of the fundamental. It takes out of in, one by one, what
// disagrees most.
func (f *combFit) astray(z [][]complex128, in []bool) []Estimate {
	own := make([]Estimate, len(in))
	for h := 1; h < len(in); h++ {
		own[h] = f.ownHz(z, h)
	}
	out := make([]Estimate, len(in))
	for {
		sum, weight := 0.0, 0.0
		for h, ok := range in {
			if ok {
				sum, weight = sum+own[h].Value/sq(own[h].Std), weight+1/sq(own[h].Std)
			}
		}
		worst, most := 0, astrayShown
		for h := 1; h < len(in); h++ {
			w, others, all := 1/sq(own[h].Std), sum, weight
			if in[h] {
				others, all = sum-own[h].Value*w, weight-w
			}
			if out[h] = (Estimate{}); all > weight*1e-12 {
				out[h] = Estimate{own[h].Value - others/all, math.Sqrt(sq(own[h].Std) + 1/all)}
			}
			// Of two that disagree with one another the weaker goes.
			off := math.Abs(out[h].Value) / out[h].Std
			if in[h] && (off > most*1.001 || off > most/1.001 && worst > 0 && own[h].Std > own[worst].Std) {
				worst, most = h, off
			}
		}
		if worst == 0 {
			return out
		}
		in[worst] = false
	}
}

// strays says whether a harmonic is of another frequency: by more than chance does,
// and by enough to take something off its level. One of the first few is the mains's
// own, however it flickers.
func (f *combFit) strays(h int) bool {
	off := math.Abs(f.strayHz[h].Value)
	return h > loneAbove && off > astrayShown*f.strayHz[h].Std && off*float64(h)*f.s.halfS > strayTurn
}

// strayTurn is how far a line must have turned from one half of the record to the
// other, in cycles, to be of another frequency.
const strayTurn = 0.05

// ownHz is by how much a harmonic's own frequency, over its number, differs from the
// phase that all share.
func (f *combFit) ownHz(z [][]complex128, h int) Estimate {
	turn := 2 * math.Pi * float64(h) * sqAbs(f.amps[h])
	mean, worth := 0.0, 0.0
	for _, b := range f.blocks {
		mean, worth = mean+b.worth*b.centreS, worth+b.worth
	}
	mean /= worth
	moment, length := 0.0, 0.0
	for k, b := range f.blocks {
		t := b.centreS - mean
		moment += b.worth * t * quadrature(z[k][h], f.amps[h]) / turn
		length += b.worth * t * t
	}
	variance := sqAbs(f.amps[h]) * f.variance(h, 1) / sq(turn)
	return Estimate{moment / length, math.Sqrt(variance / length)}
}

// quadrature is by how much z is turned against a, times |a|².
func quadrature(z, a complex128) float64 { return imag(z)*real(a) - real(z)*imag(a) }

// readings are the phase over the guess in each block, from all harmonics that are
// trusted, each by its power over noise and the square of its number.
func (f *combFit) readings(z [][]complex128) (times, cycles, variances []float64) {
	powers := f.powers()
	for k, b := range f.blocks {
		sum, weight := 0.0, 0.0
		for h, ok := range f.trusted {
			if !ok {
				continue
			}
			turn, v := 2*math.Pi*float64(h), f.variance(h, b.worth)
			sum += turn * quadrature(z[k][h], f.amps[h]) / v
			// Noise makes |a|² too large by its own share, 1 in power.
			weight += sq(turn) * sqAbs(f.amps[h]) * (1 - 1/powers[h]) / v
		}
		if weight <= 0 {
			return nil, nil, nil
		}
		before := 0.0
		if f.smooth != nil {
			before, _ = f.smooth.at(b.centreS)
		}
		times, cycles, variances = append(times, b.centreS), append(cycles, before+sum/weight), append(variances, 1/weight)
	}
	return times, cycles, variances
}
