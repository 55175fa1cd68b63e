package simboard

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"boardproof/capture"
)

const (
	// ringOutS is the silence that a take is padded with, so that nothing
	// wraps round: the interface's corner, 1 Hz or more, falls by 136 dB in
	// it. The tail of a board's corner far below that is kept small by the
	// interface's.
	ringOutS = 2.5
	// marginS is recorded after the signal has come back.
	marginS = 0.1
	// codes is how many steps a 24-bit converter has from 0 to full scale.
	codes = 1 << 23
)

// Record makes one take, at once. The patch "" is ToBoard.
func (s *Simboard) Record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	if req.Patch == "" {
		req.Patch = capture.ToBoard
	}
	take, err := s.record(ctx, req)
	if err != nil {
		return nil, fmt.Errorf("recording on the simulated bench: %w", err)
	}
	return take, nil
}

func (s *Simboard) record(ctx context.Context, req capture.Request) (*capture.Take, error) {
	if err := s.checkRequest(req); err != nil {
		return nil, err
	}
	cfg, err := s.cfg.under(req.Conditions)
	if err != nil {
		return nil, err
	}
	effects, err := cfg.Board.effects(req.State)
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("stopped before the take: %w", err)
	}
	started := s.cfg.Now().UTC()
	asked := req.Patch
	if s.cfg.Slip != nil {
		req.Patch = s.cfg.Slip(asked)
	}
	r := s.newRun(req, cfg, effects)
	samples, err := r.channels(ctx)
	if err != nil {
		return nil, err
	}
	r.faults.apply(samples, req.Inputs, r.rateHz)
	for i := range samples {
		samples[i] = samples[i][:r.frames]
	}
	s.last = r.truth()
	s.elapsedS += float64(r.frames) / r.rateHz
	if err := report(ctx, req.Progress, samples, r.rateHz); err != nil {
		return nil, err
	}
	return &capture.Take{
		Signal: req.Signal.Spec, Samples: samples, RateHz: s.cfg.RateHz,
		Inputs: slices.Clone(req.Inputs), Outputs: slices.Clone(req.Outputs),
		Patch: asked, State: req.State, Conditions: slices.Clone(req.Conditions), Started: started, Instrument: s.Describe(),
	}, nil
}

// run is one take in the making.
type run struct {
	bench *Simboard
	// cfg is the bench under the conditions of the take.
	cfg     *Config
	wires   *wires
	req     capture.Request
	effects []Effect
	rng     *rand.Rand
	rateHz  float64
	// startS is the bench's own time at the first frame.
	startS float64
	// frames is the length of the take, captured what is made before some
	// are lost.
	frames, captured int
	transform        *transform
	track            track
	openings         []opening
	faults           Faults
}

func (s *Simboard) newRun(req capture.Request, cfg *Config, effects []Effect) *run {
	r := &run{bench: s, cfg: cfg, req: req, effects: effects, rateHz: float64(s.cfg.RateHz), startS: s.elapsedS}
	r.wires = newWires(cfg, req.Patch)
	r.rng = rand.New(rand.NewPCG(s.cfg.Seed, s.takes))
	s.takes++
	if len(s.faults) > 0 {
		r.faults, s.faults = s.faults[0], s.faults[1:]
	}
	delay := s.cfg.Interface.LatencyFrames
	for _, in := range s.cfg.Interface.Inputs {
		delay = math.Max(delay, s.cfg.Interface.LatencyFrames+in.DelayFrames)
	}
	played := float64(len(req.Signal.Samples)) + delay + marginS*r.rateHz
	r.frames = int(math.Ceil(played * (1 + math.Max(s.cfg.Interface.ClockPPM, 0)*1e-6)))
	r.captured = r.frames + r.faults.lost()
	size := goodSize(r.captured + int(ringOutS*r.rateHz))
	// Made for each take: it is as large as one, and the takes are read after.
	r.transform = newTransform(size, r.rateHz)
	r.track = newTrack(s.cfg.Mains, float64(size)/r.rateHz, r.rng)
	if r.onBoard() {
		r.openings = openings(s.cfg.Board.Joints, float64(r.captured)/r.rateHz, r.rng)
	}
	return r
}

func (r *run) onBoard() bool {
	return r.req.Patch == capture.ToBoard || r.req.Patch == capture.Swapped
}

