package analysis

import (
	"encoding/binary"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// realMains are 16 s records of the mains voltage at 400 Hz; see testdata/real-mains.
// REAL_MAINS names another folder of such.
func realMains(t *testing.T) []string {
	t.Helper()
	dir := os.Getenv("REAL_MAINS")
	if dir == "" {
		dir = filepath.Join("testdata", "real-mains")
	}
	files, err := filepath.Glob(filepath.Join(dir, "*.wav"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no record in %s: %v", dir, err)
	}
	return files
}

// allRealMains says that each record is to be read at each level and each mains
// frequency, and not at every other.
func allRealMains() bool { return os.Getenv("REAL_MAINS") != "" }

const realMainsRateHz = 400.0

// readRealMains reads a record, which is mono and of 16 bits behind a header of 44 bytes.
func readRealMains(t *testing.T, file string) []float64 {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, (len(b)-44)/2)
	for i := range x {
		x[i] = float64(int16(binary.LittleEndian.Uint16(b[44+2*i:]))) / 32768
	}
	return x
}

// upsampled is the middle of x from cutS to cutS before its end at another rate, by FFT;
// its edges are tapered first, over less than cutS.
func upsampled(x []float64, rateHz, toHz, cutS float64) []float64 {
	n, edge := len(x), int(cutS*rateHz/2)
	y := append([]float64(nil), x...)
	for i := range edge {
		w := 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/float64(edge))
		y[i] *= w
		y[n-1-i] *= w
	}
	m := int(float64(n) * toHz / rateHz)
	c := make([]complex128, m/2+1)
	copy(c, fourier.NewFFT(n).Coefficients(nil, y))
	c[n/2] = 0
	out := fourier.NewFFT(m).Sequence(nil, c)
	for i := range out {
		out[i] /= float64(n)
	}
	return out[int(cutS*toHz) : m-int(cutS*toHz)]
}

// realMainsTruth is by SciPy, of the seconds 2 to 14 of the record: the mean frequency
// by the phase of the band around the fundamental, and the RMS of the bands of 1 Hz
// around its first three multiples, each less the noise beside it.
const realMainsTruth = `
r, n = 400, len(x)
t = np.arange(n)/r
part = slice(2*r, 14*r)
def band(hz, width):
    b = signal.firwin(1601, width, fs=r)
    return signal.fftconvolve(x*np.exp(-2j*np.pi*hz*t), b, 'same')
z = band(50, 4)
phase = np.unwrap(np.angle(z[part]))
f = 50 + (phase[-1]-phase[0])/(2*np.pi*(len(phase)-1)/r)
q, p = signal.periodogram(x[part]-np.mean(x[part]), r, 'hann')
out = [f]
for h in (1, 2, 3):
    power = np.mean(abs(band(h*f, 1.0)[part])**2)*2
    beside = p[((abs(q-h*f) > 14) & (abs(q-h*f) < 22)) & (q < 195)]
    out.append(float(np.sqrt(max(power - np.median(beside)/np.log(2)*2, 0))))
answer(out)`

