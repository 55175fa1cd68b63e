package analysis

import (
	"math"
	"testing"
)

// A phase-cut mains has odd lines of much the same size far up. Of those that
// barely stand out of the noise some do and some do not: their sum must not
// come out small for it.
func TestTotalOfManyWeakLines(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 2, noiseStd: 4e-5, mainsHz: 50.02, harmonicsRMS: make([]float64, 139)}
	for h := 0; h < len(q.harmonicsRMS); h += 2 {
		// About five standard uncertainties of a line: √(density/2T).
		q.harmonicsRMS[h] = 5 * math.Sqrt(q.densityOf()/(2*q.lengthS))
	}
	// Enough in the low lines to find the comb by.
	q.harmonicsRMS[0], q.harmonicsRMS[2] = 1e-5, 1e-5
	power := 0.0
	for _, a := range q.harmonicsRMS {
		power += a * a
	}
	const records = 12
	sum, squares := 0.0, 0.0
	for i := range uint64(records) {
		q.seed = 50 + i
		s := analyse(t, q, SilenceOptions{})
		z := (s.Hum.Value - math.Sqrt(power)) / s.Hum.Std
		sum += z / records
		squares += z * z / records
	}
	// The mean of 12 scatters by 0.29, their mean square by 0.41.
	if math.Abs(sum) > 4*0.29 || squares > 1+4*0.41 {
		t.Errorf("total of the comb is off by %.2f standard uncertainties in the mean, %.2f in the mean square", sum, squares)
	}
}

// A converter's whine that lies on a line of the comb is a tone, not hum.
func TestToneOnALineOfTheComb(t *testing.T) {
	const onLine = 305
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 1e-5, mainsHz: 49.98, harmonicsRMS: rectifierHum(1e-4, 30),
		tones: []line{{freqHz: onLine*49.98 + 0.05, rms: 3e-5}}, seed: 9}
	s := analyse(t, q, SilenceOptions{})
	power := 0.0
	for _, a := range q.harmonicsRMS {
		power += a * a
	}
	if math.Abs(s.Hum.Value-math.Sqrt(power)) > 5*s.Hum.Std {
		t.Errorf("hum is %.5g ± %.2g V, want %.5g V", s.Hum.Value, s.Hum.Std, math.Sqrt(power))
	}
	if len(s.Tones) != 1 || math.Abs(s.Tones[0].RMS.Value-3e-5) > 5*s.Tones[0].RMS.Std {
		t.Errorf("tones %+v, want one of 30 µV", s.Tones)
	}
}
