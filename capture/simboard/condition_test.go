package simboard

import (
	"context"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"boardproof/capture"
)

func is(change capture.Change, subject string) capture.Condition {
	return capture.Condition{Change: change, Subject: subject}
}

// hummer is a quiet board with two devices and what add puts on it.
func hummer(add func(c *Config)) Config {
	c := bare()
	c.Board.Outputs[0].SeriesOhms, c.Board.Outputs[1].SeriesOhms = 600, 600
	c.Board.Devices = []Device{{Name: "fuzz"}, {Name: "delay"}}
	add(&c)
	return c
}

// loopCase is a loop heard at A between two ends, and which conditions open it.
func TestWaysOfTheLoop(t *testing.T) {
	all := []capture.Condition{
		is(capture.OutputUnplugged, "A"), is(capture.OutputUnplugged, "B"), is(capture.LaptopOnBattery, ""),
		is(capture.OnBattery, ""), is(capture.SupplyOff, ""), is(capture.OnBattery, "fuzz"), is(capture.InputShorted, ""),
		is(capture.DeviceBypassed, "delay"), is(capture.BoardTurned, ""), is(capture.LightsOff, ""), is("phone away", "far"),
	}
	for name, loop := range map[string]struct {
		from, to Earth
		opens    []int // of all
	}{
		"nothing said":              {"", "", []int{0}},
		"own amplifier and bench":   {AmplifierAt("A"), BenchEarth, []int{0}},
		"other amplifier":           {AmplifierAt("B"), BenchEarth, []int{1}},
		"two amplifiers":            {AmplifierAt("A"), AmplifierAt("B"), []int{0, 1}},
		"one amplifier, both ends":  {AmplifierAt("A"), AmplifierAt("A"), []int{0}},
		"amplifier and laptop":      {AmplifierAt("A"), LaptopCharger, []int{0, 2}},
		"supply's earth and laptop": {SupplyEarth, LaptopCharger, []int{2, 3}},
		"supply's earth and bench":  {SupplyEarth, "", []int{3}},
	} {
		truth := bench(t, hummer(func(c *Config) {
			c.Board.Outputs[0].Hum.GroundLoop = &GroundLoop{AmpsRMS: 0.02, ShieldOhms: 0.05, From: loop.from, To: loop.to}
		})).Truth()
		near(t, name+": V = I·R", truth.HumVolts("A", 1), 1e-3, 1e-15)
		for i, c := range all {
			want := 1e-3
			for _, o := range loop.opens {
				if o == i {
					want = 0
				}
			}
			near(t, name+", "+string(c.Change)+" "+c.Subject, under(t, truth, c).HumVolts("A", 1), want, 1e-15)
		}
	}
}

