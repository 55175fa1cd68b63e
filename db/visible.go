package db

import (
	"fmt"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Visible writes what Unseen says of as escapes, line ends and tabs aside:
// text that came in by another way than this program, as by an archive, can
// neither move the cursor of a terminal nor turn the direction of writing. The
// escapes are those of JSON and TOML, so that a document stays what it was.
func Visible(text string) string {
	if strings.IndexFunc(text, hidden) < 0 {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		switch {
		case !hidden(r):
			b.WriteRune(r)
		case r == utf8.RuneError:
			if _, size := utf8.DecodeRuneInString(text[i:]); size > 1 {
				b.WriteRune(r)
			} else {
				fmt.Fprintf(&b, `\u%04x`, text[i])
			}
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, high, low)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.String()
}

// hidden is true of U+FFFD too, which may be a byte that is no UTF-8.
func hidden(r rune) bool { return r != '\n' && r != '\t' && Unseen(r) || r == utf8.RuneError }
