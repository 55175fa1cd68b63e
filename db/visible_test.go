package db

import (
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// hostile has what a terminal obeys, what turns the direction of writing
// (Unicode Standard, annex 9), and bytes that are no UTF-8.
const hostile = "Tin\x1b[2J\x1b]0;x\x07 \u202eevil\u2066 \u0085\ufeff\U000e0041\u2028 H\xffr"

func TestNothingUnseenGoesOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.Just(hostile)).Draw(t, "text") + rapid.SampledFrom([]string{"", "\xc3", "\x9b31m", "\u202e"}).Draw(t, "end")
		got := Visible(text)
		if i := strings.IndexFunc(got, func(r rune) bool { return r != '\n' && r != '\t' && Unseen(r) }); i >= 0 || !utf8.ValidString(got) {
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
