package testsignals

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// anySpec draws a valid Spec that is short enough for a test.
func anySpec(t *rapid.T) Spec {
	kind := rapid.SampledFrom([]Kind{Sweep, Impulses, Tone, Silence}).Draw(t, "kind")
	rate := rapid.IntRange(MinRateHz, MaxRateHz).Draw(t, "rate")
	s := New(kind, rate, rapid.Float64Range(-100, 0).Draw(t, "level"), rapid.Float64Range(0.5, 1.5).Draw(t, "duration"))
	s.LeadS = rapid.Float64Range(0.1, 0.5).Draw(t, "lead")
	s.TailS = rapid.Float64Range(0.1, 0.5).Draw(t, "tail")
	switch kind {
	case Sweep:
		s.StartHz = rapid.Float64Range(5, 1000).Draw(t, "start")
		s.StopHz = rapid.Float64Range(2*s.StartHz, float64(rate)/2).Draw(t, "stop")
	case Impulses:
		s.PeriodS = rapid.Float64Range(0.05, 0.2).Draw(t, "period")
	case Tone:
		s.FrequencyHz = rapid.Float64Range(10, 0.45*float64(rate)).Draw(t, "frequency")
	}
	return s
}

func TestSpecSurvivesJSON(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anySpec(t)
		b, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var got Spec
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}

// Files written today must be read by later versions: the keys are a promise.
func TestSpecKeysStay(t *testing.T) {
	s := Spec{Format: SpecFormat, Kind: Sweep, RateHz: 48000, LevelDBFS: -12, DurationS: 5, StartHz: 5, StopHz: 23000, FrequencyHz: 1, PeriodS: 2, LeadS: 0.6, TailS: 0.9}
	const want = `{"format":"boardproof-signal/1","kind":"sweep","rate_hz":48000,"level_dbfs":-12,"duration_s":5,"start_hz":5,"stop_hz":23000,"frequency_hz":1,"period_s":2,"lead_s":0.6,"tail_s":0.9}`
	b, err := json.Marshal(s)
	if err != nil || string(b) != want {
		t.Errorf("%s, %v", b, err)
	}
}

func TestDefaultsAreValidAtEveryRate(t *testing.T) {
	for _, rate := range []int{44100, 48000, 88200, 96000, 176400, 192000} {
		for _, kind := range []Kind{Sweep, Impulses, Tone, Silence} {
			if err := New(kind, rate, -12, 0).Validate(); err != nil {
				t.Errorf("%s at %d Hz: %v", kind, rate, err)
			}
		}
	}
}

func TestValidateNamesWhatIsWrong(t *testing.T) {
	for want, change := range map[string]func(*Spec){
		"signal format":       func(s *Spec) { s.Format = "boardproof-signal/9" },
		"rate 8000 Hz":        func(s *Spec) { s.RateHz = 8000 },
		"rate 200000 Hz":      func(s *Spec) { s.RateHz = 200000 },
		"level 1 dBFS":        func(s *Spec) { s.LevelDBFS = 1 },
		"level NaN":           func(s *Spec) { s.LevelDBFS = math.NaN() },
		"lead 0 s":            func(s *Spec) { s.LeadS = 0 },
		"tail +Inf s":         func(s *Spec) { s.TailS = math.Inf(1) },
		"sweep of 0.1 s":      func(s *Spec) { s.DurationS = 0.1 },
		"sweep from 0 to":     func(s *Spec) { s.StartHz = 0 },
		"stop at least twice": func(s *Spec) { s.StopHz = 30000 },
		"impulses every 0 s":  func(s *Spec) { s.Kind = Impulses; s.PeriodS = 0 },
		"tone of NaN Hz":      func(s *Spec) { s.Kind = Tone; s.FrequencyHz = math.NaN() },
		"tone of -5 s":        func(s *Spec) { s.Kind = Tone; s.FrequencyHz = 1000; s.DurationS = -5 },
		"silence of 1e+09 s":  func(s *Spec) { s.Kind = Silence; s.DurationS = 1e9 },
		`signal kind "noise"`: func(s *Spec) { s.Kind = "noise" },
	} {
		s := New(Sweep, 48000, -12, 5)
		change(&s)
		sig, err := Generate(s)
		if sig != nil || err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}
