package analysis

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// A board that is late, as one with a digital device in it is by milliseconds, has the
// same gain at all times: nothing changes while the sweep runs, and its pilots fade as
// late as they come. The truth is the delay theorem.
func TestLateBoardsDoNotChangeInTime(t *testing.T) {
	for _, lateS := range []float64{120e-6, 1.3e-3, 6e-3} {
		t.Run(fmt.Sprint(lateS), func(t *testing.T) {
			t.Parallel()
			rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2.5), 1e-5, 6, gainOf(1), chain(gainOf(-0.5), delayed(lateS)))
			res, err := SweepResult(rec, nil, DefaultBand)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range res.Refused {
				// A straight phase that turns more than once from point to point has no
				// certain sign.
				if strings.HasPrefix(r.Quantity, Polarity) && lateS > 3e-3 {
					continue
				}
				t.Errorf("%s at %s is refused: %s", r.Quantity, r.Output, r.Reason)
			}
			for _, c := range res.Curves {
				if c.Quantity != Response || c.Output != "B" {
					continue
				}
				for i, f := range c.FrequencyHz {
					if f > 30 && f < 20000 && c.Uncertainty[i] > 0.02 {
						t.Errorf("the response at %.0f Hz is uncertain by %.3f dB", f, c.Uncertainty[i])
					}
				}
			}
		})
	}
}

// Filters that ring, and one that takes a pilot away, do not change in time either: none
// is refused, and where the board passes the signal its curve is the closed form.
func TestFiltersDoNotChangeInTime(t *testing.T) {
	base := chain(highPass(12), lowPass(18000))
	for what, h := range map[string]func(float64) complex128{
		"notch on a pilot, Q 30":     notchOf(625, 30, 0.01),
		"notch on a pilot, Q 10":     notchOf(2075, 10, 0.01),
		"peak of 20 dB on a pilot":   notchOf(625, 12, 10),
		"peak of 32 dB, Q 30":        notchOf(625, 30, 40),
		"parked wah on a pilot":      bandPassOf(625, 8),
		"sharp band-pass on a pilot": bandPassOf(5375, 20),
		"comb of 3 ms":               combOf(3e-3, 0.5),
		"four low-passes":            chain(lowPass(2000), lowPass(2000), lowPass(2000), lowPass(2000)),
		"three high-passes":          chain(highPass(8000), highPass(8000), highPass(8000)),
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			board := chain(base, h)
			res, err := SweepResult(recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 5), 1e-4, 6, board), nil, DefaultBand)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range res.Refused {
				if r.Quantity == Response {
					t.Errorf("refused: %s", r.Reason)
				}
			}
			for _, c := range res.Curves {
				for i, f := range c.FrequencyHz {
					if c.Quantity != Response || at(c.UpperBound, i) {
						continue
					}
					// Of 240 points one in twenty is beyond U, at 2 U hardly any.
					if off := math.Abs(c.Value[i] - DB(cmplx.Abs(board(f)))); c.Uncertainty[i] < 0.1 && off > 2*c.Uncertainty[i]+0.002 {
						t.Errorf("%.0f Hz: off by %.4f dB, stated %.4f", f, off, c.Uncertainty[i])
					}
				}
			}
		})
	}
}

// Outputs as far apart as a response is read are one board's: the truth is the delay.
func TestOutputsFarApart(t *testing.T) {
	rec := recorded(t, testsignals.New(testsignals.Sweep, 48000, -12, 2.5), 1e-5, 6, gainOf(1), chain(gainOf(-0.5), delayed(60e-3)))
	res, err := SweepResult(rec, nil, DefaultBand)
	if err != nil || len(res.Refused) > 0 {
		t.Fatal(err, res.Refused)
	}
	for _, r := range res.Readings {
		if want := map[string]float64{LevelMatch: DB(0.5), DelayMatch: 60e3, PolarityMatch: -1}; want[r.Quantity] != 0 && math.Abs(r.Value-want[r.Quantity]) > 2*r.Uncertainty+1e-9 {
			t.Errorf("%s %.6f ± %.6f, want %.6f", r.Quantity, r.Value, r.Uncertainty, want[r.Quantity])
		}
	}
}
