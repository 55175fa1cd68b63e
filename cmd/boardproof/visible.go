package main

import (
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"boardproof/db"
)

// visible writes what db.Unseen says of as escapes, line ends and tabs aside:
// text that came in by another way than this program, as by an archive, can
// neither move the cursor of a terminal nor turn the direction of writing. The
// escapes are those of JSON and TOML, so that a document stays what it was.
func visible(text string) string {
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

// seen is a writer through visible.
type seen struct{ to io.Writer }

func (s seen) Write(p []byte) (int, error) {
	if _, err := io.WriteString(s.to, visible(string(p))); err != nil {
		return 0, err
	}
	return len(p), nil
}

// checkTexts refuses arguments and flags that hold what nobody sees, or are
// endless, before anything is done with them.
func checkTexts(cmd *cobra.Command, args []string) (err error) {
	check := func(what, text string) {
		how := db.TextFault(text, db.MaxNotes, true)
		if how == "" || err != nil {
			return
		}
		if _, none := os.Lstat(text); none != nil { // a file that is there may be called as it likes
			err = wrongUsef("%s %s", what, how)
		}
	}
	for i, arg := range args {
		check(fmt.Sprintf("argument %d", i+1), arg)
	}
	cmd.Flags().Visit(func(f *pflag.Flag) { check("--"+f.Name, flagText(f)) })
	return err
}

// flagText is a flag as it was given: lists are shown quoted otherwise.
func flagText(f *pflag.Flag) string {
	if list, ok := f.Value.(pflag.SliceValue); ok {
		return strings.Join(list.GetSlice(), "\n")
	}
	return f.Value.String()
}

// startsFormula are the characters with which a cell of a spreadsheet becomes a
// formula: OWASP, CSV injection (from memory), with their wide forms.
const startsFormula = "=+-@\t\r＝＋－＠"

// cell makes text one that a spreadsheet shows as it is. Its line ends are the
// file's own.
func cell(text string) string {
	if text = visible(strings.ReplaceAll(text, "\r\n", "\n")); text != "" && strings.ContainsRune(startsFormula, firstRune(text)) && !isNumber(text) {
		return "'" + text
	}
	return text
}

func isNumber(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}

func firstRune(text string) rune {
	r, _ := utf8.DecodeRuneInString(text)
	return r
}
