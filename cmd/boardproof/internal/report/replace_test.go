package report

import (
	"bytes"
	"errors"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/analysis/verdict"

	"gonum.org/v1/plot/vg/draw"
)

func put(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func holds(t *testing.T, path, text string) {
	t.Helper()
	if got, err := os.ReadFile(path); err != nil || string(got) != text {
		t.Errorf("%s holds %.60q, %v", path, got, err)
	}
}

// Nothing of anybody else's is written over: neither a file of that name, nor
// what a link of that name leads to, nor X.part. A plot of one's own is, and one
// of before there was a mark.
func TestPlotsWriteOverNoForeignFile(t *testing.T) {
	dir := t.TempDir()
	svg, pixels := filepath.Join(dir, "x.svg"), filepath.Join(dir, "x.png")
	paint := func(draw.Canvas) {}
	refused := func() {
		t.Helper()
		if _, err := save(dir, "x", paint); !errors.Is(err, errForeign) {
			t.Errorf("saved over it: %v", err)
		}
	}
	for _, foreign := range []string{svg, pixels} {
		put(t, foreign, "a drawing of someone's")
		refused()
		holds(t, foreign, "a drawing of someone's")
		os.Remove(foreign)
		other := filepath.Join(dir, "other")
		put(t, other, "elsewhere")
		if err := os.Symlink(other, foreign); err != nil {
			t.Fatal(err)
		}
		refused()
		holds(t, other, "elsewhere")
		os.Remove(foreign)
	}
	put(t, svg+".part", "half of something")
	for range 2 {
		if _, err := save(dir, "x", paint); err != nil {
			t.Fatal(err)
		}
	}
	holds(t, svg+".part", "half of something")
	file, err := os.ReadFile(pixels)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := png.Decode(bytes.NewReader(file)); err != nil {
		t.Errorf("the mark spoils the picture: %v", err)
	}
	put(t, svg, "<?xml version=\"1.0\"?>\n"+svgMarkBefore)
	put(t, pixels, strings.Replace(string(file), pngMark, "Software\x00something", 1))
	if _, err := save(dir, "x", paint); err != nil {
		t.Errorf("plots of before there was a mark: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".boardproof-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// All or none, and a link is replaced, not followed.
func TestReplaceFollowsNoLink(t *testing.T) {
	dir := t.TempDir()
	other, link := filepath.Join(dir, "other"), filepath.Join(dir, "link")
	put(t, other, "elsewhere")
	if err := os.Symlink(other, link); err != nil {
		t.Fatal(err)
	}
	if err := Replace([]string{link, filepath.Join(dir, "no folder", "x")}, [][]byte{[]byte("new"), nil}); err == nil {
		t.Error("a file was written into a folder that is not there")
	}
	holds(t, link, "elsewhere")
	if err := Replace([]string{link}, [][]byte{[]byte("new")}); err != nil {
		t.Fatal(err)
	}
	holds(t, link, "new")
	holds(t, other, "elsewhere")
	if left, _ := filepath.Glob(filepath.Join(dir, ".boardproof-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// A limit on a sign says which of the two it asks for; one that both meet says
// neither.
func TestPolarityLimitSaysWhichSign(t *testing.T) {
	at := func(v float64) *float64 { return &v }
	for want, l := range map[string]verdict.Limit{
		"same": {Min: at(0), Max: at(1)}, "inverted": {Min: at(-1), Max: at(0)}, "at least −1": {Min: at(-1)}, "at most 1": {Max: at(1)},
	} {
		if got := polarityLimit(&l); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
