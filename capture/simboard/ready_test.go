package simboard

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"boardproof/capture"
	"boardproof/capture/instrumenttest"
	"boardproof/testsignals"
)

func TestConformance(t *testing.T) {
	instrumenttest.Run(t, func(t *testing.T) capture.Instrument {
		c := mustReady(t, "good")
		c.Board.Devices = append(c.Board.Devices, Device{Name: "conformance"})
		return bench(t, c)
	}, instrumenttest.Options{})
}

// What is promised of the good board; the figures are this project's own.
func TestGoodBoardIsGood(t *testing.T) {
	truth := bench(t, mustReady(t, "good")).Truth()
	for _, o := range []string{"A", "B"} {
		near(t, "gain in dB", truth.GainDB(o), -0.3, 0.05)
		low, high := truth.CornersHz(o)
		if !(low < 10 && high > 20000) {
			t.Errorf("output %s passes %g to %g Hz", o, low, high)
		}
		for f := 40.0; f < 10000; f *= 1.1 {
			near(t, "flatness in dB", gainOf(truth.Response(o, f))-truth.GainDB(o), 0, 0.5)
		}
		near(t, "noise in dBu", dBu(truth.NoiseVolts(o, nil)), -95, 1.5)
		if hum := dBu(truth.HumTotalVolts(o, 40)); !(hum < -90) {
			t.Errorf("output %s hums at %.1f dBu", o, hum)
		}
		if truth.Polarity(o) != 1 {
			t.Errorf("output %s has polarity %d", o, truth.Polarity(o))
		}
	}
	near(t, "level match in dB", truth.LevelMatchDB("B", "A", 1000), 0, 0.1)
	second, third, _ := truth.Distortion(0)
	near(t, "distortion in %", 100*math.Hypot(second, third), 0.01, 0.005)
}

// Each of the other boards has the fault that its name says.
func TestFaultyBoardsAreFaulty(t *testing.T) {
	truth := func(name string) *Truth { return bench(t, mustReady(t, name)).Truth() }
	_, high := truth("dull").CornersHz("A")
	near(t, "dull corner in Hz", high, 5000, 1000)
	if hum := dBu(truth("ground-loop").HumTotalVolts("B", 40)); !(hum > -70) {
		t.Errorf("the ground loop hums at %.1f dBu only", hum)
	}
	flipped := truth("flipped-split")
	if flipped.Polarity("A") != 1 || flipped.Polarity("B") != -1 {
		t.Errorf("polarities are %d and %d", flipped.Polarity("A"), flipped.Polarity("B"))
	}
	near(t, "low output in dB", flipped.LevelMatchDB("B", "A", 1000), -1.8, 0.05)

	s := bench(t, mustReady(t, "intermittent"))
	take(t, s, silence(t, 48000, 3), capture.ToBoard, "")
	if n := len(s.LastTake().DropOuts); n < 2 {
		t.Errorf("the intermittent board dropped out %d times", n)
	}
	if _, err := Ready("perfect"); err == nil || !strings.Contains(err.Error(), "ground-loop") {
		t.Errorf("an unknown board gave %v, want the names that there are", err)
	}
}

// With a compressor of ratio 4 on, 12 dB of level are 9 dB of gain; with a
// chorus on gain hangs on time; on the good board on neither.
func TestTimeVariantBoards(t *testing.T) {
	if testing.Short() {
		t.Skip("a dozen takes")
	}
	for name, limits := range map[string][2]float64{"good": {0, 0.005}, "compressor": {8.9, 9.1}, "chorus": {0.1, 40}} {
		s := bench(t, mustReady(t, name))
		gain := func(dBFS float64, part float64) float64 {
			sig := toneSignal(t, 48000, dBFS, 1000)
			got := take(t, s, sig, capture.ToBoard, "").Samples[0]
			at := sig.Body.Start + int(part*float64(sig.Body.Len()))
			return gainOf(lockIn(got[at:at+4800], 1000, 48000, at)) - dBFS
		}
		change := math.Max(math.Abs(gain(-12, 0.3)-gain(-24, 0.3)), math.Abs(gain(-12, 0.3)-gain(-12, 0.7)))
		if !(change >= limits[0] && change <= limits[1]) {
			t.Errorf("%s: gain changes by %.3g dB, want %g to %g", name, change, limits[0], limits[1])
		}
	}
}