// The mains as it was, under a hiss, at levels from -90 to -30 dBFS.
func TestRealMainsIsReadAsItIs(t *testing.T) {
	if testing.Short() {
		t.Skip("many records")
	}
	const rateHz = 48000.0
	worstHz, worstDB, worstOver, worstLine := 0.0, 0.0, 0.0, 0.0
	for i, file := range realMains(t) {
		if only := os.Getenv("ONLY"); only != "" && !strings.Contains(file, only) {
			continue
		}
		x := readRealMains(t, file)
		truth := scipy(t, x, realMainsTruth)
		up := upsampled(x, realMainsRateHz, rateHz, 2)
		rms := math.Sqrt(sq(truth[1]) + sq(truth[2]) + sq(truth[3]))
		for k, levelDB := range []float64{-90, -70, -50, -30} {
			if !allRealMains() && k%2 != i%2 {
				continue
			}
			rng := rand.New(rand.NewPCG(uint64(i), uint64(k)))
			scale, noise := math.Pow(10, levelDB/20)/math.Sqrt2/rms, math.Pow(10, -98.0/20)/math.Sqrt2
			y := make([]float64, len(up))
			for j, v := range up {
				y[j] = scale*v + noise*rng.NormFloat64()
			}
			s, err := AnalyseSilence(y, rateHz, SilenceOptions{})
			if err != nil || !s.Mains.Found {
				t.Errorf("%s at %g dBFS: %v %s", file, levelDB, err, s.Mains.Reason)
				continue
			}
			name := strings.TrimSuffix(filepath.Base(file), ".wav")
			f := s.Mains.FrequencyHz
			worstHz = math.Max(worstHz, math.Abs(f.Value-truth[0]))
			over := math.Abs(f.Value-truth[0]) / (CoverageK * f.Std)
			t.Logf("%s %g: f %+.5f of ±%.5f", name, levelDB, f.Value-truth[0], 2*f.Std)
			worstOver = math.Max(worstOver, over)
			if len(s.Tones) > 0 {
				t.Errorf("%s at %g dBFS: tones %+v", name, levelDB, s.Tones)
			}
			check := func(what string, e Estimate, want float64, note string) {
				off, std := DB(e.Value/want), CoverageK*DBFromRelative(e.Std/e.Value)
				t.Logf("%s %g: %s %+.4f of ±%.4f dB (%.1f)", name, levelDB, what, off, std, DB(want))
				// What the hiss alone leaves uncertain comes on top.
				byNoise := CoverageK * DBFromRelative(noise*math.Sqrt(1/rateHz/12)/want)
				wrong := math.Abs(off) > 0.1+byNoise || std > 0.1+1.5*byNoise
				if note == besideNote {
					// A second harmonic may flicker as much as it is.
					wrong = math.Abs(off) > std
				}
				if wrong {
					t.Errorf("%s at %g dBFS: %s is off by %+.3f dB of ±%.3f", name, levelDB, what, off, std)
				}
				worstDB, worstLine = math.Max(worstDB, math.Abs(off)), math.Max(worstLine, math.Abs(off)/std)
			}
			for h := 1; h <= 3; h++ {
				want := scale * truth[h]
				// What stands 20 dB above the noise in its own width.
				x := s.Harmonics[h-1]
				if sq(want) < 100*2*sq(noise)/rateHz/12 {
					continue
				}
				if x.UpperBound {
					t.Errorf("%s at %g dBFS: harmonic %d, %.1f dB, is a bound of %.1f dB %s", name, levelDB, h, DB(want), DB(x.RMS.Value), x.Note)
					continue
				}
				check("harmonic", x.RMS, want, x.Note)
			}
			if s.HumUpperBound {
				t.Errorf("%s at %g dBFS: hum is a bound", name, levelDB)
				continue
			}
			check("hum", s.Hum, scale*rms, "")
		}
	}
	t.Logf("worst: frequency %.5f Hz, a level %.4f dB; over its uncertainty: frequency %.2f, a level %.2f", worstHz, worstDB, worstOver, worstLine)
}

// lockedTo adds harmonics whose phase is that of the fundamental in x, times their number.
func lockedTo(x []float64, rateHz, mainsHz float64, rms map[int]float64) {
	c := fourier.NewFFT(len(x)).Coefficients(nil, x)
	z := make([]complex128, len(x))
	for k := range c {
		f := float64(k) * rateHz / float64(len(x))
		z[k] = c[k] * complex(math.Exp(-sq((f-mainsHz)/2)), 0)
	}
	fourier.NewCmplxFFT(len(x)).Sequence(z, z)
	for i := range x {
		turn := z[i] / complex(cmplx.Abs(z[i]), 0)
		for h, a := range rms {
			x[i] += a * math.Sqrt2 * real(cmplx.Pow(turn, complex(float64(h), 0)))
		}
	}
}

