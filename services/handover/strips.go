package handover

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"strings"

	"github.com/carlos7ags/folio/layout"

	"daysheet/events"
	papers "daysheet/reports/handover"
)

// stripView is a row of the chart of days.
type stripView struct {
	Title, Said string       // Said tells what is drawn
	Source      template.URL // of the drawing
}

// Size of a strip in points: as wide as the text of a page.
const stripWidth, stripHeight = pageWidth - 2*marginSide, 8.0

// stripsOf draws the rows of a chart of days.
func stripsOf(strips []papers.Strip, w words) (views []stripView) {
	for _, s := range strips {
		said := w.Say("sheet.strip", "title", s.Title, "days", daysSaid(s, w), "first", w.Day(s.From),
			"last", w.Day(s.End))
		drawn := base64.StdEncoding.EncodeToString([]byte(drawStrip(s)))
		// Nothing but numbers goes into the drawing, so it is safe as it stands.
		views = append(views, stripView{s.Title, said, template.URL("data:image/svg+xml;base64," + drawn)})
	}
	return views
}

// daysSaid names the days of a strip, and only how many where there are many.
func daysSaid(s papers.Strip, w words) string {
	const most = 8
	if len(s.Days) > most {
		return w.Say("sheet.strip.days", "n", w.Count(int64(len(s.Days))))
	}
	var days []string
	for _, day := range s.Days {
		days = append(days, w.Day(day))
	}
	return strings.Join(days, ", ")
}

// drawStrip draws a strip: light where nothing was recorded, dark where something was.
// The same strip makes the same bytes.
func drawStrip(s papers.Strip) string {
	var all []events.Day
	for day := s.From; day <= s.End; day = day.Add(1) {
		all = append(all, day)
	}
	width := stripWidth / float64(len(all))
	gap := min(1, width/5)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%.2f" height="%.0f" viewBox="0 0 %.2f %.0f" `+
		`preserveAspectRatio="none">`, stripWidth, stripHeight, stripWidth, stripHeight)
	next := 0
	for i, day := range all {
		fill := "#d5dadd"
		if next < len(s.Days) && s.Days[next] == day {
			fill = "#12333a"
			next++
		}
		fmt.Fprintf(&b, `<rect x="%.2f" y="0" width="%.2f" height="%.0f" fill="%s"/>`, float64(i)*width, width-gap,
			stripHeight, fill)
	}
	b.WriteString(`</svg>`)
	return b.String()
}

// tellDrawings gives the drawings of a page their texts, in their order: the printer takes
// none from the page for what is drawn with lines.
func tellDrawings(elements []layout.Element, texts []string) (rest []string) {
	for _, e := range elements {
		switch e := e.(type) {
		case *layout.SVGElement:
			if len(texts) > 0 {
				e.SetAltText(texts[0])
				texts = texts[1:]
			}
		case *layout.Div:
			texts = tellDrawings(e.Children(), texts)
		}
	}
	return texts
}