// Random boards are valid and within what Random's comment says.
func TestRandomBoards(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	reversed, isolated, hums := 0, 0, 0
	const boards = 300
	for range boards {
		c := Random(rng)
		truth := bench(t, c).Truth()
		if g := truth.GainDB("A"); !(math.Abs(g) <= 6) {
			t.Errorf("gain is %.2f dB", g)
		}
		if m := truth.LevelMatchDB("B", "A", 1000); !(math.Abs(m) <= 2) {
			t.Errorf("level match is %.2f dB", m)
		}
		if p := cmplx.Phase(truth.Response("A", 1000)); math.Abs(math.Abs(p)-math.Pi/2) < 0.5 {
			t.Errorf("phase of %.2f rad at 1 kHz has no polarity", p)
		}
		if truth.Polarity("A") != truth.Polarity("B") {
			reversed++
		}
		if c.Board.Outputs[1].Transformer != nil {
			isolated++
		}
		if h := truth.HumTotalVolts("A", 40); h > 0 {
			hums++
			if !(h < 2e-3) {
				t.Errorf("hum is %.3g V", h)
			}
		}
	}
	near(t, "reversed boards", float64(reversed), boards/8.0, 28)
	near(t, "isolated boards", float64(isolated), boards/2.0, 40)
	near(t, "boards with hum at A", float64(hums), boards*31/32.0, 14)
}

func TestImpossibleConfigs(t *testing.T) {
	for want, spoil := range map[string]func(*Config){
		"rate":                   func(c *Config) { c.RateHz = 8000 },
		"interface: no inputs":   func(c *Config) { c.Interface.Inputs = nil },
		"interface: input 2":     func(c *Config) { c.Interface.Inputs[1].Ohms = math.NaN() },
		"2 outputs and the":      func(c *Config) { c.Interface.Inputs = c.Interface.Inputs[:1] },
		"latency":                func(c *Config) { c.Interface.LatencyFrames = -1 },
		"mains harmonic 201":     func(c *Config) { c.Interface.Inputs[0].Hum = []Harmonic{{N: 201}} },
		"tone frequency":         func(c *Config) { c.Board.Outputs[0].Tones = []Tone{{FrequencyHz: math.Inf(1)}} },
		"board: no outputs":      func(c *Config) { c.Board.Outputs = nil },
		"a name of its own":      func(c *Config) { c.Board.Outputs[1].Name = "A" },
		"device 2 is called":     func(c *Config) { c.Board.Devices[1].Name = "fuzz" },
		"device chorus: chorus":  func(c *Config) { c.device("chorus").Effect = Chorus{Mix: 2} },
		"device boost: clipper":  func(c *Config) { c.device("boost").Effect = Clipper{GainDB: math.NaN()} },
		"compressor with attack": func(c *Config) { c.device("delay").Effect = Compressor{Ratio: 2} },
		"joint in output":        func(c *Config) { c.Board.Joints = []Joint{{Output: "C"}} },
		"gain of an open joint":  func(c *Config) { c.Board.Joints = []Joint{{Gain: 2}} },
		"time of a drop-out":     func(c *Config) { c.Board.Joints = []Joint{{AtS: []float64{math.NaN()}}} },
		"hum in V":               func(c *Config) { c.Interface.Inputs[0].Hum = []Harmonic{{N: 1, VoltsRMS: math.NaN()}} },
		"phase in rad":           func(c *Config) { c.Board.Outputs[0].Hum.GroundLoop.PhaseRad = math.Inf(1) },
		"leakage":                func(c *Config) { c.Board.Outputs[1].Transformer.LeakageHenrys = 0 },
		"hum: firing angle":      func(c *Config) { c.Board.Outputs[0].Hum.Dimmer = &Dimmer{FiringDeg: 181} },
		"mains frequency":        func(c *Config) { c.Mains.StartHz = 0 },
		"more than the whole":    func(c *Config) { c.Board.Outputs[0].Hum.GroundLoop.ShieldOhms = 2 },
		`from "amplifier at C"`:  func(c *Config) { c.Board.Outputs[0].Hum.GroundLoop.From = AmplifierAt("C") },
		`supply of device "amp"`: func(c *Config) { c.Board.Outputs[1].Hum.Magnetic.From = "amp" },
		"input: neither":         func(c *Config) { c.Board.InputHum.GroundLoop = &GroundLoop{} },
		"fuzz: a ground loop":    func(c *Config) { c.device("fuzz").Hum.GroundLoop = &GroundLoop{} },
		"laptop: tone level":     func(c *Config) { c.Interface.Laptop.ChargerTones = []Tone{{FrequencyHz: 9, VoltsRMS: -1}} },
		"upright share":          func(c *Config) { c.Board.Outputs[1].Hum.Magnetic.UprightShare = 1.5 },
		"swing in dB":            func(c *Config) { c.device("delay").Hum.Swing = &Swing{DepthDB: math.NaN()} },
		"device 1 is called":     func(c *Config) { c.device("fuzz").Name = BoardSupply },
		"bend of tones":          func(c *Config) { c.Board.BendPerVolt = -1 },
	} {
		c := mustReady(t, "good")
		spoil(&c)
		if s, err := New(c); s != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error is %v, want one with %q", err, want)
		}
	}
}

