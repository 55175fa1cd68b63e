package instrumenttest

import (
	"context"
	"strings"
	"testing"

	"boardproof/capture"
	"boardproof/testsignals"
)

// testRefusals asks for what no instrument can do. Each refusal must say
// what is wrong in words that name it.
func testRefusals(t *testing.T, f *fixture) {
	d := f.inst.Describe()
	cases := []struct {
		name    string
		change  func(*capture.Request)
		mention string
		plays   bool
	}{
		{"no signal", func(r *capture.Request) { r.Signal = nil }, "signal", true},
		{"no input", func(r *capture.Request) { r.Inputs = nil }, "input", false},
		{"input 0", func(r *capture.Request) { r.Inputs = []int{0} }, "input", false},
		{"an input that is not there", func(r *capture.Request) { r.Inputs = []int{1, d.Inputs + 1} }, "input", false},
		{"no output", func(r *capture.Request) { r.Outputs = nil }, "output", true},
		{"output 0", func(r *capture.Request) { r.Outputs = []int{0} }, "output", true},
		{"an output that is not there", func(r *capture.Request) { r.Outputs = []int{d.Outputs + 1} }, "output", true},
		{"a signal for another rate", func(r *capture.Request) { r.Signal = otherRate(t, d.RateHz) }, "Hz", false},
	}
	for _, c := range cases {
		if c.plays && f.opts.Playback {
			continue
		}
		req := f.req
		c.change(&req)
		take, err := f.inst.Record(context.Background(), req)
		switch {
		case take != nil:
			t.Errorf("%s: Record returned a take", c.name)
		case err == nil:
			t.Errorf("%s: Record returned neither a take nor an error", c.name)
		case !strings.Contains(err.Error(), c.mention):
			t.Errorf("%s: the error %q does not mention %q", c.name, err, c.mention)
		case strings.Contains(err.Error(), "\n"):
			t.Errorf("%s: the error %q is more than one line", c.name, err)
		}
	}
	f.checkTake(t, f.record(t))
}

func otherRate(t *testing.T, rateHz int) *testsignals.Signal {
	if rateHz == 96000 {
		return shortTone(t, 48000)
	}
	return shortTone(t, 96000)
}
