package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

// hostile has what a terminal obeys, what turns the direction of writing
// (Unicode Standard, annex 9), and bytes that are no UTF-8.
const hostile = "Tin\x1b[2J\x1b]0;x\x07 \u202eevil\u2066 \u0085\ufeff\U000e0041\u2028 H\xffr"

// A document stays what it was: the escapes are JSON's own.
func TestVisibleJSONReadsTheSame(t *testing.T) {
	text := strings.ToValidUTF8(hostile, "")
	var out bytes.Buffer
	if err := json.NewEncoder(Seen{To: &out}).Encode(map[string]string{"label": text}); err != nil {
		t.Fatal(err)
	}
	back := map[string]string{}
	if err := json.Unmarshal(out.Bytes(), &back); err != nil || back["label"] != text || strings.Contains(out.String(), "\u202e") {
		t.Errorf("%s reads as %q, %v", out.String(), back["label"], err)
	}
}

func TestFitted(t *testing.T) {
	for text, want := range map[string]string{"": "    ", "trio": "trio", "Büro": "Büro", "quartet": "qua…", "B": "B   "} {
		if got := Fitted(text, 4); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
