package report

import (
	"image/color"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

func greyOf(y uint8) color.Color { return color.Gray{Y: y} }

var barHatch = draw.LineStyle{Color: black, Width: 0.7}

// hatchFlat fills a box with level lines.
func hatchFlat(spacing vg.Length) func(draw.Canvas, vg.Rectangle) {
	return func(c draw.Canvas, box vg.Rectangle) {
		for y := box.Min.Y + spacing; y < box.Max.Y; y += spacing {
			c.StrokeLine2(barHatch, box.Min.X, y, box.Max.X, y)
		}
	}
}

// hatchLines fills a box with diagonals that rise (slope 1) or fall (-1).
func hatchLines(slope, spacing vg.Length) func(draw.Canvas, vg.Rectangle) {
	return func(c draw.Canvas, box vg.Rectangle) {
		width := box.Max.X - box.Min.X
		for y := box.Min.Y - width; y < box.Max.Y+width; y += spacing {
			from, to := vg.Point{X: box.Min.X, Y: y}, vg.Point{X: box.Max.X, Y: y + slope*width}
			clipped := draw.Canvas{Canvas: c.Canvas, Rectangle: box}
			c.StrokeLines(barHatch, clipped.ClipLinesXY([]vg.Point{from, to})...)
		}
	}
}
