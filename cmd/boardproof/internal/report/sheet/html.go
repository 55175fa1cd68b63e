package sheet

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"

	"boardproof/cmd/boardproof/internal/report"
)

//go:embed sheet.html
var page string

var pageTemplate = template.Must(template.New("sheet").Parse(page))

// sheetHTML sets a sheet as one file that needs nothing beside it.
func sheetHTML(s Source, o Options, data []byte) ([]byte, error) {
	c := newContent(s, o)
	type drawn struct {
		picture
		SVG template.HTML
	}
	view := struct {
		content
		Drawings []drawn
		Carried  template.HTML
	}{content: c, Carried: template.HTML(htmlBegin + string(data) + htmlEnd)}
	for _, pic := range c.Plots {
		svg, err := report.SVG(pic.paint, plotWidth, plotHeights[0]+pic.strip)
		if err != nil {
			return nil, err
		}
		view.Drawings = append(view.Drawings, drawn{pic, template.HTML(inline(svg))})
	}
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, view); err != nil {
		return nil, fmt.Errorf("writing the HTML: %w", err)
	}
	return b.Bytes(), nil
}

// inline leaves out what stands before the picture in a file of its own.
func inline(svg []byte) []byte {
	if at := bytes.Index(svg, []byte("<svg")); at > 0 {
		return svg[at:]
	}
	return svg
}

// Share is a column's part of the line in percent.
func (s section) Share(i int) int { return int(100*s.Widths[i] + 0.5) }
