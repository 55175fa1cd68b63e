package analysis

import (
	"math"
	"math/cmplx"
)

// The gates through which a response is read: a long one for low
// frequencies, in which a transformer's low corner rings out, and a short one
// above splitHz, which lets in less noise. Both start before the arrival, for
// the ringing of the band's own edges.
var (
	longGate  = gate{flatFrom: -0.2, flatTo: 0.7, skirt: 0.2}
	shortGate = gate{flatFrom: -0.015, flatTo: 0.06, skirt: 0.03}
)

const (
	splitHz = 200.0
	// noiseGates is how many shifted gates the noise is read through.
	noiseGates = 12
)

func gateFor(f float64) gate {
	if f < splitHz {
		return longGate
	}
	return shortGate
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
		w := gateFor(f)
		all := w.apply(r.spec, r.played.binHz, f, append([]float64{0}, r.quietShifts(w)...))
		g.H[i], g.noise[i] = all[0], all[1:]
	}
	g.Noise = smoothNoise(grid, g.noise)
	return g
}

// quietShifts spreads noise gates over the part of the circle that holds
// neither the response nor the harmonics up to the eighth.
func (r *Raw) quietShifts(w gate) []float64 {
	from := longGate.flatTo + longGate.skirt - (w.flatFrom - w.skirt)
	to := r.periodS() - r.harmonicLeadS(8) - 0.1 - (w.flatTo + w.skirt)
	if to <= from {
		return []float64{(from + to) / 2}
	}
	// Gates nearer than half their length hold the same noise twice.
	n := min(noiseGates, 1+int((to-from)/(w.full()/2)))
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
// neighbouring grid points, a third of an octave in all.
func smoothNoise(grid []float64, noise [][]complex128) []float64 {
	power := make([]float64, len(grid))
	for i, row := range noise {
		for _, z := range row {
			power[i] += sqAbs(z) / float64(len(row))
		}
	}
	out := make([]float64, len(grid))
	half := pointsPerOctave / 6
	for i := range out {
		lo, hi := max(0, i-half), min(len(grid), i+half+1)
		// The sweep's energy falls as 1/f, so the noise of the quotient rises
		// as f: level that before averaging.
		sum := 0.0
		for j := lo; j < hi; j++ {
			sum += power[j] * grid[i] / grid[j]
		}
		out[i] = math.Sqrt(sum / float64(hi-lo))
	}
	return out
}

func sqAbs(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// RelStd returns the standard uncertainty of the magnitude relative to it,
// and of the phase in radians: each takes half the noise's power.
func (g *Gated) RelStd(i int) float64 {
	m := cmplx.Abs(g.H[i])
	if m == 0 {
		return math.Inf(1)
	}
	return g.Noise[i] / math.Sqrt2 / m
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

// Over divides g by the bench's own response, which must be on the same grid
// and hold latencyS as the delay taken out of it. Uncertainties of b are not
// noise of this take: they are returned, relative, for the caller to combine.
func (g *Gated) Over(b Transfer, latencyS float64) (*Gated, []float64, error) {
	if err := sameGrid(g.FrequencyHz, b.FrequencyHz); err != nil {
		return nil, nil, err
	}
	out := &Gated{
		FrequencyHz: g.FrequencyHz, H: make([]complex128, len(g.H)), Noise: make([]float64, len(g.H)),
		noise: make([][]complex128, len(g.H)), ArrivalS: g.ArrivalS - latencyS,
	}
	for i := range g.H {
		z := complex(b.Re[i], b.Im[i])
		out.H[i] = g.H[i] / z
		out.Noise[i] = g.Noise[i] / cmplx.Abs(z)
		out.noise[i] = make([]complex128, len(g.noise[i]))
		for j := range g.noise[i] {
			out.noise[i][j] = g.noise[i][j] / z
		}
	}
	return out, b.RelStd, nil
}

// Magnitude returns |H| in dB at grid point i.
func (g *Gated) MagnitudeDB(i int) float64 { return DB(cmplx.Abs(g.H[i])) }
