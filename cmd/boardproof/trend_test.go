package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/change"
	"boardproof/capture/simboard"
)

const tonePlan = `format = "boardproof-plan/1"
name = "tone"
rule = "guarded"
[[step]]
name = "tone"
state = "all bypassed"
patch = "board"
signals = ["tone"]
duration_s = 1.0
level_dbu = -10.0
limit = [{ quantity = "gain", min = -3.0, max = 1.0 }]
`

// Output A's input of the bench loses 0.003 dB from one run to the next, the
// board at output B 0.02 dB: each drifts, and each is told from the other.
func TestTrendTellsTheBenchFromTheBoard(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board five times")
	}
	s := newSession(t)
	plan := filepath.Join(t.TempDir(), "plan.toml")
	if err := os.WriteFile(plan, []byte(tonePlan), 0o600); err != nil {
		t.Fatal(err)
	}
	s.must(exitPassed, "bench", "set", "sim", "--simulated")
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false", "--valid-days", "3000")
	s.must(exitPassed, "board", "add", "Tin Heron")
	s.must(exitPassed, "plan", "edit", "tin", "--from", plan)
	for i := range 5 {
		s.bench = func(c *simboard.Config) {
			c.Seed = uint64(10 + i)
			c.Interface.Inputs[0].FullScaleDBu += 0.003 * float64(i)
			c.Board.Outputs[1].Transformer.TurnsRatio *= math.Pow(10, -0.02*float64(i)/20)
		}
		s.must(exitPassed, "accept", "tin", "--yes")
		s.now = s.now.Add(180 * 24 * time.Hour)
	}
	drawn := t.TempDir()
	s.must(exitPassed, "trend", "tin", "gain", "--plots", drawn)
	said := strings.Join(strings.Fields(s.out), " ")
	for _, want := range []string{"SIMULATED", "as delivered", "DRIFTS: −0.00573", "This may be the bench and not the board",
		"DRIFTS: −0.03888", "checks in this time do not drift that way"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not in:\n%s", want, s.out)
		}
	}
	if to := os.Getenv("COMPARE_KEEP"); to != "" {
		if err := os.CopyFS(to, os.DirFS(drawn)); err != nil {
			t.Error(err)
		}
		t.Log(s.out)
	}
	s.must(exitPassed, "trend", "--bench", "sim", "bench_gain_drift", "--output", "A", "--json")
	var d struct {
		Of     string
		Series []struct {
			Points []struct {
				Run, Board string
				Value      float64
			}
			Trend *change.Trend
			Chart *change.Chart
		}
	}
	if err := json.Unmarshal([]byte(s.out), &d); err != nil {
		t.Fatalf("%v: %s", err, s.out)
	}
	if len(d.Series) != 1 || len(d.Series[0].Points) != 5 || d.Series[0].Chart == nil || d.Series[0].Trend == nil || !d.Series[0].Trend.Drifts ||
		d.Series[0].Points[4].Board != "Tin Heron" || math.Abs(d.Series[0].Points[4].Value+0.012) > 0.001 {
		t.Errorf("%+v", d)
	}
	s.must(exitPassed, "trend", "--bench", "sim", "bench_gain_drift", "--output", "A", "--json", "--runs", "2")
	latest := d.Series[0].Points[3:]
	if err := json.Unmarshal([]byte(s.out), &d); err != nil || len(d.Series[0].Points) != 2 || d.Series[0].Points[0] != latest[0] {
		t.Errorf("of the latest two runs: %v: %s", err, s.out)
	}
	s.must(exitPassed, "trend", "--bench", "sim", "bench_gain_drift")
	if !strings.Contains(s.out, "control limits") || !strings.Contains(s.out, "Tin Heron") {
		t.Errorf("the chart:\n%s", s.out)
	}
	s.must(exitWrongUse, "trend", "tin", "gian")
	if !strings.Contains(s.err, `there is no reading of "gian": there is bench_gain_drift`) {
		t.Error(s.err)
	}
	s.must(exitWrongUse, "trend", "tin", "gain", "--output", "C")
	s.must(exitWrongUse, "trend", "tin")
}
