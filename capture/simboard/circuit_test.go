package simboard

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// First-order low-pass: -3.01 dB and -45° at 1/(2πRC); 10 kΩ into 1 nF:
// 15.915 kHz. Circuit theory, figure from shared/reference/README.md.
func TestSourceIntoCableIsFirstOrder(t *testing.T) {
	c := bare()
	c.Board.Source.Ohms, c.Board.CableFarads = 10e3, 1e-9
	h := bench(t, c).Truth().Response("A", 15915.494)
	near(t, "loss in dB", gainOf(h), -3.0103, 2e-4) // 10 kΩ against the 1 GΩ of the bare buffer: 1e-4 dB
	near(t, "phase in degrees", cmplx.Phase(h)*180/math.Pi, -45, 1e-3)
	_, corner := bench(t, c).Truth().CornersHz("A")
	// At 1 kHz it is a little down already: f² = fc²·(1 + 2·(1 kHz)²/fc²).
	near(t, "corner in Hz", corner, 15915.494*math.Sqrt(1+2/15.915494/15.915494), 0.5)
}

// Series R-L-C: resonance 1/(2π√(LC)), where the phase is -90°; 3 H and
// 180 pF of winding plus 500 pF of cable: 3.524 kHz. Circuit theory, figure
// from shared/reference/README.md.
func TestPickupResonance(t *testing.T) {
	c := bare()
	c.Board.Source = Source{Ohms: 8e3, Henrys: 3, Farads: 180e-12}
	c.Board.CableFarads = 500e-12
	h := bench(t, c).Truth().Response("A", 3523.76)
	near(t, "phase in degrees", cmplx.Phase(h)*180/math.Pi, -90, 0.01)
	q := 2 * math.Pi * 3523.76 * 3 / 8e3
	near(t, "peak over direct", cmplx.Abs(h), q, 0.001*q)
}

// √(4kTRB): 10 kΩ at 290 K over 20 kHz gives 1.79 µV, -112.7 dBu (figures
// from shared/reference/README.md).
func TestThermalNoise(t *testing.T) {
	c := bare()
	c.TemperatureK, c.Board.Source.Ohms = 290, 10e3
	v := math.Sqrt(bench(t, c).Truth().NoiseDensity("A", 1000) * 20000)
	near(t, "µV", v*1e6, 1.79, 0.005)
	near(t, "dBu", dBu(v), -112.7, 0.05)
}

// A transformer with its secondary shorted shows its leakage at the primary,
// and open it shows the primary inductance: the definitions of both.
func TestTransformerInductances(t *testing.T) {
	tr := Transformer{PrimaryHenrys: 40, LeakageHenrys: 0.004, TurnsRatio: 0.7}
	for _, x := range []struct{ loadOhms, henrys float64 }{{1e-6, 0.004}, {1e12, 40}} {
		c := newCircuit()
		p, q := c.node(), c.node()
		c.transformers = []coupled{tr.coupled(p, q)}
		c.add(driven, p, 1e15, 0, 0)
		c.shunt(q, x.loadOhms, 0)
		_, z := c.solve(complex(0, 2*math.Pi*1000), []int{p})
		near(t, "inductance over nominal", imag(z[0][p])/(2*math.Pi*1000)/x.henrys, 1, 1e-5)
	}
}

// The ladder against ngspice's AC and noise analyses (Debian's ngspice) of a
// netlist written from the same elements: 1e-6 relative.
func TestLadderAgreesWithNgspice(t *testing.T) {
	if _, err := exec.LookPath("ngspice"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("ngspice is not installed")
		}
		t.Skip("ngspice is not installed")
	}
	boards := map[string]Config{"random": Random(rand.New(rand.NewPCG(3, 4)))}
	boards["random"].Board.Outputs[1].Transformer = &Transformer{PrimaryHenrys: 12, LeakageHenrys: 8e-3, PrimaryOhms: 80,
		SecondaryOhms: 90, WindingFarads: 200e-12, InterwindingFarads: 100e-12, TurnsRatio: 1.4, Reversed: true}
	for _, name := range []string{"good", "dull", "flipped-split"} {
		c, err := Ready(name)
		if err != nil {
			t.Fatal(err)
		}
		boards[name] = c
	}
	pickup := boards["good"]
	pickup.Board.Source = Source{Ohms: 7e3, Henrys: 3, Farads: 150e-12}
	boards["pickup"] = pickup
	worst, worstNoise := 0.0, 0.0
	for name, c := range boards {
		// What ngspice does not have: the buffer's and the converter's noise.
		c.Interface.OutputNoiseDBu, c.Board.Buffer.NoiseVolts, c.Board.Buffer.NoiseAmps = -300, 0, 0
		truth := bench(t, c).Truth()
		l := newLadder(&c, c.boardInputs(""))
		for i, o := range c.Board.Outputs {
			ac, noise := l.ngspice(t, l.outs[i])
			for _, row := range ac {
				want := complex(row[1], row[2])
				d := cmplx.Abs(truth.Response(o.Name, row[0])-want) / cmplx.Abs(want)
				worst = math.Max(worst, d)
				if !(d < 1e-6) {
					t.Errorf("%s, output %s, %g Hz: response off by %.2g of itself", name, o.Name, row[0], d)
				}
			}
			for _, row := range noise {
				d := math.Abs(truth.NoiseDensity(o.Name, row[0])/(row[1]*row[1]) - 1)
				worstNoise = math.Max(worstNoise, d)
				// ngspice rounds k: it differs by 3.5e-7 of itself everywhere.
				if !(d < 1e-6) {
					t.Errorf("%s, output %s, %g Hz: noise density off by %.2g of itself", name, o.Name, row[0], d)
				}
			}
		}
	}
	t.Logf("worst deviation from ngspice: response %.2g, noise density %.2g of themselves", worst, worstNoise)
}

