package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"boardproof/db"
)

// hostile has what a terminal obeys, what turns the direction of writing
// (Unicode Standard, annex 9), and bytes that are no UTF-8.
const hostile = "Tin\x1b[2J\x1b]0;x\x07 \u202eevil\u2066 \u0085\ufeff\U000e0041\u2028 H\xffr"

func TestNothingUnseenGoesOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.Just(hostile)).Draw(t, "text") + rapid.SampledFrom([]string{"", "\xc3", "\x9b31m", "\u202e"}).Draw(t, "end")
		got := Visible(text)
		if i := strings.IndexFunc(got, func(r rune) bool { return r != '\n' && r != '\t' && db.Unseen(r) }); i >= 0 || !utf8.ValidString(got) {
			t.Errorf("%q goes out as %q", text, got)
		}
		if Visible(got) != got {
			t.Errorf("%q is changed twice", got)
		}
	})
	if plain := "Zoë's Łódź 日本 שלום 👩‍🔧\n\tend"; Visible(plain) != plain {
		t.Errorf("%q goes out as %q", plain, Visible(plain))
	}
}

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