// channels makes the samples of every requested input.
func (r *run) channels(ctx context.Context) ([][]float64, error) {
	samples := make([][]float64, 0, len(r.req.Inputs))
	emf, buffer := r.before()
	for _, ch := range r.req.Inputs {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("stopped before input %d: %w", ch, err)
		}
		samples = append(samples, r.convert(r.terminals(ch, emf, buffer), ch, r.heardAt(ch)))
	}
	return samples, nil
}

// before makes what all inputs share: the spectra of the interface's output
// and of the buffer's, each nil where the patch has none.
func (r *run) before() (emf, buffer []complex128) {
	if r.req.Patch != capture.Terminated && r.req.Patch != capture.KnownSource {
		emf = r.emf()
	}
	if r.onBoard() {
		buffer = r.atBuffer(emf)
	}
	return emf, buffer
}

// terminals is the spectrum of signal and noise at an input's terminals.
func (r *run) terminals(ch int, emf, buffer []complex128) []complex128 {
	var bins []complex128
	output := r.outputAt(ch)
	switch {
	case r.leadAt(ch) >= 0:
		bins = r.atLoopback(emf, &r.cfg.Interface.Inputs[ch-1], r.seriesOhms(ch))
	case output >= 0:
		bins = r.atOutput(buffer, output)
	default:
		bins = make([]complex128, r.transform.n/2+1)
	}
	r.addCrosstalk(bins, ch, emf, buffer)
	return bins
}

// heardAt is all else that comes to an input.
func (r *run) heardAt(ch int) heard {
	h := r.cfg.heardAt(r.wires, ch, r.outputAt(ch))
	if r.req.Patch == capture.KnownSource {
		h.own = append(slices.Clone(h.own), r.cfg.Interface.Source)
	}
	return h
}

// emf is the spectrum of the interface's output in volts, without its noise.
func (r *run) emf() []complex128 {
	f := &r.cfg.Interface
	if r.req.Signal == nil || !slices.Contains(r.req.Outputs, 1) {
		return make([]complex128, r.transform.n/2+1)
	}
	x := make([]float64, r.transform.n)
	copy(x, r.req.Signal.Samples)
	if b := newBend(f.Second, f.Third, 1, 0); !b.straight() {
		b.run(x)
	}
	peak := volts(f.OutputFullScaleDBu+r.bench.outputGainDB) * math.Sqrt2
	for i := range x {
		x[i] *= peak
	}
	bins := r.transform.forward(x)
	if f.OutputCouplingHz == 0 && f.OutputDroopDB == 0 {
		return bins
	}
	for k := range bins {
		bins[k] *= f.outputResponse(float64(k)*r.transform.stepHz(), r.rateHz)
	}
	return bins
}

// atBuffer takes the EMF, which it changes, to the buffer's output and
// through what is engaged behind it.
func (r *run) atBuffer(bins []complex128) []complex128 {
	t := r.transform
	r.ladder().each(len(bins), t.stepHz(), func(k int, p *panel, x float64) {
		bins[k] *= p.complexAt(0, x)
		t.addNoise(&bins[k], p.realAt(0, x), r.rng)
	})
	bins[0] = 0
	b := r.cfg.Board.Buffer
	shape := newBend(b.Second, b.Third, volts(0)*math.Sqrt2, b.RailVolts)
	if shape.straight() && len(r.effects) == 0 {
		return bins
	}
	return t.nonlinear(bins, func(x []float64, rateHz float64) {
		shape.run(x)
		for _, e := range r.effects {
			e.run(x, rateHz)
		}
	})
}

// atOutput takes the buffer's output to the terminals behind an output.
func (r *run) atOutput(buffer []complex128, output int) []complex128 {
	t := r.transform
	bins := make([]complex128, len(buffer))
	r.ladder().each(len(bins), t.stepHz(), func(k int, p *panel, x float64) {
		bins[k] = buffer[k] * p.complexAt(1+output, x)
		t.addNoise(&bins[k], p.realAt(1+output, x), r.rng)
	})
	bins[0] = 0
	name := r.cfg.Board.Outputs[output].Name
	var volts []float64
	for _, o := range r.openings {
		if o.joint.Output != "" && o.joint.Output != name {
			continue
		}
		if volts == nil {
			volts = t.inverse(bins)
		}
		o.run(volts, r.rateHz, r.rng)
	}
	if volts != nil {
		bins = t.forward(volts)
	}
	return bins
}

