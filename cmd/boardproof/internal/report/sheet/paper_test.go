package sheet

import (
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"

	"boardproof/analysis/verdict"
	"boardproof/cmd/boardproof/internal/report"
)

// tool runs an outside program, of Debian's packages poppler-utils, qpdf and
// zbar-tools.
func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is missing", name)
		}
		t.Skipf("%s is missing", name)
	}
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), "TZ=UTC")
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

var spaces = regexp.MustCompile(`\s+`)

// flat is text with all spaces alike.
func flat(text string) string {
	return spaces.ReplaceAllString(strings.ReplaceAll(text, "\u00a0", " "), " ")
}

// glued is text without spaces: what was wrapped reads as if it had not been.
func glued(text string) string {
	return spaces.ReplaceAllString(strings.ReplaceAll(text, "\u00a0", ""), "")
}

func mustMake(t *testing.T, s Source, o Options) []byte {
	t.Helper()
	file, err := Make(s, o)
	if err != nil {
		t.Fatal(err)
	}
	return file
}

func options(kind Kind, form, paper string) Options {
	o := Options{Kind: kind, Form: form, Paper: paper, Zone: "CET", OffsetS: 3600}
	if kind != Label62 && kind != Label24 {
		o.Workshop = "Werkstatt Süd, 12 Quay Street"
	}
	return o
}

// told is what any reader must find on a sheet, worded here and not taken from
// the sheet's own content.
func told(s Source) []string {
	want := []string{s.Run.ID, s.Digest, s.Identity(), "2031-03-04 15:05 to 15:09 CET", "2031-03-04 14:05 to 14:09 UTC", "Werkstatt Süd, 12 Quay Street"}
	for _, d := range s.Run.BoardAsWas.Chain {
		want = append(want, d.Name[:9])
	}
	switch s.Run.Verdict {
	case verdict.Pass:
		want = append(want, "Passed", "with the uncertainty of the measurement counted against each")
	case verdict.ConditionalPass:
		want = append(want, "Passed, with a condition", "12 % chance of being outside; 8 more sweeps (59 s) would settle it")
	case verdict.Fail:
		want = append(want, "Not passed", "failed")
	case verdict.NotMeasured:
		want = append(want, "Not complete", "the profile expired on 2031-02-01")
	default:
		want = append(want, "Measured, not judged", "nothing was judged")
	}
	if s.Plan.Rule == verdict.Guarded {
		want = append(want, "“guarded”", "ILAC-G8:09/2019", "a mono board, version 2")
	}
	return want
}

// figures are, for some samples, the figures on the player's sheet as a person
// would copy them from the readings.
var figures = map[string][]string{
	"good":          {"A −0.25 dB B −0.35 dB", "97 % at A, 96 % at B", "from 14.6 Hz to 19.9 kHz", "A, B 0.10 dB", "A, B 0.003 %", "A −97.3 dBu B −98.3 dBu", "87 dB below, one part in 23,000", "A, B −103.8 dBu", "−0.01 dB", "same", "14.2 µs", "stood 5 mm farther"},
	"failing":       {"A −0.25 dB B −2.09 dB failed", "inverted failed", "A, B 0.10 dB passed", "gain, output B (all bypassed): −2.0885 dB ± 0.0035; the limit is −1.5 to +0.5 dB: failed", "2 of 19 limits of its test plan are not met", "79 % at B"},
	"conditional":   {"A +0.4990 dB", "passed, conditional"},
	"not measured":  {"not measured", "noise A-weighted, output B (all bypassed): not measured; the limit is at most −85.0 dBu"},
	"one output":    {"−0.25 dB", "97 %."},
	"three outputs": {"all −0.01 dB", "all −103.8 dBu", "A −0.25 dB B −0.35 dB C −0.45 dB"},
	"bare":          {"no limit", "levels are relative"},
	"floor":         {"The bench itself is no better: the board may be.", "and the board may be: noise A-weighted, output A."},
	"little": {"Not part of this test: lows and highs; evenness; clean sound; noise; hum; outputs: loudness; outputs: polarity; outputs: timing; joints.",
		"output B: hum, all harmonics: reason 3.", "2 more could not be measured; the bench copy lists them."},
	"simulated": {"SIMULATED: no real board was measured"},
	"long":      {"Łódź–Kraków", "Σωκράτης & Мария", "20 kΩ", "to the desk −2.50 dB"},
}

func TestPaperReadsBack(t *testing.T) {
	if testing.Short() {
		t.Skip("sets and reads every paper")
	}
	for name, s := range samples() {
		for _, o := range []Options{options(Player, PDF, A4), options(Player, PDF, Letter), options(Bench, PDF, A4)} {
			if o.Kind == Bench && (name == "one output" || name == "three outputs" || name == "simulated") {
				continue // its tables are those of "good"
			}
			t.Run(name+" "+string(o.Kind)+" "+o.Paper, func(t *testing.T) {
				path := kept(t, name+" "+string(o.Kind)+" "+o.Paper+".pdf", mustMake(t, s, o))
				text := tool(t, "pdftotext", "-layout", path, "-")
				whole := tool(t, "pdftotext", "-raw", path, "-")
				for _, want := range append(told(s), figures[name]...) {
					if !strings.Contains(glued(whole), glued(want)) {
						t.Errorf("%q is not on the paper", want)
					}
				}
				checkPages(t, path, text, s, o, name)
				if o.Kind == Bench {
					everyReading(t, glued(whole), s)
				}
				tool(t, "qpdf", "--check", path)
			})
		}
	}
}

