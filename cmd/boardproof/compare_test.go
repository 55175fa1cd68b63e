package main

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"boardproof/analysis/change"
	"boardproof/capture/simboard"
)

const servicePlan = `format = "boardproof-plan/1"
name = "service"
rule = "guarded"
[[step]]
name = "path"
state = "all bypassed"
patch = "board"
signals = ["sweep"]
level_dbu = -10.0
limit = [{ quantity = "gain", min = -6.0, max = 6.0 }]
[[step]]
name = "silence"
state = "all bypassed"
patch = "board"
signals = ["silence"]
duration_s = 4.0
level_dbu = -10.0
limit = [{ quantity = "noise", weighting = "A", max = -60.0 }]
[[step]]
name = "joints flexed"
state = "all bypassed"
patch = "board"
signals = ["tone"]
duration_s = 5.0
level_dbu = -10.0
limit = [{ quantity = "drop_outs", max = 0 }]
`

// A board is delivered, comes back after two years with long leads ahead of
// its buffer, a corroded joint in output A and a loop of earths at output B,
// and the comparison says so.
func TestCompareOfADamagedBoard(t *testing.T) {
	if testing.Short() {
		t.Skip("accepts a board three times")
	}
	s := calibrated(t, "--linearity=false")
	plan := filepath.Join(t.TempDir(), "plan.toml")
	if err := os.WriteFile(plan, []byte(servicePlan), 0o600); err != nil {
		t.Fatal(err)
	}
	s.must(exitPassed, "board", "add", "Lantern Ferry")
	s.must(exitPassed, "plan", "edit", "lantern", "--from", plan)
	s.must(exitPassed, "accept", "lantern", "--yes")
	s.must(exitWrongUse, "compare", "lantern")
	if !strings.Contains(s.err, "has only run") {
		t.Errorf("said %q", s.err)
	}
	s.now = s.now.Add(300 * 24 * time.Hour)
	s.bench = func(c *simboard.Config) { c.Seed = 2 }
	s.must(exitPassed, "accept", "lantern", "--yes")
	s.must(exitPassed, "compare", "lantern")
	if !strings.Contains(s.out, "othing has really changed") || !strings.Contains(s.out, "as delivered") {
		t.Errorf("an unchanged board:\n%s", s.out)
	}
	s.bench = func(c *simboard.Config) {
		c.Seed = 3
		c.Board.CableFarads = 1.5e-9
		c.Board.Outputs[0].SeriesOhms += 3300
		c.Board.Outputs[1].Hum.GroundLoop = &simboard.GroundLoop{AmpsRMS: 0.022, ShieldOhms: 0.045, PhaseRad: 0.6}
	}
	s.now = s.now.Add(400 * 24 * time.Hour)
	s.must(exitPassed, "calibrate", "--yes", "--linearity=false")
	s.run("", "accept", "lantern", "--yes")
	drawn := filepath.Join(t.TempDir(), "plots")
	s.must(exitPassed, "compare", "lantern", "--plots", drawn)
	for _, want := range []string{
		"outputs A and B lost 3.04 dB of treble at 10 kHz", "ahead of the buffer", "look ahead of the split",
		"output A is 1.20 dB quieter at all frequencies alike", "look behind the split, at output A",
		"output B hums more, by 45.0 dB, most at 50 Hz", "ground loop", "calibrated anew", "SIMULATED",
	} {
		if !strings.Contains(strings.Join(strings.Fields(s.out), " "), want) {
			t.Errorf("%q is not said", want)
		}
	}
	if strings.Count(s.out, "\n  4. ") > 0 {
		t.Errorf("more is found than there is:\n%s", s.out)
	}
	if files, err := os.ReadDir(drawn); err != nil || len(files) != 6 {
		t.Errorf("%d files drawn, %v", len(files), err)
	}
	// Kept for whoever wants to read it: COMPARE_KEEP names a folder.
	if to := os.Getenv("COMPARE_KEEP"); to != "" {
		if err := errors.Join(os.CopyFS(to, os.DirFS(drawn)), os.WriteFile(filepath.Join(to, "compare.txt"), []byte(s.out), 0o600)); err != nil {
			t.Error(err)
		}
	}
	s.must(exitPassed, "compare", "lantern", "--json")
	var d struct {
		Format    string
		Simulated bool
		Then, Now struct{ ID string }
		Findings  []change.Finding
		Rows      []change.Row         `json:"differences"`
		Curves    []change.CurveChange `json:"curve_differences"`
	}
	if err := json.Unmarshal([]byte(s.out), &d); err != nil {
		t.Fatal(err)
	}
	if d.Format != "boardproof/1" || !d.Simulated || d.Then.ID == d.Now.ID || len(d.Findings) != 3 || len(d.Rows) < 50 || len(d.Curves) != 3 {
		t.Errorf("format %q, %d findings, %d rows, %d curves", d.Format, len(d.Findings), len(d.Rows), len(d.Curves))
	}
}