// Real mains with harmonics far up, some of them by themselves, beside a clock of 1 kHz
// and a converter: the harmonics are the mains's, the others are not. At 60 Hz the record
// goes by faster.
func TestRealMainsBesideOtherTones(t *testing.T) {
	if testing.Short() {
		t.Skip("many records")
	}
	const rateHz = 48000.0
	lines := map[int]float64{5: 1e-4, 7: 6e-5, 9: 3e-5, 11: 4e-5, 13: 2e-5, 21: 1e-5, 37: 5e-6}
	for i, file := range realMains(t) {
		for k, mainsHz := range []float64{50, 60} {
			if !allRealMains() && k != i%2 {
				continue
			}
			x := upsampled(readRealMains(t, file), realMainsRateHz, rateHz*50/mainsHz, 1)
			scale, rng := 3e-3/rmsOf(x), rand.New(rand.NewPCG(uint64(i), 9))
			for k := range x {
				x[k] *= scale
			}
			lockedTo(x, rateHz, mainsHz, lines)
			x = x[int(rateHz) : len(x)-int(rateHz)]
			tones := []line{{freqHz: 1000.012, rms: 2e-5}, {freqHz: 2000.024, rms: 8e-6}, {freqHz: 8000.096, rms: 4e-6}, {freqHz: 12345.6, rms: 1e-5}}
			for k := range x {
				for _, l := range tones {
					x[k] += l.rms * math.Sqrt2 * math.Cos(2*math.Pi*l.freqHz*float64(k)/rateHz)
				}
				x[k] += 1e-6 * rng.NormFloat64()
			}
			s, err := AnalyseSilence(x, rateHz, SilenceOptions{})
			if err != nil || !s.Mains.Found {
				t.Errorf("%s at %g Hz: %v %s", file, mainsHz, err, s.Mains.Reason)
				continue
			}
			for h, rms := range lines {
				got := s.Harmonics[h-1]
				// The record has a harmonic of its own there, 60 dB down.
				if off := DB(got.RMS.Value / rms); got.UpperBound || math.Abs(off) > 0.1 {
					t.Errorf("%s at %g Hz: harmonic %d is off by %.3f dB, a bound: %v %s", file, mainsHz, h, off, got.UpperBound, got.Note)
				}
			}
			if len(s.Tones) != len(tones) {
				for _, tone := range s.Tones {
					t.Logf("%.2f Hz, %.1f dB, harmonic %.2f", tone.FrequencyHz.Value, DB(tone.RMS.Value), tone.FrequencyHz.Value/s.Mains.FrequencyHz.Value)
				}
				t.Errorf("%s at %g Hz: %d tones", file, mainsHz, len(s.Tones))
			}
			for _, l := range tones {
				if !hasToneAt(s.Tones, l, 0.02) {
					t.Errorf("%s at %g Hz: no tone at %.1f Hz among %+v", file, mainsHz, l.freqHz, s.Tones)
				}
			}
		}
	}
}

func rmsOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// A harmonic far up that stands by itself, 46 dB over the noise of the record.
func TestAStrongHarmonicByItselfIsOne(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 1e-6, mainsHz: 49.97, harmonicsRMS: make([]float64, 21), seed: 2}
	std := math.Sqrt(q.densityOf() / (2 * q.lengthS))
	q.harmonicsRMS[0], q.harmonicsRMS[2] = 2000*std, 300*std
	q.harmonicsRMS[20] = math.Sqrt2 * std * math.Pow(10, 46.0/20)
	s := analyse(t, q, SilenceOptions{})
	h := s.Harmonics[20]
	if h.UpperBound || len(s.Tones) > 0 {
		t.Errorf("the 21st harmonic is %+v, tones %+v", h, s.Tones)
	}
	within(t, "21st harmonic", h.RMS, q.harmonicsRMS[20], 4)
}
