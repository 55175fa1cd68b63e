package analysis

import (
	"math"
	"strings"
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

// What a dimmer leaves rises with frequency: hundreds of lines past the 40th,
// none of which stands out, may be most of the hum, and the few low ones leave
// the mains frequency so uncertain that no high one can be looked for as one
// line. Where it is more uncertain still, that is said.
func TestTotalOfLinesThatNoneSees(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 4e-5, mainsHz: 59.97, harmonicsRMS: make([]float64, 320)}
	line := math.Sqrt(q.densityOf() / (2 * q.lengthS))
	for h := range q.harmonicsRMS {
		q.harmonicsRMS[h] = 4 * line * math.Min(1, float64(h)/100)
	}
	q.harmonicsRMS[1], q.harmonicsRMS[4] = 12*line, 20*line
	power := 0.0
	for _, a := range q.harmonicsRMS {
		power += a * a
	}
	const records = 5
	sum, squares := 0.0, 0.0
	for i := range uint64(records) {
		q.seed = 80 + i
		s := analyse(t, q, SilenceOptions{})
		if s.humNote() != "" {
			t.Errorf("hum is qualified: %s", s.humNote())
		}
		// In power: the level of so weak a hum is no normal variate.
		z := (sq(s.Hum.Value) - power) / (2 * s.Hum.Value * s.Hum.Std)
		sum += z / records
		squares += z * z / records
	}
	// The mean of 5 scatters by 0.45, their mean square by 0.63.
	t.Logf("off by %.2f in the mean, %.2f in the mean square", sum, squares)
	if math.Abs(sum) > 4*0.45 || squares > 1+4*0.63 {
		t.Errorf("total of the comb is off by %.2f standard uncertainties in the mean, %.2f in the mean square", sum, squares)
	}
}

func TestTotalOfLinesThatCannotBePlaced(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 4e-5, mainsHz: 59.97, harmonicsRMS: make([]float64, 1), seed: 3}
	q.harmonicsRMS[0] = 14 * math.Sqrt(q.densityOf()/(2*q.lengthS))
	s := analyse(t, q, SilenceOptions{})
	if want := "for lack of a certain mains frequency"; !strings.Contains(s.humNote(), want) {
		t.Errorf("hum's note is %q, the mains frequency %+v; want %q", s.humNote(), s.Mains.FrequencyHz, want)
	}
}

// A jittery whine between the lines of a weak comb, whose high lines could be
// anywhere, is a whine.
func TestToneBetweenTheLinesOfAWeakComb(t *testing.T) {
	q := quietRecord{rateHz: 48000, lengthS: 4, noiseStd: 2e-5, mainsHz: 49.94, harmonicsRMS: []float64{0, 0, 0, 0, 6e-7},
		tones: []line{{freqHz: 358*49.94 - 1.2, rms: 2e-6}}, seed: 4}
	s := analyse(t, q, SilenceOptions{NominalMainsHz: 50})
	if !s.Mains.Found || 3*358*s.Mains.FrequencyHz.Std < 2 {
		t.Fatalf("mains %+v is not uncertain enough to test anything", s.Mains.FrequencyHz)
	}
	if s.Hum.Value > 1.8e-6 || len(s.Tones) != 1 {
		t.Errorf("hum is %.3g V, tones %+v; want one tone of 2 µV", s.Hum.Value, s.Tones)
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
