// Package randombench draws simulated benches at random and calibrates them with
// every error drawn as calibration states it: what the programs that count how
// often a statement is right have in common.
//
// In this room: benches, the errors of their calibrations, and reading a
// simulated board by way of them. Not in this room: what is counted.
package randombench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"time"

	"boardproof/analysis"
	"boardproof/calibration"
	"boardproof/capture"
	"boardproof/capture/simboard"
	"boardproof/testsignals"
)

const (
	RateHz = 48000
	// calibrationDBFS is what is played to the meter and through the loopback.
	calibrationDBFS = -12.0
	// meterToneHz is where cheap meters are good.
	meterToneHz = 185.0
)

// Patching is what of the board goes to which input.
var Patching = []calibration.Patching{{Output: "A", Input: 1}, {Output: "B", Input: 2}}

// Taken is a proved take with what was played.
type Taken struct {
	Signal *testsignals.Signal
	take   *capture.Take
	proof  *capture.Proof
}

// Record takes one signal; the error may be a *capture.BadTake.
func Record(sim *simboard.Simboard, spec testsignals.Spec, patch capture.Patch) (Taken, error) {
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return Taken{}, err
	}
	take, err := sim.Record(context.Background(), capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Patch: patch})
	if err != nil {
		return Taken{}, err
	}
	proof, err := capture.Check(take, sig, capture.Expect{NoSignal: patch == capture.Terminated})
	return Taken{sig, take, proof}, err
}

// Refused says whether err is that a take did not prove itself: nothing was measured, so
// that there is nothing to count.
func Refused(err error) bool {
	var bad *capture.BadTake
	return errors.As(err, &bad)
}

// Recording is t as the estimators take it; p may be nil.
func (t Taken) Recording(p *calibration.Profile) (*analysis.Recording, error) {
	rec, _, err := calibration.Recording(t.take, t.proof, t.Signal, Patching, p, time.Now())
	return rec, err
}

// Bench is a simulated interface and what was recorded to calibrate it. Each
// board that it measures gets a calibration of its own from that: another
// meter, other leads.
type Bench struct {
	Config   simboard.Config
	Truth    *simboard.Truth
	loopback *analysis.Recording
	// inputs hold floor and distortion, in the volts of the true full scales.
	inputs []calibration.Input
}

// NewBench draws a bench and records what a calibration needs, with signals of
// these lengths in seconds.
func NewBench(rng *rand.Rand, sweepS, silenceS float64) (*Bench, error) {
	config := simboard.Random(rng)
	shareResponse(&config.Interface, rng)
	return recordBench(config, sweepS, silenceS)
}

// Again is the same bench recorded once more for another calibration.
func (b *Bench) Again(rng *rand.Rand, sweepS, silenceS float64) (*Bench, error) {
	config := b.Config
	config.Seed = rng.Uint64()
	return recordBench(config, sweepS, silenceS)
}

func recordBench(config simboard.Config, sweepS, silenceS float64) (*Bench, error) {
	b := &Bench{Config: config}
	sim, err := simboard.New(b.Config)
	if err != nil {
		return nil, err
	}
	b.Truth = sim.Truth()
	if b.loopback, err = recordBare(sim, testsignals.New(testsignals.Sweep, RateHz, calibrationDBFS, sweepS), capture.Loopback); err != nil {
		return nil, err
	}
	tone, err := recordBare(sim, testsignals.New(testsignals.Tone, RateHz, calibrationDBFS, 0), capture.Loopback)
	if err != nil {
		return nil, err
	}
	quiet, err := recordBare(sim, testsignals.New(testsignals.Silence, RateHz, -90, silenceS), capture.Terminated)
	if err != nil {
		return nil, err
	}
	for _, c := range Patching {
		full := analysis.Estimate{Value: b.Truth.InputFullScaleDBu(c.Input)}
		b.inputs = append(b.inputs, calibration.Input{Channel: c.Input, FullScaleDBu: full})
	}
	if err := calibration.AddDistortion(b.inputs, tone); err != nil {
		return nil, err
	}
	return b, calibration.AddFloors(b.inputs, quiet)
}

// recordBare is a recording of a bench that was not calibrated.
func recordBare(sim *simboard.Simboard, spec testsignals.Spec, patch capture.Patch) (*analysis.Recording, error) {
	t, err := Record(sim, spec, patch)
	if err != nil {
		return nil, fmt.Errorf("calibrating: %w", err)
	}
	return t.Recording(nil)
}

// floorIn is the floor of an input whose volts are taken to be so many times
// the true ones.
func floorIn(f analysis.Floor, by float64) analysis.Floor {
	times := func(e analysis.Estimate) analysis.Estimate {
		return analysis.Estimate{Value: e.Value * by, Std: e.Std * by}
	}
	byWeighting := func(m map[string]analysis.Estimate) map[string]analysis.Estimate {
		out := map[string]analysis.Estimate{}
		for w, e := range m {
			out[w] = times(e)
		}
		return out
	}
	out := analysis.Floor{Noise: byWeighting(f.Noise), Hiss: byWeighting(f.Hiss), MainsHz: f.MainsHz, Hum: times(f.Hum)}
	for _, h := range f.Harmonics {
		out.Harmonics = append(out.Harmonics, times(h))
	}
	for _, t := range f.Tones {
		out.Tones = append(out.Tones, analysis.FloorTone{FrequencyHz: t.FrequencyHz, Level: times(t.Level)})
	}
	return out
}