func under(t *testing.T, truth *Truth, c ...capture.Condition) *Truth {
	t.Helper()
	u, err := truth.Under(c...)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// A transformer in the lead leaves E·ωCZ/√(1+(ωCZ)²) of the driving voltage
// E = I·R, and one at the loop's other end the current E·ωC/√(1+(ωRC)²) in the
// shield; one outlet leaves its share. All by hand, at the first and seventh.
func TestResidueOfTheLoop(t *testing.T) {
	const amps, shield, loop, farads, shared = 0.02, 0.05, 2.0, 1e-9, 0.03
	truth := bench(t, hummer(func(c *Config) {
		c.Board.Outputs[0].TerminationOhms = 1200 // with 600 Ω in series: 400 Ω
		c.Board.Outputs[0].Hum.GroundLoop = &GroundLoop{AmpsRMS: amps, ShieldOhms: shield, From: AmplifierAt("B"), To: BenchEarth,
			LoopOhms: loop, IsolatorFarads: farads, SharedShare: shared, Lines: []Harmonic{{1, 1, 0}, {7, 0.5, 1}}}
	})).Truth()
	for n, share := range map[int]float64{1: 1, 7: 0.5} {
		w := 2 * math.Pi * 50 * float64(n)
		near(t, "as found", truth.HumVolts("A", n), share*amps*shield, 1e-15)
		here := share * amps * loop * w * farads * 400 / math.Hypot(1, w*farads*400)
		near(t, "isolated over its formula", under(t, truth, is(capture.OutputIsolated, "A")).HumVolts("A", n)/here, 1, 1e-12)
		there := share * amps * loop * w * farads / math.Hypot(1, w*farads*loop) * shield
		near(t, "isolated at the other end over its formula", under(t, truth, is(capture.OutputIsolated, "B")).HumVolts("A", n)/there, 1, 1e-12)
		near(t, "one outlet", under(t, truth, is(capture.OtherOutlet, "")).HumVolts("A", n), shared*share*amps*shield, 1e-15)
		both := under(t, truth, is(capture.OtherOutlet, ""), is(capture.OutputIsolated, "A"))
		near(t, "both over their formula", both.HumVolts("A", n)/(shared*here), 1, 1e-12)
	}
}

// Induction goes with frequency and with the cosine of the angle, but for the
// upright part; a transformer on the board turns with it.
func TestTurnedInTheField(t *testing.T) {
	field := Magnetic{AmpsRMS: 1, MutualHenrys: 1e-6, AngleDeg: 30, UprightShare: 0.2, Lines: []Harmonic{{1, 1, 0}, {3, 1, 0}}}
	hum := func(from string, c ...capture.Condition) float64 {
		m := field
		m.From = from
		return under(t, bench(t, hummer(func(c *Config) { c.device("fuzz").Hum.Magnetic = &m })).Truth(), c...).HumVolts("A", 3)
	}
	// Behind the buffer 600 Ω into 1 GΩ: nothing is lost.
	found := 2 * math.Pi * 150 * 1e-6 * (0.2 + 0.8*math.Cos(math.Pi/6))
	turned := 2 * math.Pi * 150 * 1e-6 * math.Abs(0.2+0.8*math.Cos(2*math.Pi/3))
	near(t, "as found", hum(""), found, 1e-9*found+1e-9)
	near(t, "turned", hum("", is(capture.BoardTurned, "")), turned, 1e-9)
	near(t, "turned with its transformer", hum(BoardSupply, is(capture.BoardTurned, "")), found, 1e-9)
	near(t, "turned away from its adapter", hum("delay", is(capture.BoardTurned, "")), turned, 1e-9)
	for from, off := range map[string]capture.Condition{BoardSupply: is(capture.OnBattery, ""), "delay": is(capture.SupplyOff, "delay")} {
		near(t, "field of what is off", hum(from, off), 0, 0)
	}
	near(t, "field of another supply", hum("delay", is(capture.SupplyOff, "fuzz")), 0, 0) // the fuzz is passed by
	near(t, "another's supply", hum("", is(capture.SupplyOff, "delay")), found, 1e-9)
	near(t, "on battery, from outside", hum("", is(capture.OnBattery, "")), found, 1e-9)
	near(t, "bypassed", hum("", is(capture.DeviceBypassed, "fuzz")), 0, 0)
}

// What comes in at a device by its supply, at the input, and what conditions
// leave of it, as a share of the hum as found.
func TestPlacesOfHum(t *testing.T) {
	ripple := &Ripple{PeakVolts: 10, ReservoirFarads: 1e-3, LoadAmps: 0.1, RejectionDB: 40}
	electric := &Electric{MainsVoltsRMS: 230, StrayFarads: 1e-12, NodeOhms: 1e6}
	dimmer := &Dimmer{MainsVoltsRMS: 230, FiringDeg: 90, StrayFarads: 1e-12, NodeOhms: 1e6}
	places := map[string]func(c *Config){
		"ripple of the delay":   func(c *Config) { c.device("delay").Hum.Ripple = ripple },
		"ripple of the board":   func(c *Config) { c.Board.Outputs[1].Hum.Ripple = ripple },
		"field at the input":    func(c *Config) { c.Board.InputHum.Electric = electric },
		"field at the fuzz":     func(c *Config) { c.device("fuzz").Hum.Electric = electric },
		"field at the lead":     func(c *Config) { c.Board.Outputs[1].Hum.Electric = electric },
		"dimmer at the input":   func(c *Config) { c.Board.InputHum.Dimmer = dimmer },
		"dimmer at the lead":    func(c *Config) { c.Board.Outputs[1].Hum.Dimmer = dimmer },
		"induction at the plug": func(c *Config) { c.Board.InputHum.Magnetic = &Magnetic{AmpsRMS: 1, MutualHenrys: 1e-6} },
	}
	// 1 MΩ shorted to 0.1 Ω leaves 1e-7·√(1+(ωCR)²): 1.0001e-7 at 50 Hz.
	shorted := 1e-7
	for _, c := range []struct {
		condition capture.Condition
		leaves    map[string]float64 // where it is not 1
	}{
		{is(capture.SupplyOff, "delay"), map[string]float64{"ripple of the delay": 0}},
		{is(capture.OnBattery, "delay"), map[string]float64{"ripple of the delay": 0}},
		{is(capture.DeviceBypassed, "delay"), map[string]float64{"ripple of the delay": 0}},
		{is(capture.DeviceBypassed, "fuzz"), map[string]float64{"field at the fuzz": 0}},
		{is(capture.SupplyOff, "fuzz"), map[string]float64{"field at the fuzz": 0}},
		{is(capture.OnBattery, "fuzz"), nil},
		{is(capture.OnBattery, ""), map[string]float64{"ripple of the delay": 0, "ripple of the board": 0}},
		{is(capture.SupplyOff, ""), map[string]float64{"ripple of the delay": 0, "ripple of the board": 0, "field at the input": 0,
			"field at the fuzz": 0, "dimmer at the input": 0, "induction at the plug": 0}},
		{is(capture.InputShorted, ""), map[string]float64{"field at the input": shorted, "dimmer at the input": shorted, "induction at the plug": 0}},
		{is(capture.LightsOff, ""), map[string]float64{"dimmer at the input": 0, "dimmer at the lead": 0}},
		{is(capture.OutputUnplugged, "B"), nil},
		{is(capture.OutputIsolated, "B"), nil},
		{is(capture.OtherOutlet, ""), nil},
		{is(capture.LaptopOnBattery, ""), nil},
	} {
		for name, add := range places {
			truth := bench(t, hummer(add)).Truth()
			found := truth.HumTotalVolts("B", 2) // the first and second harmonic
			want, changes := c.leaves[name]
			if !changes {
				want = 1
			}
			if !(found > 1e-6) {
				t.Fatalf("%s: hums at %g V as found", name, found)
			}
			got := under(t, truth, c.condition).HumTotalVolts("B", 2) / found
			near(t, name+", "+string(c.condition.Change)+" "+c.condition.Subject, got, want, 1e-12+2e-4*want)
		}
	}
}

// Two devices out at once leave the third, as a search for one device needs.
func TestConditionsTogether(t *testing.T) {
	truth := bench(t, hummer(func(c *Config) {
		for i, name := range []string{"fuzz", "delay"} {
			c.device(name).Hum.Ripple = &Ripple{PeakVolts: 10 * float64(i+1), ReservoirFarads: 1e-3, LoadAmps: 0.1, RejectionDB: 40}
		}
	})).Truth()
	if truth.HumVolts("A", 2) == 0 {
		t.Fatal("no hum as found")
	}
	none := under(t, truth, is(capture.SupplyOff, "fuzz"), is(capture.SupplyOff, "delay"))
	near(t, "both off", none.HumVolts("A", 2), 0, 0)
	near(t, "the truth itself stays", under(t, truth).HumVolts("A", 2), truth.HumVolts("A", 2), 0)
}

// A board without supply passes nothing and is silent but for what its
// resistors make; a shorted input keeps the signal out and leaves the buffer's
// own noise: en² alone, as in and the source's resistance are shorted.
func TestDeadBoardAndShortedInput(t *testing.T) {
	c := bare()
	c.TemperatureK = 300
	c.Board.Source.Ohms = 100e3
	c.Board.Buffer.NoiseVolts, c.Board.Buffer.NoiseAmps = 10e-9, 1e-12
	truth := bench(t, c).Truth()
	fourKT := 4 * 1.380649e-23 * 300
	found := fourKT*100e3 + 1e-16 + 1e-24*1e10
	near(t, "noise as found over its formula", truth.NoiseDensity("A", 1000)/found, 1, 1e-3)
	short := under(t, truth, is(capture.InputShorted, ""))
	near(t, "noise shorted over its formula", short.NoiseDensity("A", 1000)/1e-16, 1, 1e-3)
	near(t, "signal shorted", cmplx.Abs(short.Response("A", 1000)), 0, 0)
	dead := under(t, truth, is(capture.SupplyOff, ""))
	near(t, "signal of a dead board", cmplx.Abs(dead.Response("A", 1000)), 0, 0)
	if n := dead.NoiseDensity("A", 1000); !(n < 1e-20) {
		t.Errorf("a dead board makes %g V²/Hz", n)
	}
	s := bench(t, c)
	sig := toneSignal(t, 48000, -12, 1000)
	for change, want := range map[capture.Change]float64{capture.InputShorted: 0, capture.SupplyOff: 0, "": 1} {
		req := capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Conditions: []capture.Condition{{Change: change}}}
		got, err := s.Record(context.Background(), req)
		if err != nil {
			t.Fatal(err)
		}
		part, first := inBody(sig, got.Samples[1])
		near(t, "tone under "+string(change), cmplx.Abs(lockIn(part, 1000, 48000, first))/math.Pow(10, -0.6), want, 1e-3)
	}
}

