package analysis

import (
	"fmt"
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
