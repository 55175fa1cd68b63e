package analysis

import (
	"fmt"
	"math"

	"boardproof/testsignals"
)

// SweepQuantities, ToneQuantities and SilenceQuantities list what is read
// from each signal, for a take that could not be had.
func SweepQuantities() []string { return append([]string(nil), responseQuantities...) }

// SplitQuantities is what a sweep is played for in each output but the first,
// beside SweepQuantities.
func SplitQuantities() []string {
	return append(append([]string(nil), matchQuantities...), SplitDifference)
}

// ToneQuantities is what a tone is played for.
func ToneQuantities() []string { return append([]string(nil), toneQuantities...) }

// SilenceQuantities is what a silence is recorded for.
func SilenceQuantities() []string { return append([]string(nil), silenceQuantities...) }

var silenceQuantities = []string{Noise, Hiss, MainsFrequency, Hum, HumHarmonic, OtherTone}

// SilenceOf reads noise, hum and tones of each output from the body of a
// silence, or from the whole recording when rec has no signal. Absolute
// levels need the inputs' full scales; without them only the mains frequency
// is given.
func SilenceOf(rec *Recording) (Result, error) {
	results := make([]Result, len(rec.Outputs))
	err := each(len(results), func(i int) (err error) {
		if results[i], err = silenceOfOutput(rec, i); err != nil {
			return fmt.Errorf("output %s: %w", rec.Outputs[i], err)
		}
		return nil
	})
	if err != nil {
		return Result{}, err
	}
	var res Result
	for _, one := range results {
		res.Add(one)
	}
	res.setState(rec.State)
	return res, nil
}

func (r *Recording) silence(i int) ([]float64, error) {
	if r.Signal == nil {
		return r.Samples[i], nil
	}
	if r.Signal.Kind != testsignals.Silence {
		return nil, fmt.Errorf("noise is read from a silence, this signal is %s", r.Signal.Kind)
	}
	x, ok := r.part(i, r.Signal.Body)
	if !ok {
		return nil, fmt.Errorf("the recording ends before the silence does")
	}
	return x, nil
}

// clockStdPPM is how far a converter's crystal may be off, as a standard
// uncertainty: ±50 ppm, evenly spread; common practice, no source.
const clockStdPPM = 29

func silenceOfOutput(rec *Recording, i int) (Result, error) {
	s, reason, err := readSilence(rec, i, 0)
	if err != nil {
		return Result{}, err
	}
	return silenceResult(rec, s, reason, i), nil
}

// readSilence analyses one output, in volts or, where its full scale is not
// known, in full scales. reason says why it cannot be read, if it cannot.
func readSilence(rec *Recording, i int, nominalMainsHz float64) (s *Silence, reason string, err error) {
	if p := rec.problem(i); p != "" {
		return nil, p, nil
	}
	x, err := rec.silence(i)
	if err != nil {
		return nil, err.Error(), nil
	}
	volts := rec.bench(i).VoltsPerUnit
	if volts == 0 {
		volts = 1
	}
	s, err = analyseScaled(x, volts, rec.RateHz, SilenceOptions{NominalMainsHz: nominalMainsHz, ClockStdPPM: clockStdPPM})
	if err != nil || s.Mains == nil || s.Mains.Found {
		return s, "", err
	}
	// What was named may be wrong, and the bench calibrated elsewhere: so either only
	// decides where the record does not.
	known := rec.NominalMainsHz
	if floor := rec.bench(i).Floor; known == 0 && floor != nil && s.Mains.Reason == eitherMains {
		known = math.Round(floor.MainsHz/10) * 10
	}
	if known != nominalMainsHz {
		s, err = analyseScaled(x, volts, rec.RateHz, SilenceOptions{NominalMainsHz: known, ClockStdPPM: clockStdPPM})
	}
	return s, "", err
}

// silenceResult makes readings of what was read at one output.
func silenceResult(rec *Recording, s *Silence, reason string, i int) Result {
	var res Result
	name, bench := rec.Outputs[i], rec.bench(i)
	if reason != "" {
		res.refuse(name, "", reason, silenceQuantities...)
		return res
	}
	res = SilenceResult(s, name, rec.State, bench)
	if bench.VoltsPerUnit > 0 {
		return res
	}
	return res.withoutLevels(name)
}

// withoutLevels keeps of a silence only what needs no full scale.
func (r Result) withoutLevels(output string) Result {
	kept := Result{Refused: r.Refused}
	for _, x := range r.Readings {
		if x.Quantity == MainsFrequency {
			kept.Readings = append(kept.Readings, x)
		}
	}
	kept.refuse(output, "", NoVolts,
		Noise, Hiss, Hum, HumHarmonic, OtherTone, NoiseDensity)
	return kept
}
