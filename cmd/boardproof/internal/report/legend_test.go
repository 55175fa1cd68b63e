package report

import (
	"testing"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
)

// A browser without our letters sets wider ones, by up to 21 % (DejaVu Sans against Liberation
// Sans, measured in a browser): no sample may stand in the words before it.
func TestLegendLeavesRoomForOtherLetters(t *testing.T) {
	var boxes []vg.Rectangle
	var entries []entry
	labels := []string{"output A (−0.30 dB at 1 kHz)", "output B (−0.29 dB at 1 kHz)", "beyond the limit", "± uncertainty (k = 2)"}
	for _, label := range labels {
		entries = append(entries, entry{label, func(c draw.Canvas) { boxes = append(boxes, c.Rectangle) }})
	}
	const width = 480
	drawLegend(draw.NewCanvas(&recorder.Canvas{}, width, 100), entries)
	rows := 1
	for i, b := range boxes {
		end := b.Max.X + 5 + letters(legendSize, black).Width(labels[i])*1.21
		if end > width {
			t.Errorf("%q ends at %g of %d", labels[i], end, width)
		}
		switch {
		case i+1 == len(boxes):
		case boxes[i+1].Min.Y < b.Min.Y:
			rows++
		case boxes[i+1].Min.X < end+5:
			t.Errorf("%q ends at %g, the next sample begins at %g", labels[i], end, boxes[i+1].Min.X)
		}
	}
	if rows != 2 {
		t.Errorf("%d rows", rows)
	}
}
