package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strconv"
	"strings"
	"testing"
	"time"

	"boardproof/analysis"
	"boardproof/analysis/verdict"
)

func float(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func everyOption() []Options {
	return []Options{options(Player, PDF, A4), options(Player, PDF, Letter), options(Player, HTML, ""), options(Bench, PDF, A4),
		options(Bench, HTML, ""), options(Label62, PDF, ""), options(Label24, PDF, "")}
}

func checkOf(t *testing.T, file []byte, s Source) Checked {
	t.Helper()
	c, err := Read(file)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Check(file, c, s)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// The same run gives the same bytes, wherever the machine stands and in
// whatever order maps come, and its copy is genuine.
func TestSheetIsTheSameAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("sets every paper twice")
	}
	here := time.Local
	defer func() { time.Local = here }()
	for _, o := range everyOption() {
		time.Local = time.UTC
		first := mustMake(t, long(), o)
		time.Local = time.FixedZone("elsewhere", 5*3600+1800)
		if again := mustMake(t, long(), o); !bytes.Equal(first, again) {
			t.Fatalf("%s as %s comes out otherwise", o.Kind, o.Form)
		}
		if got := checkOf(t, first, long()); got.Finding != Genuine {
			t.Errorf("%s as %s: %+v", o.Kind, o.Form, got)
		}
	}
}

// Any byte that is changed is found out.
func TestEachChangeIsFound(t *testing.T) {
	s := sample("A", "B")
	for _, o := range []Options{options(Player, PDF, A4), options(Bench, HTML, ""), options(Label24, PDF, "")} {
		file := mustMake(t, s, o)
		begin, end, _ := carriedAt(file)
		for at := 7; at < len(file); at += len(file)/7 + 1 {
			if at >= begin-20 && at < end+20 {
				continue
			}
			changed := bytes.Clone(file)
			changed[at] ^= 1
			if got := checkOf(t, changed, s); got.Finding != Altered {
				t.Fatalf("%s as %s with byte %d changed: %+v", o.Kind, o.Form, at, got)
			}
		}
	}
}

// reseal is what a forger can do, as no key is kept from him.
func reseal(t *testing.T, file []byte) []byte {
	t.Helper()
	from, to, ok := sealAt(file)
	if !ok {
		t.Fatal("no seal")
	}
	copy(file[from:to], noSeal)
	sum := sha256.Sum256(file)
	copy(file[from:to], hex.EncodeToString(sum[:]))
	return file
}

func TestChecked(t *testing.T) {
	s := sample("A", "B").change(analysis.Gain, "B", func(j *verdict.Judged) { j.Value = -2.0885 })
	file := mustMake(t, s, options(Player, HTML, ""))
	replace := func(old, with string) []byte {
		if !bytes.Contains(file, []byte(old)) {
			t.Fatalf("%q is not there to be changed", old)
		}
		return bytes.ReplaceAll(file, []byte(old), []byte(with))
	}
	other := s
	other.Digest = strings.Repeat("99", 32)
	another, err := makeAs(s, options(Player, HTML, ""), "boardproof of another year")
	if err != nil {
		t.Fatal(err)
	}
	// Another layout of the same run by another version.
	moved := reseal(t, bytes.Replace(another, []byte("What was found"), []byte("What we found"), 1))
	forged := reseal(t, bytes.ReplaceAll(bytes.Clone(moved), []byte("2.0885"), []byte("0.2885")))
	tests := []struct {
		name string
		file []byte
		s    Source
		want Finding
		why  string
	}{
		{"as made", file, s, Genuine, ""},
		{"by another version, to the byte", another, s, Genuine, ""},
		{"a figure on the page", replace("−2.0885 dB ± ", "−0.2885 dB ± "), s, Altered, "first change"},
		{"another run of that name", file, other, OtherRun, "0f1e2d3c0f1e2d3c"},
		{"another layout", moved, s, OtherMaker, "boardproof of another year"},
		{"another layout, not sealed", append(bytes.Clone(moved), ' '), s, Altered, "sealed"},
		{"another layout, figures changed, sealed again", forged, s, Altered, "gain, output B: the file says −0.2885 dB"},
	}
	for _, test := range tests {
		got := checkOf(t, test.file, test.s)
		if got.Finding != test.want || !strings.Contains(strings.Join(got.Why, "\n"), test.why) {
			t.Errorf("%s: %+v, want %s because of %q", test.name, got, test.want, test.why)
		}
	}
	for name, file := range map[string][]byte{"nothing": nil, "no data": replace("boardproof-sheet\">", "x\">"), "half": file[:bytes.Index(file, []byte(htmlBegin))+400]} {
		if _, err := Read(file); !errors.Is(err, ErrNotASheet) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// What a file asks for that is not made is no reason to fail over.
func TestStrangeOptions(t *testing.T) {
	s := sample("A")
	for _, o := range []Options{{}, {Kind: Player, Form: PDF, Paper: "a0"}, {Kind: Label62, Form: HTML}, {Kind: "poem", Form: PDF}} {
		if file, err := Make(s, o); err == nil {
			t.Errorf("%+v gives %d bytes", o, len(file))
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(htmlBegin + `{"run":"r1","seal":"` + noSeal + `"}` + htmlEnd))
	f.Add([]byte(xmpBegin + `{"run":"r1","seal":"00"}` + xmpEnd))
	f.Add([]byte(xmpBegin))
	f.Fuzz(func(t *testing.T, file []byte) {
		c, err := Read(file)
		if err != nil {
			return
		}
		if _, err := Check(file, c, Source{}); err != nil {
			t.Error(err)
		}
		sealHolds(file, c.Seal)
	})
}
