package db

import (
	"fmt"
	"unicode"
	"unicode/utf8"
)

// The longest texts: one of a line, as a name, and one of several, as notes.
// Common practice, no source; nobody writes more by hand.
const (
	MaxName  = 200
	MaxNotes = 10_000
)

// Unseen says whether r is not shown and changes how what stands beside it is
// shown: control and format characters, among them those that turn the
// direction of writing (Unicode Standard, annex 9, 2.1 to 2.5), line and
// paragraph separators. The two joiners are none: scripts and emoji need them.
func Unseen(r rune) bool {
	const nonJoiner, joiner = '\u200c', '\u200d'
	return r != joiner && r != nonJoiner && unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp)
}

// TextFault says what makes text unfit to be kept, "" for nothing: more than
// most characters, bytes that are no UTF-8, characters that are Unseen. Line
// ends and tabs are let through where lines is set.
func TextFault(text string, most int, lines bool) string {
	n := 0
	for i, r := range text {
		if n++; n > most {
			return fmt.Sprintf("has more than %d characters: shorten it", most)
		}
		if r == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(text[i:]); size <= 1 {
				return fmt.Sprintf("is no text (byte %d is not UTF-8): type it anew", i+1)
			}
		}
		if Unseen(r) && !(lines && (r == '\n' || r == '\t' || r == '\r')) {
			return fmt.Sprintf("has a character that is not shown (%U, the %d.): type it anew", r, n)
		}
	}
	return ""
}

// firstFault is the first fault of named texts, "" for none.
func firstFault(most int, lines bool, texts ...[2]string) string {
	for _, t := range texts {
		if how := TextFault(t[1], most, lines); how != "" {
			return t[0] + " " + how
		}
	}
	return ""
}
