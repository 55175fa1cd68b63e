package report

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"boardproof/db"
)

// Wrap prints text at most columns wide, further lines under the first.
func Wrap(w io.Writer, columns int, lead, text string) {
	width := max(40, columns) - utf8.RuneCountInString(lead)
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && utf8.RuneCountInString(line+" "+word) > width {
			fmt.Fprintln(w, lead+line)
			lead, line = indent, ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, lead+line)
}

// Fitted is text in just so many columns: filled up, or cut, which it shows.
func Fitted(text string, columns int) string {
	letters := []rune(text)
	if len(letters) > columns {
		return string(letters[:columns-1]) + "…"
	}
	return text + strings.Repeat(" ", columns-len(letters))
}

// Visible writes what db.Unseen says of as escapes, line ends and tabs aside:
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
func hidden(r rune) bool { return r != '\n' && r != '\t' && db.Unseen(r) || r == utf8.RuneError }

// Seen is a writer through Visible.
type Seen struct{ To io.Writer }

// Write writes p so that all of it is seen.
func (s Seen) Write(p []byte) (int, error) {
	if _, err := io.WriteString(s.To, Visible(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}
