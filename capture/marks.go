package capture

import (
	"math"
	"math/cmplx"

	"boardproof/testsignals"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Around each mark a window keeps this much, of which the outer part fades,
// so that a board may smear the mark without its edges being cut.
const (
	markGuardS = 0.010
	markFadeS  = 0.008
)

// markFit is where the four marks of one channel arrived. The marks are
// compared with each other and not with what was played, so that a board that
// inverts, dulls or smears them, all four alike, adds no error; only their
// common arrival is taken from the played mark.
type markFit struct {
	// at are the frames at which the marks begin.
	at [4]float64
	// std is the standard uncertainty of each, in frames, independent of the
	// others. commonStd is that of their mean against the played mark.
	std, commonStd float64
	// gain is each mark's amplitude over the mean of the four, gainStd its
	// standard uncertainty.
	gain    [4]float64
	gainStd float64
	// level is the amplitude of the marks over that of testsignals.Mark.
	level float64
	// snrDB is the power of a mark over that of what differs between marks
	// in the same band and time.
	snrDB float64
}

// fitMarks refines the places where the marks of x begin. It is the
// maximum-likelihood estimate for four copies of one unknown waveform in
// noise, found by Gauss-Newton steps: Kay, Fundamentals of Statistical Signal
// Processing, vol. I, ch. 7. The noise is taken from what the copies do not
// share, first as white and then frequency by frequency, so that bins with
// hum in them weigh little.
func fitMarks(x []float64, coarse [4]float64, rateHz int) markFit {
	s := newMarkSpectra(x, coarse, rateHz)
	s.converge()
	s.weigh()
	s.converge()
	return s.result()
}

// markSpectra holds the spectra of the four marks in their band.
type markSpectra struct {
	omega  []float64       // radians per frame of each bin
	weight []float64       // of each bin, the inverse of its noise
	raw    [4][]complex128 // as recorded
	played []complex128
	start  [4]float64 // whole frame from which each was cut
	delay  [4]float64 // of each after start
	gain   [4]float64
	mean   []complex128 // of the four, aligned and levelled
	// millisecond is in frames.
	millisecond float64
	// windowPower is the mean square of the window, and markShare the share
	// of the window that the mark fills.
	windowPower, markShare float64
}

func newMarkSpectra(x []float64, coarse [4]float64, rateHz int) *markSpectra {
	rate := float64(rateHz)
	mark := testsignals.Mark(rateHz)
	guard := int(math.Round(markGuardS * rate))
	n := len(mark) + 2*guard
	window := make([]float64, n)
	s := &markSpectra{millisecond: rate / 1000, gain: [4]float64{1, 1, 1, 1}, markShare: float64(len(mark)) / float64(n)}
	for i := range window {
		window[i] = edge((float64(i)+0.5)/(markFadeS*rate)) * edge((float64(n-i)-0.5)/(markFadeS*rate))
		s.windowPower += window[i] * window[i] / float64(n)
	}
	fft := fourier.NewFFT(n)
	low, high := int(math.Ceil(bandLowHz*float64(n)/rate)), int(bandHighHz*float64(n)/rate)
	for k := low; k <= high; k++ {
		s.omega = append(s.omega, 2*math.Pi*float64(k)/float64(n))
		s.weight = append(s.weight, 1)
	}
	cut := make([]float64, n)
	spectrum := func(x []float64, at int) []complex128 {
		fill(cut, x, at)
		for i, w := range window {
			cut[i] *= w
		}
		return fft.Coefficients(nil, cut)[low : high+1]
	}
	for k := range coarse {
		at := math.Round(coarse[k])
		s.start[k], s.delay[k] = at, coarse[k]-at
		s.raw[k] = spectrum(x, int(at)-guard)
	}
	s.played = spectrum(mark, -guard)
	s.mean = make([]complex128, len(s.omega))
	return s
}

// aligned returns bin i of mark k as if it had no delay and the mean gain.
func (s *markSpectra) aligned(k, i int) complex128 {
	return s.raw[k][i] * cmplx.Rect(1/s.gain[k], s.omega[i]*s.delay[k])
}

func (s *markSpectra) converge() {
	for range 30 {
		if s.step() < 1e-7 {
			return
		}
	}
}

// weighBins is how many bins on each side share their noise with a bin: of
// one bin alone three marks' worth is too little to weigh by.
const weighBins = 2

// weigh sets the weights to the inverse of the noise about each bin.
func (s *markSpectra) weigh() {
	total := 0.0
	for i := range s.mean {
		total += s.noise(i) / float64(len(s.mean))
	}
	if total == 0 {
		return
	}
	for i := range s.weight {
		from, to := max(i-weighBins, 0), min(i+weighBins+1, len(s.mean))
		about := 0.0
		for j := from; j < to; j++ {
			about += s.noise(j) / float64(to-from)
		}
		s.weight[i] = total / (about + 1e-6*total)
	}
}

// step makes one Gauss-Newton step of all delays and gains and returns the
// largest change of a delay in frames.
func (s *markSpectra) step() (largest float64) {
	for i := range s.mean {
		s.mean[i] = 0
		for k := range s.raw {
			s.mean[i] += s.aligned(k, i) / 4
		}
	}
	power, slope := s.energies()
	if power == 0 {
		return 0
	}
	for k := range s.raw {
		var inPhase, turn float64
		for i, g := range s.mean {
			c := s.aligned(k, i) * cmplx.Conj(g)
			inPhase += s.weight[i] * real(c)
			turn += s.weight[i] * s.omega[i] * imag(c)
		}
		move := -turn / slope
		s.delay[k] += move
		s.gain[k] *= inPhase / power
		largest = math.Max(largest, math.Abs(move))
	}
	return largest
}

// energies returns the weighted sums of |G|² and of ω²|G|² over the bins.
func (s *markSpectra) energies() (power, slope float64) {
	for i, g := range s.mean {
		power += s.weight[i] * sq(g)
		slope += s.weight[i] * s.omega[i] * s.omega[i] * sq(g)
	}
	return power, slope
}

func (s *markSpectra) result() markFit {
	power, slope := s.energies()
	f := markFit{gain: s.gain, snrDB: math.Inf(-1), std: math.Inf(1), commonStd: math.Inf(1), gainStd: math.Inf(1)}
	common := s.arrival()
	for k := range f.at {
		f.at[k] = s.start[k] + s.delay[k] + common
	}
	if power == 0 {
		return f
	}
	// Each real sum over bins sees half of a bin's noise power. Around the
	// mark the window is 1, so the noise there is that of the mean over the
	// window, divided by the window's power.
	var noise, turn, swell, found, played float64
	for i, g := range s.mean {
		n := s.noise(i) / s.windowPower
		w := s.weight[i] * s.weight[i] * sq(g) * n / 2
		swell += w
		turn += s.omega[i] * s.omega[i] * w
		noise += n
		found += sq(g)
		played += sq(s.played[i])
	}
	f.level = math.Sqrt(found / played)
	// Weights that come from the same noise make the sums look better than
	// they are, by about one part in the number of values behind each.
	const values = 3 * (2*weighBins + 1)
	f.std = math.Sqrt(turn) / slope * (1 + 1.0/values)
	f.commonStd = f.std / 2
	f.gainStd = math.Sqrt(swell) / power * (1 + 1.0/values)
	f.snrDB = 10 * math.Log10(found/(noise*s.markShare))
	return f
}

// noise returns the variance of bin i of one mark: what the four, aligned and
// levelled, do not share.
func (s *markSpectra) noise(i int) (n float64) {
	for k := range s.raw {
		n += sq(s.aligned(k, i)-s.mean[i]) / 3
	}
	return n
}

// arrival returns how many frames the mean waveform comes after the played
// mark: where their correlation is of greatest magnitude, within a
// millisecond. A board that smears the mark moves this by about its delay.
func (s *markSpectra) arrival() float64 {
	correlation := func(frames float64) (c float64) {
		for i, g := range s.mean {
			c += s.weight[i] * real(g*cmplx.Conj(s.played[i])*cmplx.Rect(1, s.omega[i]*frames))
		}
		return math.Abs(c)
	}
	// Steps of a twentieth of the shortest period in the band.
	width := 2 * math.Pi / s.omega[len(s.omega)-1] / 20
	best := 0.0
	for d := -s.millisecond; d <= s.millisecond; d += width {
		if correlation(d) > correlation(best) {
			best = d
		}
	}
	for ; width > 1e-4; width /= 4 {
		best += width * vertex(correlation(best-width), correlation(best), correlation(best+width))
	}
	return best
}
