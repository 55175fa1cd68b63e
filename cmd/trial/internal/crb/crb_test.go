package crb

import (
	"fmt"
	"os"
	"regexp"
	"testing"
)

func TestInShort(t *testing.T) {
	log := `=== CONT  TestBoundOfMains
    crb_test.go:48: mains frequency           20 dB   1.021 ± 0.022   4000 trials
    crb_test.go:48: hum harmonic 1            20 dB   0.981 ± 0.022   4000 trials
    crb_test.go:48: mains frequency           40 dB   0.990 ± 0.022   4000 trials
    sine_test.go:42: variance over bound: amplitude 1.001
ok  	boardproof/analysis	1.2s
`
	got, err := inShort(log)
	if want := "variance over the bound, at most: hum harmonic 1 0.981, mains frequency 1.021"; err != nil || got != want {
		t.Errorf("%q, %v", got, err)
	}
	if got, err := inShort("ok"); err == nil {
		t.Errorf("nothing logged, and it says %q", got)
	}
}

// The pattern fits what the tests of analysis log.
func TestRatiosAreFound(t *testing.T) {
	source, err := os.ReadFile("../../../../analysis/crb_test.go")
	if err != nil {
		t.Fatal(err)
	}
	format := regexp.MustCompile(`t\.Logf\("(.* dB .*)", quantity`).FindSubmatch(source)
	if format == nil {
		t.Fatal("analysis/crb_test.go logs no ratio")
	}
	line := "    crb_test.go:48: " + fmt.Sprintf(string(format[1]), "tone level", 20.0, 1.0104, 0.022, 4000)
	got, err := inShort(line)
	if want := "variance over the bound, at most: tone level 1.010"; err != nil || got != want {
		t.Errorf("%q, %v, of %q", got, err, line)
	}
}