// A device that is dead or passed by does nothing to the signal, and its
// capacitance is off the front end only where it is passed by.
func TestDeviceTakenOut(t *testing.T) {
	c := hummer(func(c *Config) {
		c.device("fuzz").Effect, c.device("fuzz").AlwaysOn = Clipper{GainDB: 12}, true
		c.device("fuzz").BypassFarads = 1e-9
		c.Board.Source.Ohms = 10e3
	})
	s := bench(t, c)
	sig := toneSignal(t, 48000, -40, 8000)
	// 10 kΩ into 1 nF loses 0.976 dB at 8 kHz.
	for change, wantDB := range map[capture.Change]float64{capture.SupplyOff: -0.976, capture.DeviceBypassed: 0, capture.OnBattery: 12 - 0.976} {
		got, err := s.Record(context.Background(), capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1},
			Conditions: []capture.Condition{is(change, "fuzz")}})
		if err != nil {
			t.Fatal(err)
		}
		part, first := inBody(sig, got.Samples[0])
		near(t, "gain in dB under "+string(change), gainOf(lockIn(part, 8000, 48000, first))+40, wantDB, 0.02)
	}
	truth := s.Truth()
	// 10 kΩ into 1 nF: half the power at 15.9 kHz.
	loss := func(t *Truth) float64 { return gainOf(t.Response("A", 1/(2*math.Pi*10e3*1e-9))) }
	near(t, "loss dead", loss(under(t, truth, is(capture.SupplyOff, "fuzz"))), -3.0103, 1e-3)
	near(t, "loss passed by", loss(under(t, truth, is(capture.DeviceBypassed, "fuzz"))), 0, 1e-3)
}

