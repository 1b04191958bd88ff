package handover

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/color"
	"image/png"
	"strings"
)

// The field that signatures are drawn in, and how thick the pen is.
const (
	fieldWidth, fieldHeight = 600, 200
	pen                     = 2
)

// reach is where points may be: beside the field, but not so far off that drawing
// to them takes for ever.
var reach = image.Rect(0, 0, 1000, 1000)

// drawn makes a picture of a signature's strokes that stands in the page itself; the
// empty address where there are none, or they cannot be read.
func drawn(strokes string) template.URL {
	if strokes == "" {
		return ""
	}
	img := image.NewPaletted(image.Rect(0, 0, fieldWidth, fieldHeight), color.Palette{color.White, color.Black})
	for stroke := range strings.SplitSeq(strings.TrimPrefix(strokes, "M"), "M") {
		var before image.Point
		for i, point := range strings.Split(stroke, "L") {
			var at image.Point
			if _, err := fmt.Sscanf(point, "%d %d", &at.X, &at.Y); err != nil || !at.In(reach) {
				return ""
			}
			if i == 0 {
				before = at
			}
			line(img, before, at)
			before = at
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return "" // the name stands beside it
	}
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(b.Bytes()))
}

// line draws from one point to another, as thick as the pen.
func line(img *image.Paletted, from, to image.Point) {
	way := to.Sub(from)
	steps := max(abs(way.X), abs(way.Y), 1)
	for i := range steps + 1 {
		at := image.Pt(from.X+way.X*i/steps, from.Y+way.Y*i/steps)
		for y := -pen; y <= pen; y++ {
			for x := -pen; x <= pen; x++ {
				if p := at.Add(image.Pt(x, y)); x*x+y*y <= pen*pen && p.In(img.Rect) {
					img.SetColorIndex(p.X, p.Y, 1)
				}
			}
		}
	}
}

func abs(n int) int { return max(n, -n) }
