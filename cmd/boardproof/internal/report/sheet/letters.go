package sheet

import (
	"strings"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/norm"
)

const (
	fontName = "Liberation"
	// lacking stands for a character that the letters on paper do not have.
	lacking = '□'
	// noBreak is a space at which no line is broken.
	noBreak = '\u00a0'
)

// letters are the font in its two weights, parsed to know what it has.
type letters struct {
	regular, bold []byte
	has           *sfnt.Font
}

func newLetters() (letters, error) {
	l := letters{regular: liberationsansregular.TTF, bold: liberationsansbold.TTF}
	var err error
	l.has, err = sfnt.Parse(l.regular)
	return l, err
}

// printable puts text into the letters there are: accents joined to what they
// stand on, and lacking for a character that the font does not have or that
// this package cannot set, as it runs from right to left.
func (l letters) printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == noBreak:
			return r
		case unicode.IsSpace(r):
			return ' '
		case l.sets(r):
			return r
		case unicode.Is(unicode.Mn, r) || unicode.Is(unicode.C, r):
			return -1
		}
		return lacking
	}, norm.NFC.String(text))
}

func (l letters) sets(r rune) bool {
	if r > 0xffff || unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Mn, unicode.C) {
		return false
	}
	var b sfnt.Buffer
	i, err := l.has.GlyphIndex(&b, r)
	return err == nil && i != 0
}

// lacks says whether a name on a sheet has a character that the letters lack.
func (l letters) lacks(c content) bool {
	names := []string{c.Board, c.Whose, c.Workshop}
	for _, d := range c.Devices {
		names = append(names, d.Name, d.Kind, d.Supply)
	}
	for _, f := range c.Facts {
		names = append(names, f.Value)
	}
	text := strings.Join(names, " ")
	return strings.Count(l.printable(text), string(lacking)) > strings.Count(text, string(lacking))
}