func TestConditionsWithoutSubject(t *testing.T) {
	s := bench(t, mustReady(t, "good"))
	sig := silence(t, 48000, 1)
	for want, c := range map[string]capture.Condition{
		`no output "C", it has ["A" "B"]`:          is(capture.OutputUnplugged, "C"),
		`condition "output isolated"`:              is(capture.OutputIsolated, ""),
		`no device "drive", it has fuzz, boost`:    is(capture.SupplyOff, "drive"),
		`condition "on battery": the simulated bo`: is(capture.OnBattery, "drive"),
		`no device "", it has`:                     is(capture.DeviceBypassed, ""),
	} {
		got, err := s.Record(context.Background(), capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1}, Conditions: []capture.Condition{c}})
		if got != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error is %v, want one with %s", err, want)
		}
		if _, err := s.Truth().Under(c); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error of the truth is %v, want one with %s", err, want)
		}
	}
	if got := take(t, s, sig, capture.ToBoard, ""); got == nil {
		t.Error("no take after conditions were refused")
	}
}

// What is recorded of each ready board under a condition is what the truth
// under it says, harmonic by harmonic, and as found again afterwards.
func TestRecordedUnderConditions(t *testing.T) {
	if testing.Short() {
		t.Skip("takes of every ready board")
	}
	sig := silence(t, 48000, 1.2)
	for name, conditions := range map[string][]capture.Condition{
		"ground-loop":   {is(capture.OtherOutlet, ""), is(capture.OutputIsolated, "B")},
		"supply-ripple": {is(capture.DeviceBypassed, "fuzz"), is(capture.SupplyOff, "delay"), {}},
		"dimmer":        {is(capture.LightsOff, ""), {}},
		"open-shield":   {is(capture.InputShorted, ""), {}},
		"stray-field":   {is(capture.BoardTurned, ""), {}},
		"laptop":        {is(capture.LaptopOnBattery, "")},
	} {
		c := mustReady(t, name)
		c.Interface.CrosstalkFarads = 0
		c.TemperatureK, c.Mains = 0, Mains{StartHz: 50}
		c.Interface.OutputNoiseDBu, c.Board.Buffer.NoiseVolts, c.Board.Buffer.NoiseAmps = -300, 0, 0
		for i := range c.Interface.Inputs {
			c.Interface.Inputs[i].NoiseDBu = -300
		}
		s := bench(t, c)
		for _, cond := range conditions {
			got, err := s.Record(context.Background(), capture.Request{Signal: sig, Outputs: []int{1}, Inputs: []int{1, 2}, Conditions: []capture.Condition{cond}})
			if err != nil {
				t.Fatal(err)
			}
			truth := under(t, s.Truth(), cond)
			for ch := range got.Samples {
				want := truth.RecordedHumVolts(capture.ToBoard, ch+1)
				peak, in := volts(truth.InputFullScaleDBu(ch+1)), &c.Interface.Inputs[ch]
				x := got.Samples[ch][sig.Body.Start+4800:][:48000]
				for _, n := range []int{1, 2, 3, 4, 7, 19, 21} { // none on a clock's line
					f := 50 * float64(n)
					v := cmplx.Abs(lockIn(x, f, 48000, 0)) * peak / cmplx.Abs(in.response(f, 48000))
					near(t, name+", "+string(cond.Change), v, want[n], 50e-9+1e-5*want[n])
				}
			}
		}
	}
}