// ngspice runs AC and noise analyses at an output: rows of frequency, real
// and imaginary part, and rows of frequency and V/√Hz.
func (l *ladder) ngspice(t *testing.T, out int) (ac, noise [][]float64) {
	t.Helper()
	dir := t.TempDir()
	var n strings.Builder
	fmt.Fprintf(&n, "ladder\nV1 f1 0 DC 0 AC 1\n")
	writeNetlist(&n, "f", &l.front)
	fmt.Fprintf(&n, "E1 b1 0 f%d 0 %.17g\n", l.bufferIn, l.cfg.Board.Buffer.Gain)
	writeNetlist(&n, "b", &l.back)
	fmt.Fprintf(&n, `.options temp=%.10g reltol=1e-9
.control
set numdgt=14
ac dec 6 1 200k
wrdata ac.data v(b%d)
noise v(b%d) V1 dec 6 1 200k
setplot noise1
wrdata noise.data onoise_spectrum
quit 0
.endc
.end
`, l.cfg.TemperatureK-273.15, out, out)
	if err := os.WriteFile(filepath.Join(dir, "ladder.cir"), []byte(n.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("ngspice", "-b", "ladder.cir")
	cmd.Dir = dir
	if log, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ngspice: %v\n%s", err, log)
	}
	return readColumns(t, filepath.Join(dir, "ac.data"), 3), readColumns(t, filepath.Join(dir, "noise.data"), 2)
}

// writeNetlist writes the elements of c, node i of which is called prefix+i.
func writeNetlist(n *strings.Builder, prefix string, c *circuit) {
	node := func(i int) string {
		if i == ground {
			return "0"
		}
		return prefix + strconv.Itoa(i)
	}
	for i, b := range c.branches {
		at := node(b.a)
		parts := 0
		for _, e := range []struct {
			letter string
			value  float64
		}{{"R", b.ohms}, {"L", b.henrys}, {"C", b.farads}} {
			if e.value == 0 {
				continue
			}
			parts++
			next := fmt.Sprintf("%sx%dx%d", prefix, i, parts)
			if e.letter == "C" || e.letter == "L" && b.farads == 0 || e.letter == "R" && b.henrys == 0 && b.farads == 0 {
				next = node(b.b)
			}
			fmt.Fprintf(n, "%s%s%dx%d %s %s %.17g\n", e.letter, prefix, i, parts, at, next, e.value)
			at = next
		}
	}
	for i, x := range c.transformers {
		q, r := node(x.q), "0"
		if x.mutual < 0 {
			q, r = r, q
		}
		k := math.Abs(x.mutual) / math.Sqrt(x.selfP*x.selfQ)
		fmt.Fprintf(n, "L%sp%d %s 0 %.17g\nL%sq%d %s %s %.17g\nK%s%d L%sp%d L%sq%d %.17g\n",
			prefix, i, node(x.p), x.selfP, prefix, i, q, r, x.selfQ, prefix, i, prefix, i, prefix, i, k)
	}
}

func readColumns(t *testing.T, path string, columns int) [][]float64 {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var rows [][]float64
	for line := range strings.Lines(string(text)) {
		var row []float64
		for _, f := range strings.Fields(line) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			row = append(row, v)
		}
		if len(row) != columns {
			t.Fatalf("%s: row of %d columns, want %d", path, len(row), columns)
		}
		rows = append(rows, row)
	}
	if len(rows) < 20 {
		t.Fatalf("%s: only %d rows", path, len(rows))
	}
	return rows
}

// The panels that takes are made with against the ladder itself, a resonant
// pickup included.
func TestInterpolationIsExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range 6 {
		c := Random(rng)
		if i%2 == 0 {
			c.Board.Source = Source{Ohms: 2e3, Henrys: 4, Farads: 100e-12}
		}
		l := newLadder(&c, c.boardInputs(""))
		const bins = 20000
		step := 24000.0 / bins
		l.interpolate(24000).each(bins+1, step, func(k int, p *panel, x float64) {
			if k == 0 || k%37 != 0 && k > 100 && k < bins-50 {
				return
			}
			want := l.at(float64(k) * step)
			closeTo(t, k, p.complexAt(0, x), want.front)
			closeTo(t, k, complex(p.realAt(0, x), 0), complex(want.frontNoise, 0))
			for o := range want.back {
				closeTo(t, k, p.complexAt(1+o, x), want.back[o])
				closeTo(t, k, complex(p.realAt(1+o, x), 0), complex(want.backNoise[o], 0))
			}
		})
	}
}

func closeTo(t *testing.T, k int, got, want complex128) {
	t.Helper()
	if d := cmplx.Abs(got-want) / cmplx.Abs(want); !(d < 1e-8) {
		t.Errorf("bin %d: off by %.2g of itself", k, d)
	}
}
