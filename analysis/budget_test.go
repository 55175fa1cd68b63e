package analysis

import (
	"math"
	"math/rand/v2"
	"testing"
)

// An interval of 95.45 % of a single rectangular distribution is 0.9545 of its
// limits, of a normal one ±2 standard uncertainties, and of two rectangular
// ones alike (a triangle) 1 − √0.0455 of its limits: closed forms.
func TestExpandedInClosedForm(t *testing.T) {
	p := math.Erf(math.Sqrt2)
	for name, c := range map[string]struct {
		b         Budget
		want, off float64
	}{
		"nothing":       {nil, 0, 0},
		"normal":        {Budget{typeA("a", 3), typeB("b", 4)}, 10, 1e-9},
		"rectangular":   {Budget{evenly("a", 1)}, p * math.Sqrt(3), 1e-9},
		"two alike":     {Budget{evenly("a", 1), evenly("b", 1)}, (1 - math.Sqrt(1-p)) * 2 * math.Sqrt(3), 0.014 * 2.7},
		"hardly a rest": {Budget{evenly("a", 1), typeA("b", 1e-4)}, p * math.Sqrt(3), 1e-6},
	} {
		got := c.b.Expanded()
		if got < c.want-1e-6 || got > c.want+c.off+1e-9 {
			t.Errorf("%s: expanded to %.6f, want %.6f and at most %.2g more", name, got, c.want, c.off)
		}
	}
}

// Propagation of distributions (JCGM 101:2008, 7): the interval must hold
// 95.45 % of a million draws, whatever the share of the rectangular part.
func TestExpandedHoldsWhatIsDrawn(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const draws = 1000000
	for _, normal := range []float64{0.05, 0.3, 0.7, 1, 2, 5} {
		b := Budget{evenly("a", 1), typeA("b", normal)}
		u, inside := b.Expanded(), 0
		for range draws {
			x := math.Sqrt(3)*(2*rng.Float64()-1) + normal*rng.NormFloat64()
			if math.Abs(x) <= u {
				inside++
			}
		}
		// Five standard deviations of a share of 0.9545 in a million.
		if share := float64(inside) / draws; math.Abs(share-0.9545) > 5*2.1e-4 {
			t.Errorf("with a normal part of %g the interval holds %.4f, want 0.9545", normal, share)
		}
	}
}

// What points share must not take from what they do not: the parts of the
// expanded uncertainty that are left for a difference must cover it.
func TestSharedUncertaintyLeavesTheRest(t *testing.T) {
	for _, noise := range []float64{0.01, 0.1, 1} {
		m := Magnitude{DB: make([]float64, 2), parts: []part{{source: "noise", kind: "A", std: []float64{noise, 2 * noise}}}}
		m.addShared(evenly("loading", 0.5))
		u := m.expanded()
		shared := m.sharedExpanded(u)
		for i := range u {
			if left := math.Sqrt(sq(u[i]) - sq(shared)); left < CoverageK*m.parts[0].std[i]*(1-1e-9) {
				t.Errorf("noise of %g: %.4g is left of point %d, its own is %.4g", noise, left, i, CoverageK*m.parts[0].std[i])
			}
		}
		if shared > CoverageK*0.5 || noise < 0.1 && shared < 0.5*1.6 {
			t.Errorf("noise of %g: %.4g is shared of a loading of standard uncertainty 0.5", noise, shared)
		}
	}
}

// What a gate does to a loopback it does again at the next calibration, its noise is new:
// the budget has them apart, of a match of two inputs each once for each.
func TestLoopbacksGateIsApartFromItsNoise(t *testing.T) {
	const noise = 3e-6
	grid := []float64{40, 1000}
	loop := func() BenchInput {
		tr := Transfer{FrequencyHz: grid, Re: []float64{1, 1}, Im: []float64{0, 0}}
		for _, f := range grid {
			tr.RelStd = append(tr.RelStd, Hypot(noise, gateRelStdAt(f)))
		}
		return BenchInput{Loopback: &tr}
	}
	both, err := benchRatio(loop(), loop())
	if err != nil {
		t.Fatal(err)
	}
	for inputs, b := range map[float64]BenchInput{1: loop(), 2: both} {
		m := Magnitude{FrequencyHz: grid, DB: []float64{0, 0}}
		b.addTo(&m)
		for i, f := range grid {
			want := Budget{typeB(sourceLoopNoise, DBFromRelative(noise*math.Sqrt(inputs))), typeB(sourceLoopGate, DBFromRelative(gateRelStdAt(f)*math.Sqrt(inputs)))}
			got := m.Budget(i)
			for j, c := range want {
				if len(got) != 2 || got[j].Source != c.Source || math.Abs(got[j].Std/c.Std-1) > 1e-6 {
					t.Errorf("%g inputs at %g Hz: %+v, want %+v", inputs, f, got, want)
					break
				}
			}
		}
		if u := m.expandedOf(sourceLoopNoise); math.Abs(u[0]/(CoverageK*DBFromRelative(noise*math.Sqrt(inputs)))-1) > 1e-6 {
			t.Errorf("%g inputs: the curve's part of the calibration's noise is %g", inputs, u[0])
		}
	}
	if u := (Magnitude{}).expandedOf(sourceLoopNoise); u != nil {
		t.Errorf("without a loopback: %v", u)
	}
}
