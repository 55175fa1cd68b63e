package simboard

import (
	"math"
	"math/rand/v2"
)

// Random draws a plausible board of two outputs on a 48 kHz interface, for
// tests of how often a stated interval holds the truth. Where not said
// otherwise a value is uniform, or uniform in its logarithm where its range
// spans more than a factor of three:
//
//   - gain -6 to +6 dB; outputs within 2 dB of one another; one output in four
//     with reversed polarity; output B through a transformer in half the boards
//     (primary 10 to 80 H, leakage 1 to 10 mH)
//   - source 1 to 30 kΩ into 100 pF to 1.5 nF
//   - buffer noise 10 to 300 nV/√Hz; second harmonic up to 0.02 % at 0 dBu,
//     third none, so that gain does not hang on level
//   - mains 49.8 to 50.2 or 59.8 to 60.2 Hz, drift up to ±2 mHz/s, wander up
//     to 1 mHz/√s; each kind of hum in one output in two, fundamental or
//     strongest line of the order of 1 to 300 µV
//   - one converter tone of 3 to 18 kHz, 1 to 30 µV, in one output in four
//   - interface: full scales +6 to +18 dBu, input noise -110 to -98 dBu,
//     latency 50 to 1500 frames; nothing clips at -24 dBFS
func Random(rng *rand.Rand) Config {
	d := draw{rng}
	c := Config{RateHz: 48000, TemperatureK: d.between(285, 305), Seed: rng.Uint64()}
	c.Mains = Mains{
		StartHz:          50 + 10*float64(rng.IntN(2)) + d.between(-0.2, 0.2),
		DriftHzPerS:      d.between(-0.002, 0.002),
		WanderHzPerRootS: d.between(0, 0.001),
	}
	c.Interface = d.face()
	c.Board = Board{
		Source:      Source{Ohms: d.log(1e3, 30e3)},
		CableFarads: d.log(100e-12, 1.5e-9),
		Buffer: Buffer{
			Ohms: d.log(470e3, 4.7e6), Farads: d.between(5e-12, 40e-12), Gain: math.Pow(10, d.between(-5, 6)/20),
			NoiseVolts: d.log(10e-9, 300e-9), NoiseCornerHz: d.between(0, 150), NoiseAmps: d.log(0.01e-12, 0.5e-12),
			OutputOhms: d.between(30, 300), CouplingFarads: d.log(4.7e-6, 47e-6),
			Second: d.between(0, 2e-4),
		},
		Outputs: []Output{d.output("A", false), d.output("B", rng.IntN(2) == 0)},
	}
	if rng.IntN(4) == 0 {
		c.Board.Buffer.Gain = -c.Board.Buffer.Gain
	}
	return c
}

type draw struct{ *rand.Rand }

func (d draw) between(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

func (d draw) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

func (d draw) phase() float64 { return d.between(0, 2*math.Pi) }

func (d draw) face() Interface {
	f := Interface{
		OutputFullScaleDBu: d.between(6, 18), OutputOhms: d.between(40, 150), Outputs: 2,
		OutputNoiseDBu: d.between(-108, -98), LatencyFrames: d.between(50, 1500),
	}
	for range 2 {
		in := Input{
			FullScaleDBu: d.between(6, 18), Ohms: 1e6, Farads: d.between(40e-12, 100e-12),
			NoiseDBu: d.between(-110, -98), NoiseCornerHz: d.between(0, 100),
			CouplingHz: d.between(1, 4), DroopDB: d.between(0.5, 4), DelayFrames: d.between(0, 0.03),
		}
		for n := 1; n <= 5; n++ {
			in.Hum = append(in.Hum, Harmonic{n, d.log(0.02e-6, 0.5e-6), d.phase()})
		}
		f.Inputs = append(f.Inputs, in)
	}
	return f
}

func (d draw) output(name string, isolated bool) Output {
	o := Output{Name: name, SeriesOhms: d.log(100, 1500), TerminationOhms: d.between(10e3, 47e3), CableFarads: d.between(100e-12, 600e-12)}
	if isolated {
		o.Transformer = &Transformer{
			PrimaryHenrys: d.log(10, 80), LeakageHenrys: d.log(1e-3, 10e-3),
			PrimaryOhms: d.between(50, 300), SecondaryOhms: d.between(50, 300),
			WindingFarads: d.between(50e-12, 300e-12), InterwindingFarads: d.between(20e-12, 150e-12),
			TurnsRatio: d.between(0.95, 1.1), Reversed: d.IntN(4) == 0,
		}
	}
	sometimes := func() bool { return d.IntN(2) == 0 }
	if sometimes() {
		o.Hum.GroundLoop = &GroundLoop{AmpsRMS: d.log(50e-6, 15e-3), ShieldOhms: 0.02, PhaseRad: d.phase()}
	}
	if sometimes() {
		o.Hum.Magnetic = &Magnetic{AmpsRMS: 0.5, MutualHenrys: d.log(5e-9, 5e-7), PhaseRad: d.phase()}
	}
	if sometimes() {
		o.Hum.Ripple = &Ripple{PeakVolts: 13, ReservoirFarads: d.log(470e-6, 4700e-6), LoadAmps: d.between(0.05, 0.6), RejectionDB: d.between(75, 110)}
	}
	if sometimes() {
		o.Hum.Electric = &Electric{MainsVoltsRMS: 230, StrayFarads: d.log(0.01e-12, 1e-12), NodeOhms: 1e3, PhaseRad: d.phase()}
	}
	if sometimes() {
		o.Hum.Dimmer = &Dimmer{MainsVoltsRMS: 230, FiringDeg: d.between(40, 140), StrayFarads: d.log(0.005e-12, 0.1e-12), NodeOhms: 1e3}
	}
	if d.IntN(4) == 0 {
		o.Tones = []Tone{{FrequencyHz: d.between(3000, 18000), VoltsRMS: d.log(1e-6, 30e-6), LinewidthHz: d.between(0, 0.02)}}
	}
	return o
}
