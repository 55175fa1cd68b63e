package report

import (
	"bytes"
	"encoding/csv"
	"testing"
)

func TestNoCellStartsAFormula(t *testing.T) {
	var out bytes.Buffer
	cells := []string{"=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "＝1", "-12.5", "+3", "−3 dB", "plain", "", "1e-7", "a\x1bb"}
	if err := WriteCSV(&out, [][]string{append([]string(nil), cells...)}); err != nil {
		t.Fatal(err)
	}
	got, err := csv.NewReader(&out).Read()
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"'=1+1", "'+cmd|' /C calc'!A0", "'-2+3", "'@SUM(A1)", "'\t=1", "'＝1", "-12.5", "+3", "−3 dB", "plain", "", "1e-7", `a\u001bb`}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%q is written as %q, want %q", cells[i], got[i], want[i])
		}
	}
}
