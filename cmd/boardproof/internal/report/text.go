package report

import (
	"fmt"
	"io"
	"strings"
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

// Seen is a writer through db.Visible.
type Seen struct{ To io.Writer }

// Write writes p so that all of it is seen.
func (s Seen) Write(p []byte) (int, error) {
	if _, err := io.WriteString(s.To, db.Visible(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}
