package hunt_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"boardproof/analysis"
	"boardproof/analysis/hunt"
)

// searchFor plays a search to its end against levels in volts by device, each
// at a phase of its own, over a background.
func searchFor(t interface{ Fatalf(string, ...any) }, devices []string, volts map[string]complex128, background float64) (found, reason string, takes int) {
	var history []hunt.SearchTake
	for range 3*len(devices) + 8 {
		step, found, reason := hunt.NextSearch(devices, history)
		if step == nil {
			return found, reason, len(history)
		}
		sum := complex(background, 0)
		for _, d := range step.On {
			sum += volts[d]
		}
		rms := math.Hypot(real(sum), imag(sum))
		history = append(history, hunt.SearchTake{On: step.On, RMS: analysis.Estimate{Value: rms, Std: 0.01 * rms}})
	}
	t.Fatalf("the search among %d devices does not end", len(devices))
	return "", "", 0
}

func chain(n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf("device %d", i+1))
	}
	return out
}

func TestOneDeviceIsFoundInLog2PlusThree(t *testing.T) {
	most := 0
	for n := 1; n <= 33; n++ {
		devices := chain(n)
		for _, culprit := range devices {
			volts := map[string]complex128{culprit: complex(1e-3, 0)}
			for i, d := range devices {
				volts[d] += complex(0, 1e-5*float64(i%3))
			}
			found, reason, takes := searchFor(t, devices, volts, 1e-5)
			limit := int(math.Ceil(math.Log2(float64(n)))) + 3
			most = max(most, takes-limit)
			if found != culprit || takes > limit {
				t.Errorf("%d devices, culprit %s: found %q in %d takes, not %d: %s", n, culprit, found, takes, limit, reason)
			}
		}
	}
	t.Logf("at most %d takes over ceil(log2 n)+3", most)
}

func TestTwoAlikeAreNotTakenForOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 16).Draw(t, "devices")
		devices := chain(n)
		i := rapid.IntRange(0, n-1).Draw(t, "first")
		j := rapid.IntRange(0, n-1).Filter(func(j int) bool { return j != i }).Draw(t, "second")
		// In quadrature: each alone is 3 dB under both.
		found, reason, _ := searchFor(t, devices, map[string]complex128{devices[i]: 1e-3, devices[j]: 1e-3i}, 1e-6)
		if !strings.Contains(found, devices[i]) || !strings.Contains(found, devices[j]) || !strings.Contains(reason, "each by itself") {
			t.Fatalf("%s and %s of %d: found %q, %s", devices[i], devices[j], n, found, reason)
		}
	})
}

func TestHumThatNoDeviceBringsIsSaidToBe(t *testing.T) {
	found, reason, _ := searchFor(t, chain(6), nil, 1e-3)
	if found != "" || !strings.Contains(reason, "none of them") {
		t.Errorf("found %q: %s", found, reason)
	}
}

func TestASearchStepNeverAsksForWhatIsKnown(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		devices := chain(rapid.IntRange(0, 9).Draw(t, "devices"))
		var history []hunt.SearchTake
		for range 40 {
			step, found, reason := hunt.NextSearch(devices, history)
			if step == nil {
				if reason == "" {
					t.Fatal("no reason")
				}
				return
			}
			if found != "" {
				t.Fatalf("found %q and still asks for %v", found, step.On)
			}
			for _, h := range history {
				if slices.Equal(h.On, step.On) {
					t.Fatalf("asks twice for %v", step.On)
				}
			}
			history = append(history, hunt.SearchTake{On: step.On,
				RMS:        analysis.Estimate{Value: rapid.Float64Range(0, 1e-2).Draw(t, "volts")},
				UpperBound: rapid.Bool().Draw(t, "bound")})
		}
		t.Fatal("does not end")
	})
}

// Two that hum only while both are on, as two supplies round one loop do, are
// found together.
func TestAPairThatActsTogetherIsFound(t *testing.T) {
	for n := 3; n <= 12; n += 3 {
		devices := chain(n)
		var history []hunt.SearchTake
		for range 5 * n {
			step, found, reason := hunt.NextSearch(devices, history)
			if step == nil {
				if found != "device 1 and device 3" {
					t.Errorf("of %d: found %q: %s", n, found, reason)
				}
				break
			}
			rms := 1e-6
			if slices.Contains(step.On, "device 1") && slices.Contains(step.On, "device 3") {
				rms = 1e-3
			}
			history = append(history, hunt.SearchTake{On: step.On, RMS: analysis.Estimate{Value: rms, Std: 0.01 * rms}})
		}
	}
}