// atLoopback takes the EMF through a lead to an input's terminals.
func (r *run) atLoopback(emf []complex128, in *Input, leadOhms float64) []complex128 {
	t, f := r.transform, &r.cfg.Interface
	noise := whiteDensity(f.OutputNoiseDBu)
	bins := make([]complex128, len(emf))
	for k := range bins {
		bins[k] = emf[k]
		t.addNoise(&bins[k], noise, r.rng)
		bins[k] *= f.loopback(in, leadOhms, float64(k)*t.stepHz())
	}
	return bins
}

// convert takes the spectrum at an input's terminals, which it changes, to
// the input's samples in full scales.
func (r *run) convert(bins []complex128, channel int, h heard) []float64 {
	f := &r.cfg.Interface
	in := &f.Inputs[channel-1]
	r.received(bins, in)
	var x []float64
	if f.ClockPPM == 0 {
		x = r.transform.inverse(bins)[:r.captured]
	} else {
		x = r.transform.stretched(bins, r.captured, f.ClockPPM)
	}
	r.addHeard(x, h, in, r.rateHz*(1+f.ClockPPM*1e-6))
	r.bench.digitise(x, channel)
	return x
}

// received takes the spectrum at an input's terminals through the input, with
// its noise.
func (r *run) received(bins []complex128, in *Input) {
	t, f := r.transform, &r.cfg.Interface
	delay, noise := f.LatencyFrames+in.DelayFrames, in.noise()
	for k := range bins {
		hz := float64(k) * t.stepHz()
		bins[k] *= in.response(hz, r.rateHz) * delayed(delay, hz, r.rateHz)
		t.addNoise(&bins[k], noise(hz), r.rng)
	}
}

// digitise takes volts at an input to its codes, in full scales.
func (s *Simboard) digitise(x []float64, channel int) {
	in := &s.cfg.Interface.Inputs[channel-1]
	scale := 1 / (volts(in.FullScaleDBu-s.gainDB[channel-1]) * math.Sqrt2)
	for i, v := range x {
		code := math.Round(v * scale * codes)
		x[i] = max(-codes, min(codes, code)) / codes
	}
}

// addHeard adds hum and tones to x, in volts, through the response of an
// input.
func (r *run) addHeard(x []float64, h heard, in *Input, clockHz float64) {
	r.track.addHum(x, h.hum, in, 0, clockHz, r.startS)
	for _, tone := range h.own {
		if tone.FrequencyHz < r.rateHz/2 {
			newOscillator(tone, r.rng).add(x, in, clockHz)
		}
	}
	for _, tone := range h.common {
		newOscillator(tone, r.bench.commonRand(tone)).add(x, in, clockHz)
	}
}

// commonRand gives the jitter of a tone that every input has in common.
func (s *Simboard) commonRand(t Tone) *rand.Rand {
	return rand.New(rand.NewPCG(s.cfg.Seed^math.Float64bits(t.FrequencyHz), ^s.takes))
}

// truth is what is to be known of this take afterwards.
func (r *run) truth() TakeTruth {
	seconds := float64(r.frames) / r.rateHz
	t := TakeTruth{
		MainsMeanHz:  (r.track.at(seconds) - r.track.at(0)) / seconds,
		MainsStartHz: r.track.hzAt(0),
		MainsEndHz:   r.track.hzAt(seconds),
		Faults:       r.faults,
		track:        r.track,
	}
	f := &r.cfg.Interface
	for _, o := range r.openings {
		at := (o.startS + f.LatencyFrames/r.rateHz) * (1 + f.ClockPPM*1e-6)
		t.DropOuts = append(t.DropOuts, DropOut{o.joint.Output, at, o.joint.DurationS})
	}
	return t
}

// reports is how often a take reports its progress.
const reports = 4

// report tells the peaks of each part of a take, as if it were being made.
func report(ctx context.Context, progress func(capture.Progress), samples [][]float64, rateHz float64) error {
	frames := len(samples[0])
	for i := range reports {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("stopped in the take: %w", err)
		}
		if progress == nil {
			continue
		}
		from, to := frames*i/reports, frames*(i+1)/reports
		p := capture.Progress{Seconds: float64(to) / rateHz, OfSeconds: float64(frames) / rateHz}
		for _, x := range samples {
			peak := 0.0
			for _, v := range x[from:to] {
				peak = math.Max(peak, math.Abs(v))
			}
			p.PeakDBFS = append(p.PeakDBFS, 20*math.Log10(math.Max(peak, 1.0/codes)))
		}
		progress(p)
	}
	return nil
}
