package db

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"boardproof/capture"
	"boardproof/capture/wavfile"
	"boardproof/testsignals"
)

func take() *capture.Take {
	rows := [][]float64{make([]float64, 500), make([]float64, 500)}
	for i := range rows[0] {
		rows[0][i] = 0.3 * math.Sin(float64(i)/7)
		rows[1][i] = 1e-7 * math.Cos(float64(i)/3)
	}
	return &capture.Take{
		Signal: testsignals.New(testsignals.Tone, 48000, -20, 0), Samples: rows, RateHz: 48000,
		Inputs: []int{1, 2}, Outputs: []int{1}, Patch: capture.ToBoard, State: "all bypassed", Started: noon,
		Instrument: capture.Description{Kind: "simboard", Device: "good", RateHz: 48000, Inputs: 2, Outputs: 2, Simulated: true},
		ClockError: &capture.ClockError{PPM: 3, StdPPM: 0.1},
	}
}

func files(t *testing.T, s *Store) []string {
	t.Helper()
	entries, err := os.ReadDir(s.takesDir())
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func TestTakeComesBack(t *testing.T) {
	s := newStore(t)
	want := take()
	ref, err := s.SaveTake(want, "tone", 2)
	if err != nil {
		t.Fatal(err)
	}
	if ref.Step != "tone" || ref.Attempt != 2 || ref.Take.Samples != nil || ref.Take.State != want.State || want.Samples == nil {
		t.Errorf("reference %+v", ref)
	}
	if diff := cmp.Diff([]string{ref.SHA256 + ".wav"}, files(t, s)); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	got, err := s.LoadTake(ref)
	if err != nil {
		t.Fatal(err)
	}
	for c := range want.Samples {
		for i := range want.Samples[c] {
			want.Samples[c][i] = float64(float32(want.Samples[c][i]))
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("take (-want +got):\n%s", diff)
	}
	again, err := s.SaveTake(take(), "tone", 2)
	if err != nil || again.SHA256 != ref.SHA256 || len(files(t, s)) != 1 {
		t.Errorf("the same take, kept again: %s, %v, files %q", again.SHA256, err, files(t, s))
	}
	// Any other program finds the signal in the file too.
	audio, err := wavfile.ReadFile(s.takeFile(ref.SHA256))
	if err != nil {
		t.Fatal(err)
	}
	if spec, err := wavfile.DecodeSpec(audio.Chunks); err != nil || spec != want.Signal {
		t.Errorf("signal in the file: %+v, %v", spec, err)
	}
}

func TestTakeOfAnUnknownSignal(t *testing.T) {
	s := newStore(t)
	plain := take()
	plain.Signal = testsignals.Spec{}
	ref, err := s.SaveTake(plain, "", 1)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := s.LoadTake(ref); err != nil || got.Signal != plain.Signal {
		t.Errorf("take without a signal: %+v, %v", got, err)
	}
}

func TestDamagedTakeIsRefused(t *testing.T) {
	s := newStore(t)
	ref, err := s.SaveTake(take(), "tone", 1)
	if err != nil {
		t.Fatal(err)
	}
	path := s.takeFile(ref.SHA256)
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	flipped := append([]byte(nil), raw...)
	flipped[len(raw)/2] ^= 1
	for name, c := range map[string]struct {
		content []byte
		want    string
	}{
		"one bit":   {flipped, "is not the file that was kept"},
		"cut short": {raw[:len(raw)-1], "is not the file that was kept"},
		"empty":     {nil, "is not the file that was kept"},
	} {
		if err := os.Chmod(path, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, c.content, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := s.LoadTake(ref); !errors.Is(err, ErrTakeDamaged) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	// Keeping the take again mends the file.
	if _, err := s.SaveTake(take(), "tone", 1); err != nil {
		t.Fatal(err)
	}
	if _, err := s.LoadTake(ref); err != nil {
		t.Errorf("after it was kept again: %v", err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, err := s.LoadTake(ref); !errors.Is(err, ErrTakeDamaged) || !strings.Contains(err.Error(), "is no longer beside the store") {
		t.Errorf("a file that is gone: %v", err)
	}
}

func TestTakeThatCannotBeKeptLeavesNothing(t *testing.T) {
	s := newStore(t)
	bad := take()
	bad.Samples[1][499] = math.NaN()
	ragged := take()
	ragged.Samples[1] = ragged.Samples[1][:10]
	for name, tk := range map[string]*capture.Take{"not a number": bad, "ragged": ragged, "empty": {RateHz: 48000}} {
		if _, err := s.SaveTake(tk, "tone", 1); err == nil || !strings.HasPrefix(err.Error(), "keeping a take: ") {
			t.Errorf("%s: %v", name, err)
		}
		if left := files(t, s); len(left) != 0 {
			t.Errorf("%s: left %q", name, left)
		}
	}
	// A name that cannot be given: a folder stands in the way.
	good, err := newStore(t).SaveTake(take(), "tone", 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(s.takeFile(good.SHA256), "in the way"), 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveTake(take(), "tone", 1); err == nil || !strings.Contains(err.Error(), "cannot be named") {
		t.Errorf("a name that is taken: %v", err)
	}
	if left := files(t, s); len(left) != 1 {
		t.Errorf("left %q", left)
	}
	if err := os.RemoveAll(s.takesDir()); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveTake(take(), "tone", 1); !errors.Is(err, ErrNotWritable) {
		t.Errorf("no folder for takes: %v", err)
	}
}
