package main

import (
	"context"
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
	rateHz = 48000
	// calibrationDBFS is what is played to the meter and through the loopback.
	calibrationDBFS = -12.0
	// meterToneHz is where cheap meters are good.
	meterToneHz = 185.0
)

var patching = []calibration.Patching{{Output: "A", Input: 1}, {Output: "B", Input: 2}}

// taken is a proved take with what was played.
type taken struct {
	signal *testsignals.Signal
	take   *capture.Take
	proof  *capture.Proof
}

func record(sim *simboard.Simboard, spec testsignals.Spec, patch capture.Patch) (taken, error) {
	sig, err := testsignals.Generate(spec)
	if err != nil {
		return taken{}, err
	}
	take, err := sim.Record(context.Background(), capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Patch: patch})
	if err != nil {
		return taken{}, err
	}
	proof, err := capture.Check(take, sig, capture.Expect{NoSignal: patch == capture.Terminated})
	return taken{sig, take, proof}, err
}

func (t taken) recording(p *calibration.Profile) (*analysis.Recording, error) {
	rec, _, err := calibration.Recording(t.take, t.proof, t.signal, patching, p, time.Now())
	return rec, err
}

// bench is a simulated interface and what was recorded to calibrate it. Each
// board that it measures gets a calibration of its own from that: another
// meter, other leads.
type bench struct {
	config   simboard.Config
	truth    *simboard.Truth
	loopback *analysis.Recording
	tone     *analysis.Recording
	quiet    *analysis.Recording
}

func newBench(rng *rand.Rand, silenceS float64) (*bench, error) {
	b := &bench{config: simboard.Random(rng)}
	sim, err := simboard.New(b.config)
	if err != nil {
		return nil, err
	}
	b.truth = sim.Truth()
	for _, c := range []struct {
		rec   **analysis.Recording
		patch capture.Patch
		kind  testsignals.Kind
		dbfs  float64
		s     float64
	}{
		{&b.loopback, capture.Loopback, testsignals.Sweep, calibrationDBFS, 0},
		{&b.tone, capture.Loopback, testsignals.Tone, calibrationDBFS, 0},
		{&b.quiet, capture.Terminated, testsignals.Silence, -90, silenceS},
	} {
		t, err := record(sim, testsignals.New(c.kind, rateHz, c.dbfs, c.s), c.patch)
		if err != nil {
			return nil, fmt.Errorf("calibrating: %w", err)
		}
		if *c.rec, err = t.recording(nil); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// errors are what a calibration is off by, each drawn as it is stated.
type calibrationErrors struct {
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

// evenly draws from a rectangular distribution of half width limit.
func evenly(rng *rand.Rand, limit float64) float64 { return limit * (2*rng.Float64() - 1) }

// Repeatability of the loopback lead's gain (standard uncertainty, relative)
// and limit of its delay in seconds, as calibration states them.
const (
	plugRelStd = 2e-4
	leadDelayS = 10e-9
)

func (b *bench) drawErrors(rng *rand.Rand) calibrationErrors {
	var e calibrationErrors
	face := b.config.Interface
	if rng.IntN(2) == 0 {
		e.loadingDB = evenly(rng, 0.1)
	} else {
		in := 0.0
		for _, i := range face.Inputs {
			in += 1 / i.Ohms
		}
		e.outputOhms, e.inputsOhms = face.OutputOhms*(1+evenly(rng, 0.2)), 1/in
	}
	for _, in := range face.Inputs {
		e.plug = append(e.plug, plugRelStd*rng.NormFloat64())
		e.delayS = append(e.delayS, evenly(rng, leadDelayS)-face.OutputOhms*in.Farads)
	}
	e.meter = b.readMeter(rng, e.loadingDB)
	return e
}

// readMeter is what a meter of random accuracy shows of the tone.
func (b *bench) readMeter(rng *rand.Rand, loadingDB float64) calibration.MeterReading {
	m := calibration.MeterReading{
		PercentOfReading: 0.05 * math.Pow(20, rng.Float64()), // 0.05 to 1 %
		DigitsOff:        float64(rng.IntN(6)),
		ResolutionV:      []float64{1e-4, 1e-3}[rng.IntN(2)],
	}
	gain := cmplx.Abs(b.truth.SampleResponse(capture.Loopback, 1, meterToneHz))
	v := math.Pow(10, (calibrationDBFS+loadingDB)/20) * gain * analysis.VoltsFromDBu(b.truth.InputFullScaleDBu(1))
	v += evenly(rng, m.PercentOfReading/100*v+m.DigitsOff*m.ResolutionV)
	m.VoltsRMS = math.Round(v/m.ResolutionV) * m.ResolutionV
	return m
}

// calibrate makes the profile that the bench's recordings give with errors e.
func (b *bench) calibrate(e calibrationErrors) (*calibration.Profile, error) {
	full, err := calibration.OutputFullScale(e.meter, calibrationDBFS)
	if err != nil {
		return nil, err
	}
	p := &calibration.Profile{
		ID: "coverage", Instrument: capture.Description{Device: "simulated bench", RateHz: rateHz},
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
		p.Inputs = append(p.Inputs, in)
	}
	if err := calibration.AddDistortion(p.Inputs, b.tone); err != nil {
		return nil, err
	}
	return p, calibration.AddFloors(p.Inputs, b.quiet)
}

func scaled(x []float64, by float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v * by
	}
	return y
}
