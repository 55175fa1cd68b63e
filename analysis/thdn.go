package analysis

import "math"

// thdN is the RMS of all but the fundamental from 20 Hz to 20 kHz over the
// RMS of all, in percent: AES17; IEC 60268-3. x is as recorded, hum included,
// the bench's too: cross is the variance of its power for the phases of that.
func thdN(c ToneChannel, x []float64, rateHz, freqHz float64, output string, cross float64) Reading {
	raw, err := fitHarmonics(x, 2*math.Pi*freqHz/rateHz, 1)
	if err != nil {
		raw = c
	}
	rest, variance := audioPower(raw.overtones, rateHz, audioLowHz, audioHighHz)
	total := rest + sq(c.Amplitude[0])/2
	if rest <= 0 {
		return reading(THDN, output, 0, nil)
	}
	// What one unit of power is worth in percent.
	percent := 100 / (2 * math.Sqrt(rest*total))
	return reading(THDN, output, 100*math.Sqrt(rest/total), nonzero(
		typeA(sourceScatter, percent*math.Sqrt(variance)), evenly(sourceFloor, percent*math.Sqrt(cross))))
}

// crossPower is the variance of the power of hum as recorded, in squares of the
// recording's unit, as the bench's own lines may lie at any phase to the board's.
func (b BenchInput) crossPower(hum *Comb) float64 {
	if b.Floor == nil || b.VoltsPerUnit <= 0 || !hum.Found {
		return 0
	}
	v := 0.0
	for h := 1; h < len(hum.Amplitudes); h++ {
		own := b.Floor.line(h, hum.FrequencyHz.Value)
		v += lineCross(Estimate{Value: math.Sqrt(sqAbs(hum.Amplitudes[h]) / 2)}, Estimate{own.Value / b.VoltsPerUnit, own.Std / b.VoltsPerUnit})
	}
	return v
}

// audioPower is the mean square of x between two frequencies and its variance.
// Lines in x are steady: they scatter only by beating with the noise under
// them, which is read beside them.
func audioPower(x []float64, rateHz, lowHz, highHz float64) (power, variance float64) {
	density := residualDensity(x, rateHz)
	binHz := rateHz / float64(len(x))
	// A Hann window spreads each line over bins that are not independent:
	// the variance of their sum is 35/18 of that of independent ones.
	const hannCorrelation = 35.0 / 18
	const block = 2 * noiseBinsTo
	floor := 0.0
	for k := range density {
		if k%block == 0 {
			floor = medianDensity(density, min(k+block/2, len(density)-1)) * binHz
		}
		if f := float64(k) * binHz; f >= lowHz && f <= highHz {
			p := density[k] * binHz
			power += p
			variance += hannCorrelation * math.Max(2*p*floor-floor*floor, 0)
		}
	}
	return power, variance
}
