package report

import (
	"image/color"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Sizes in points on a page of 600 × 400. Printed across an upright A5 page
// that is scaled by 0.6, and the smallest letters are still 6 points high.
const (
	titleSize  = 15
	labelSize  = 11.5
	legendSize = 11
	smallSize  = 10
)

var (
	black       = color.Gray{}
	dark        = color.Gray{Y: 0x55}
	gridMajor   = color.Gray{Y: 0xc4}
	gridMinor   = color.Gray{Y: 0xe6}
	beyond      = color.Gray{Y: 0xee}
	hatch       = color.Gray{Y: 0xa8}
	beyondLabel = color.White
)

// ink is how one output is drawn. The outputs differ in width, dashes, marker
// and grey value, so that they can be told apart where they coincide and
// where no colour is printed; hue comes on top.
type ink struct {
	line   draw.LineStyle
	marker draw.GlyphStyle
}

func inkOf(i int) ink {
	inks := []ink{
		{
			line:   draw.LineStyle{Color: color.RGBA{0x6a, 0x9f, 0xc8, 0xff}, Width: 3},
			marker: draw.GlyphStyle{Color: color.RGBA{0x2b, 0x5f, 0x8a, 0xff}, Radius: 3.6, Shape: draw.CircleGlyph{}},
		},
		{
			line:   draw.LineStyle{Color: color.RGBA{0x4a, 0x14, 0x00, 0xff}, Width: 1.3, Dashes: []vg.Length{8, 3.5}},
			marker: draw.GlyphStyle{Color: color.RGBA{0x4a, 0x14, 0x00, 0xff}, Radius: 4, Shape: draw.PyramidGlyph{}},
		},
		{
			line:   draw.LineStyle{Color: color.RGBA{0xb3, 0x59, 0x00, 0xff}, Width: 1.8, Dashes: []vg.Length{10, 3, 2, 3}},
			marker: draw.GlyphStyle{Color: color.RGBA{0xb3, 0x59, 0x00, 0xff}, Radius: 4, Shape: draw.BoxGlyph{}},
		},
		{
			line:   draw.LineStyle{Color: color.RGBA{0x30, 0x30, 0x30, 0xff}, Width: 1.6, Dashes: []vg.Length{2, 2.5}},
			marker: draw.GlyphStyle{Color: color.RGBA{0x30, 0x30, 0x30, 0xff}, Radius: 4, Shape: draw.CrossGlyph{}},
		},
	}
	return inks[i%len(inks)]
}

func floorInk() ink {
	return ink{line: draw.LineStyle{Color: color.Gray{Y: 0x70}, Width: 1, Dashes: []vg.Length{2, 2}}}
}

// bandColor is the fill of an uncertainty band: the line's colour, but glass,
// so that bands that overlap are both seen.
func bandColor(c color.Color) color.Color {
	r, g, b, _ := c.RGBA()
	return color.NRGBA{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8), 0x60}
}

func letters(size vg.Length, c color.Color) text.Style {
	return text.Style{
		Color:   c,
		Font:    font.Font{Typeface: "Liberation", Variant: "Sans", Size: size},
		Handler: plot.DefaultTextHandler,
	}
}

func boldLetters(size vg.Length, c color.Color) text.Style {
	s := letters(size, c)
	s.Font.Weight = xfont.WeightBold
	return s
}

// shorten cuts s with an ellipsis to fit a width.
func shorten(sty text.Style, s string, width vg.Length) string {
	if sty.Width(s) <= width {
		return s
	}
	runes := []rune(s)
	for len(runes) > 0 && sty.Width(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}
