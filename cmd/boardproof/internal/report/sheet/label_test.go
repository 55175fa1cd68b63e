package sheet

import (
	"regexp"
	"strings"
	"testing"
)

// A label printed at 300 dots an inch can be read by a scanner, says what it
// must, and fits its tape.
func TestLabelReadsBack(t *testing.T) {
	if testing.Short() {
		t.Skip("sets and reads every label")
	}
	sizes := map[Kind]string{Label62: `175\.7\d* x 82\.2\d* pts`, Label24: `68\.0\d* x 141\.7\d* pts`}
	for name, s := range samples() {
		for kind, size := range sizes {
			t.Run(name+" "+string(kind), func(t *testing.T) {
				path := kept(t, name+" "+string(kind)+".pdf", mustMake(t, s, options(kind, PDF, "")))
				picture := strings.TrimSuffix(path, ".pdf")
				// A poor camera sees it as half as many dots.
				for _, dots := range []string{"300", "150"} {
					tool(t, "pdftoppm", "-r", dots, "-png", "-singlefile", path, picture)
					if got, want := strings.TrimSpace(tool(t, "zbarimg", "-q", "--raw", "--nodbus", picture+".png")), s.Identity(); got != want {
						t.Errorf("at %s dots an inch the code says %q, want %q", dots, got, want)
					}
				}
				if info := tool(t, "pdfinfo", path); !regexp.MustCompile(`Page size:\s+`+size).MatchString(info) || !strings.Contains(info, "Pages:           1") {
					t.Errorf("want one page of %s:\n%s", size, info)
				}
				text := tool(t, "pdftotext", "-raw", path, "-")
				for _, want := range labelMustSay(s) {
					if !strings.Contains(glued(text), glued(want)) {
						t.Errorf("%q is not on the label:\n%s", want, text)
					}
				}
				lowest(t, path)
				tool(t, "qpdf", "--check", path)
			})
		}
	}
}

func labelMustSay(s Source) []string {
	want := []string{s.Run.ID, "2031-03-04", s.Run.BoardAsWas.Label[:5]}
	if serial := s.Run.BoardAsWas.Serial; serial != "" {
		want = append(want, "S/N "+serial[:5])
	}
	words := map[string]string{"pass": "Passed", "fail": "Not passed", "conditional pass": "Passed, with a condition", "not measured": "Not complete", "": "Measured, not judged"}
	want = append(want, words[string(s.Run.Verdict)])
	if s.Run.Simulated {
		want = append(want, "SIMULATED")
	}
	return want
}

var box = regexp.MustCompile(`<page width="([\d.]+)" height="([\d.]+)">|xMax="([\d.]+)" yMax="([\d.]+)"`)

// lowest makes sure that no word stands off the label.
func lowest(t *testing.T, path string) {
	t.Helper()
	var w, h float64
	words := 0
	for _, m := range box.FindAllStringSubmatch(tool(t, "pdftotext", "-bbox", path, "-"), -1) {
		if m[1] != "" {
			w, h = float(t, m[1]), float(t, m[2])
			continue
		}
		words++
		if float(t, m[3]) > w || float(t, m[4]) > h {
			t.Errorf("a word ends at %s, %s on a label of %g × %g", m[3], m[4], w, h)
		}
	}
	if words < 4 {
		t.Errorf("only %d words were found", words)
	}
}

// A serial of thirty letters is whole on each tape, and a simulated run's last
// line stays on it.
func TestLabelKeepsTheSerialWhole(t *testing.T) {
	s := samples()["simulated"]
	s.Run.BoardAsWas.Label, s.Run.BoardAsWas.Serial = "The great board of the harbour road", "LF-2031-0007-HARBOUR-LIGHTS-02"
	for _, kind := range []Kind{Label62, Label24} {
		path := kept(t, "whole serial "+string(kind)+".pdf", mustMake(t, s, options(kind, PDF, "")))
		text := tool(t, "pdftotext", "-raw", path, "-")
		for _, want := range []string{s.Run.BoardAsWas.Serial, s.Run.ID, "SIMULATED"} {
			if !strings.Contains(glued(text), glued(want)) {
				t.Errorf("%s: %q is not whole:\n%s", kind, want, text)
			}
		}
		lowest(t, path)
	}
}