// Takes of random boards prove themselves at the level that Random names.
func TestRandomBoardsCanBeMeasured(t *testing.T) {
	if testing.Short() {
		t.Skip("takes of several boards")
	}
	rng := rand.New(rand.NewPCG(13, 14))
	sig := signal(t, testsignals.New(testsignals.Sweep, 48000, -24, 0.5))
	for i := range 3 {
		s := bench(t, Random(rng))
		for _, patch := range []capture.Patch{capture.ToBoard, capture.Loopback} {
			if _, err := capture.Check(take(t, s, sig, patch, ""), sig, capture.Expect{}); err != nil {
				t.Errorf("board %d, %s: %v", i, patch, err)
			}
		}
	}
}

// Outputs and inputs that do not exist have no truth, and no panic.
func TestNoTruth(t *testing.T) {
	truth := bench(t, mustReady(t, "good")).Truth()
	for what, v := range map[string]float64{
		"gain": truth.GainDB("C"), "noise": truth.NoiseVolts("C", nil), "hum": truth.HumVolts("C", 1),
		"harmonic 0": truth.HumVolts("A", 0), "total hum": truth.HumTotalVolts("C", 9), "latency": truth.LatencyFrames(0),
		"full scale": truth.InputFullScaleDBu(3), "recorded noise": truth.RecordedNoiseDensity(capture.ToBoard, 3, 100),
		"sample response": real(truth.SampleResponse(capture.ToBoard, 3, 100)),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %g, want NaN", what, v)
		}
	}
	if truth.RecordedHumVolts(capture.ToBoard, 3) != nil || truth.Tones("C") != nil || truth.Polarity("C") != 0 {
		t.Error("an output or input that does not exist has hum, tones or polarity")
	}
}

// R into C delays low frequencies by RC: 10 kΩ and 1 nF by 10 µs.
func TestGroupDelay(t *testing.T) {
	c := bare()
	c.Board.Source.Ohms, c.Board.CableFarads = 10e3, 1e-9
	near(t, "group delay in µs", bench(t, c).Truth().GroupDelayS("A", 100)*1e6, 10, 0.001)

	c.Board.Outputs[1].SeriesOhms, c.Board.Outputs[1].CableFarads = 20e3, 1e-9
	near(t, "delay match in µs", bench(t, c).Truth().DelayMatchS("B", "A", 100)*1e6, 20, 0.01)
}

// A sweep at each rate comes back such that capture.Check believes it.
func TestEveryRate(t *testing.T) {
	if testing.Short() {
		t.Skip("takes at high rates")
	}
	for _, rate := range []int{44100, 96000, 192000} {
		c := mustReady(t, "good")
		c.RateHz = rate
		sig := signal(t, testsignals.New(testsignals.Sweep, rate, -12, 0.6))
		got := take(t, bench(t, c), sig, capture.ToBoard, "")
		if got.RateHz != rate || len(got.Samples[1]) < sig.Frames {
			t.Errorf("%d Hz: take at %d Hz of %d frames for %d played", rate, got.RateHz, len(got.Samples[1]), sig.Frames)
		}
		if _, err := capture.Check(got, sig, capture.Expect{}); err != nil {
			t.Errorf("%d Hz: %v", rate, err)
		}
	}
}

// A board under other names hums where and as much as it did; what is left of its devices
// is at the last name, and names that are left do nothing.
func TestDevicesUnderOtherNames(t *testing.T) {
	for _, names := range [][]string{{"moss", "end"}, {"moss", "two", "three", "four", "end", "six", "seven"}} {
		for ready, at := range map[string]string{"supply-ripple": "end", "stray-field": "moss"} {
			plain, called := mustReady(t, ready), mustReady(t, ready)
			called.CallDevices(names)
			was := bench(t, plain).Truth().HumTotalVolts("A", 40)
			near(t, ready+" under other names", bench(t, called).Truth().HumTotalVolts("A", 40)/was, 1, 1e-9)
			for _, name := range names {
				off := under(t, bench(t, called).Truth(), is(capture.DeviceBypassed, name)).HumTotalVolts("A", 40) / was
				if gone := off < 0.1; gone != (name == at) {
					t.Errorf("%s of %v without %q: %.3f of the hum is left", ready, names, name, off)
				}
			}
		}
	}
	c := mustReady(t, "good")
	c.CallDevices(nil)
	if len(c.Board.Devices) != 5 || c.device("delay").Name != "delay" {
		t.Errorf("without names: %+v", c.Board.Devices)
	}
}