// checkPages holds the number and size of pages, and what each must say.
func checkPages(t *testing.T, path, text string, s Source, o Options, name string) {
	info := tool(t, "pdfinfo", path)
	size := map[string]string{A4: `595\.\d+ x 841\.\d+ pts \(A4\)`, Letter: `612 x 792 pts \(letter\)`}[o.Paper]
	if !regexp.MustCompile(`Page size:\s+` + size).MatchString(info) {
		t.Errorf("the paper is not %s:\n%s", o.Paper, info)
	}
	if !strings.Contains(info, "CreationDate:    Tue Mar  4 14:09:00 2031 UTC") || !strings.Contains(info, "Subject:         "+s.Identity()) {
		t.Errorf("its time is not that of the run, or its subject not the run:\n%s", info)
	}
	pages := strings.Split(strings.TrimSuffix(text, "\f"), "\f")
	if o.Kind == Player && name != "long" && len(pages) != 2 {
		t.Errorf("%d pages, want 2", len(pages))
	}
	for i, page := range pages {
		if s.Run.Simulated != strings.Contains(page, "SIMULATED: no real board was measured") {
			t.Errorf("page %d of a run that is simulated: %t says otherwise", i+1, s.Run.Simulated)
		}
		if want := "page " + string(rune('1'+i)) + " of " + string(rune('0'+len(pages))); len(pages) < 10 && !strings.Contains(page, want) {
			t.Errorf("page %d does not say %q", i+1, want)
		}
	}
}

// everyReading finds each reading with all that is said of it.
func everyReading(t *testing.T, whole string, s Source) {
	for _, j := range s.Run.Readings {
		f := report.FigureOf(j)
		for _, want := range []string{f.Value, f.Uncertainty, f.Limit, f.Margin, report.VerdictWords(j.Verdict)} {
			if !strings.Contains(whole, glued(want)) {
				t.Errorf("%s: %q is not on the paper", report.What(j.Reading), want)
			}
		}
	}
	want := []string{"repeatability of the loopback lead (B)", strings.Repeat("5a", 32), "left out: a bang on the bench", "Method version 4"}
	if s.Profile != nil {
		want = append(want, "four-channel interface", "bench meter", "+11.800 dBu ± 0.060 dB", "valid until2032-01-01 09:00 UTC")
	}
	for _, w := range want {
		if !strings.Contains(whole, glued(w)) {
			t.Errorf("%q is not on the paper", w)
		}
	}
}

// A plot on paper is letters and lines, not a picture of them.
func TestPlotsAreVectors(t *testing.T) {
	path := kept(t, "vectors.pdf", mustMake(t, sample("A", "B"), options(Player, PDF, A4)))
	if images := tool(t, "pdfimages", "-list", path); strings.Count(images, "\n") != 2 {
		t.Errorf("there are images:\n%s", images)
	}
	text := flat(tool(t, "pdftotext", "-raw", path, "-"))
	for _, want := range []string{"frequency, Hz", "gain, dB", "noise density, dBu in 1 Hz", "mains A", "20k"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the plots", want)
		}
	}
}

// Letters are embedded: a name comes out on any machine.
func TestLettersAreEmbedded(t *testing.T) {
	path := kept(t, "letters.pdf", mustMake(t, long(), options(Player, PDF, A4)))
	fonts := strings.Split(strings.TrimSpace(tool(t, "pdffonts", path)), "\n")[2:]
	if len(fonts) == 0 {
		t.Fatal("there are no fonts")
	}
	for _, f := range fonts {
		if at := strings.Fields(f); !slices.Contains(at, "yes") || strings.Contains(f, "Helvetica") {
			t.Errorf("not embedded: %s", f)
		}
	}
}

func TestPrintable(t *testing.T) {
	l, err := newLetters()
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"10 kΩ ≥ 5 µs − ± “x”": "10 kΩ ≥ 5 µs − ± “x”",
		"Łódź Σωκράτης Мария":  "Łódź Σωκράτης Мария",
		"Rene\u0301":           "René",
		"北 road":               "□ road",
		"a🎸b":                  "a□b",
		"line\nbreak\x07":      "line break",
		"שלום":                 "□□□□",
		"5\u00a0kHz":           "5\u00a0kHz",
	} {
		if got := l.printable(text); got != want {
			t.Errorf("%q is printed as %q, want %q", text, got, want)
		}
	}
}

// A reader is told what a box stands for, and only where there is one.
func TestLackingLetters(t *testing.T) {
	s := sample("A")
	plain := tool(t, "pdftotext", kept(t, "plain.pdf", mustMake(t, s, options(Player, PDF, A4))), "-")
	s.Run.BoardAsWas.Label = "北の鳥"
	lacks := tool(t, "pdftotext", kept(t, "lacks.pdf", mustMake(t, s, options(Player, PDF, A4))), "-")
	const note = "stands for a character"
	if strings.Contains(plain, note) || !strings.Contains(lacks, note) || !strings.Contains(lacks, "□□□") {
		t.Errorf("the note is there %t without cause, %t with:\n%s", strings.Contains(plain, note), strings.Contains(lacks, note), lacks)
	}
	if page := string(mustMake(t, s, options(Player, HTML, ""))); !strings.Contains(page, "<h1>北の鳥</h1>") {
		t.Error("the HTML lacks the name too")
	}
}