// shareResponse divides what the inputs lose at the ends of the band between
// them and the output: anything from none to all, as it is stated. Far
// above its corner a high-pass loses as the square of it. The simulated inputs
// have a corner of 1 Hz at least.
func shareResponse(f *simboard.Interface, rng *rand.Rand) {
	share := rng.Float64()
	coupling, droop := f.Inputs[0].CouplingHz, f.Inputs[0].DroopDB
	f.OutputCouplingHz, f.OutputDroopDB = coupling*math.Sqrt(1-share), droop*(1-share)
	for i := range f.Inputs {
		f.Inputs[i].CouplingHz, f.Inputs[i].DroopDB = math.Max(1, coupling*math.Sqrt(share)), droop*share
	}
}

// CalibrationErrors are what a calibration is off by, each drawn as it is stated.
type CalibrationErrors struct {
	meter calibration.MeterReading
	// plug is what each lead's gain is off by, relative; delayS what the delay
	// is off by beyond what the simulated lead does to it.
	plug, delayS []float64
	// loadingDB is by how much the inputs lower the output's level, where the
	// operator does not know their impedances; outputOhms and inputsOhms are
	// what the manual says where he does.
	loadingDB              float64
	outputOhms, inputsOhms float64
}

// Evenly draws from a rectangular distribution of half width limit.
func Evenly(rng *rand.Rand, limit float64) float64 { return limit * (2*rng.Float64() - 1) }

// Repeatability of the loopback lead's gain (standard uncertainty, relative)
// and limit of its delay in seconds, as calibration states them.
const (
	plugRelStd = 2e-4
	leadDelayS = 10e-9
)

// DrawErrors draws what one calibration of b is off by.
func (b *Bench) DrawErrors(rng *rand.Rand) CalibrationErrors {
	var e CalibrationErrors
	face := b.Config.Interface
	if rng.IntN(2) == 0 {
		e.loadingDB = Evenly(rng, 0.1)
	} else {
		// In the simulated loopback each input loads the output for itself.
		e.outputOhms, e.inputsOhms = face.OutputOhms*(1+Evenly(rng, 0.2)), face.Inputs[0].Ohms
	}
	for _, in := range face.Inputs {
		e.plug = append(e.plug, plugRelStd*rng.NormFloat64())
		e.delayS = append(e.delayS, Evenly(rng, leadDelayS)-face.OutputOhms*in.Farads)
	}
	e.meter = b.readMeter(rng, e.loadingDB)
	return e
}

// readMeter is what a meter of random accuracy shows of the tone.
func (b *Bench) readMeter(rng *rand.Rand, loadingDB float64) calibration.MeterReading {
	m := calibration.MeterReading{
		PercentOfReading: 0.05 * math.Pow(20, rng.Float64()), // 0.05 to 1 %
		DigitsOff:        float64(rng.IntN(6)),
		ResolutionV:      []float64{1e-4, 1e-3}[rng.IntN(2)],
	}
	v := b.trueMeterVolts(loadingDB)
	v += Evenly(rng, m.PercentOfReading/100*v+m.DigitsOff*m.ResolutionV)
	m.VoltsRMS = math.Round(v/m.ResolutionV) * m.ResolutionV
	return m
}

// trueMeterVolts is what stands at the meter, at the terminals of input 1.
func (b *Bench) trueMeterVolts(loadingDB float64) float64 {
	gain := cmplx.Abs(b.Truth.SampleResponse(capture.Loopback, 1, meterToneHz))
	return math.Pow(10, (calibrationDBFS+loadingDB)/20) * gain * analysis.VoltsFromDBu(b.Truth.InputFullScaleDBu(1))
}

// Calibrate makes the profile that the bench's recordings give with errors e.
func (b *Bench) Calibrate(e CalibrationErrors) (*calibration.Profile, error) {
	full, err := calibration.OutputFullScale(e.meter, calibrationDBFS)
	if err != nil {
		return nil, err
	}
	p := &calibration.Profile{
		ID: "coverage", Instrument: capture.Description{Device: "simulated bench", RateHz: RateHz},
		ValidUntil: time.Now().Add(time.Hour), Output: 1, OutputFullScaleDBu: full.Estimate(),
		LoadingDB: calibration.Loading(e.outputOhms, e.inputsOhms),
	}
	loop := *b.loopback
	loop.Samples = make([][]float64, len(b.loopback.Samples))
	for row, x := range b.loopback.Samples {
		loop.Samples[row] = scaled(x, (1+e.plug[row])*math.Pow(10, e.loadingDB/20))
		in, err := calibration.NewInput(row+1, &loop, row, full)
		if err != nil {
			return nil, err
		}
		in.LatencyS.Value += e.delayS[row]
		in.Floor = floorIn(b.inputs[row].Floor, math.Pow(10, (in.FullScaleDBu.Value-b.inputs[row].FullScaleDBu.Value)/20))
		in.THDPercent = b.inputs[row].THDPercent
		p.Inputs = append(p.Inputs, in)
	}
	return p, nil
}

func scaled(x []float64, by float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v * by
	}
	return y
}