// The ready boards hum as they say, and what cures each does.
func TestReadyBoardsAreCured(t *testing.T) {
	for name, cure := range map[string]capture.Condition{
		"ground-loop": is(capture.OutputIsolated, "B"), "supply-ripple": is(capture.OnBattery, "delay"), "dimmer": is(capture.LightsOff, ""),
		"open-shield": is(capture.InputShorted, ""), "stray-field": is(capture.DeviceBypassed, "fuzz"), "whine": is(capture.SupplyOff, "chorus"),
	} {
		truth := bench(t, mustReady(t, name)).Truth()
		loud := func(tr *Truth) float64 {
			sum := math.Pow(tr.HumTotalVolts("B", maxHarmonic), 2)
			for _, tone := range tr.Tones("B") {
				sum += tone.VoltsRMS * tone.VoltsRMS
			}
			return 10 * math.Log10(sum/0.6)
		}
		if found, cured := loud(truth), loud(under(t, truth, cure)); !(found > -83 && cured < found-15) {
			t.Errorf("%s: %.1f dBu as found, %.1f dBu with %q", name, found, cured, cure)
		}
	}
	truth := bench(t, mustReady(t, "laptop")).Truth()
	if n := len(truth.RecordedTones(capture.Terminated, 1)); n < 20 {
		t.Errorf("the laptop has %d lines with the inputs terminated", n)
	}
	on := under(t, truth, is(capture.LaptopOnBattery, ""))
	near(t, "lines that the charger had", float64(len(truth.RecordedTones(capture.ToBoard, 2))-len(on.RecordedTones(capture.ToBoard, 2))), 1, 0)
	near(t, "its hum", truth.RecordedHumVolts(capture.Loopback, 1)[5]-on.RecordedHumVolts(capture.Loopback, 1)[5], 4e-6, 1e-7)
}
