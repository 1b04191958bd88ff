package main

import (
	"fmt"
	"image/color"
	"math"
	"path/filepath"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/plotutil"
	"gonum.org/v1/plot/vg"
)

// picture is a plot of the series whose names fit.
type picture struct {
	file, title, axis string
	holds             func(series) bool
}

// pictures are what is plotted: never two units on one axis.
func pictures() []picture {
	begins := func(s series, starts ...string) bool {
		for _, start := range starts {
			if strings.HasPrefix(s.name, start) {
				return true
			}
		}
		return false
	}
	again := func(s series) bool { return strings.HasSuffix(s.name, " again ms") }
	return []picture{
		{"pages", "Pages and a quote", "milliseconds", func(s series) bool {
			return !again(s) && begins(s, "board", "job page", "rates page", "backtest page", "quote", "handover")
		}},
		{"appending", "Appending an event", "milliseconds", func(s series) bool { return begins(s, "append") }},
		{"reports", "Reports of the whole firm", "milliseconds", func(s series) bool {
			return !again(s) && begins(s,
				"report ")
		}},
		{"reports-of-one-job", "Reports of one job", "milliseconds", func(s series) bool {
			return !again(s) && begins(s,
				"of one job ")
		}},
		{"start", "Start, and making the facts anew", "seconds", func(s series) bool { return s.unit == "s" }},
		{"speed", "Importing, and making the facts anew", "a second", func(s series) bool {
			return begins(s, "import events/s", "rebuild facts/s")
		}},
		{"memory", "Resident memory", "MB", func(s series) bool { return begins(s, "memory") }},
		{"disk", "Disk", "bytes for an event", func(s series) bool { return s.unit == "bytes/event" }},
	}
}

// plotAll draws each picture as SVG and PNG and names them in the text.
func plotAll(text *strings.Builder, all []series, folder string) error {
	text.WriteString("\nThe dashed lines are what flat and what linear looks like.\n")
	for _, p := range pictures() {
		var chosen []series
		for _, s := range all {
			if p.holds(s) {
				chosen = append(chosen, s)
			}
		}
		if len(chosen) == 0 {
			continue
		}
		drawn, err := p.draw(chosen)
		if err != nil {
			return fmt.Errorf("draw %s: %w", p.file, err)
		}
		for _, kind := range []string{".svg", ".png"} {
			if err := drawn.Save(28*vg.Centimeter, 15*vg.Centimeter, filepath.Join(folder, p.file+kind)); err != nil {
				return fmt.Errorf("write plot: %w", err)
			}
		}
		fmt.Fprintf(text, "\n![%s](%s.svg)\n", p.title, p.file)
	}
	return nil
}

// draw makes a plot on two logarithmic axes with a legend that holds the orders.
func (p picture) draw(chosen []series) (*plot.Plot, error) {
	drawn := plot.New()
	drawn.Title.Text, drawn.X.Label.Text, drawn.Y.Label.Text = p.title, "facts", p.axis
	drawn.X.Scale, drawn.Y.Scale = plot.LogScale{}, plot.LogScale{}
	drawn.X.Tick.Marker, drawn.Y.Tick.Marker = plot.LogTicks{Prec: -1}, plot.LogTicks{Prec: -1}
	drawn.Add(plotter.NewGrid())
	low, high, least, most := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for i, s := range chosen {
		points := make(plotter.XYs, len(s.sizes))
		for j := range points {
			points[j].X, points[j].Y = s.sizes[j], s.values[j]
			low, high = min(low, points[j].X), max(high, points[j].X)
			least, most = min(least, points[j].Y), max(most, points[j].Y)
		}
		line, dots, err := plotter.NewLinePoints(points)
		if err != nil {
			return nil, err
		}
		line.Color, dots.Color, dots.Shape = plotutil.Color(i), plotutil.Color(i), plotutil.Shape(i)
		line.Dashes = plotutil.Dashes(i / 7) // there are seven colours
		drawn.Add(line, dots)
		drawn.Legend.Add(s.name+": "+s.verdict(), line, dots)
	}
	drawn.Legend.TextStyle.Font.Size = vg.Points(8)
	drawn.Legend.Top, drawn.Legend.Left = true, true
	room := math.Pow(2, float64(len(chosen))/3)
	drawn.X.Min, drawn.X.Max, drawn.Y.Min, drawn.Y.Max = low/1.5, high*1.5, least/2, most*3*room
	if low == high {
		return drawn, nil
	}
	middle := math.Sqrt(least * most)
	return drawn, addGuides(drawn, low, high, middle)
}

// addGuides draws a flat and a linear line, which have no value of their own.
func addGuides(drawn *plot.Plot, low, high, at float64) error {
	for _, power := range []float64{0, 1} {
		end := min(high, low*math.Pow(drawn.Y.Max/at, 1/max(power, 1e-9)))
		guide, err := plotter.NewLine(plotter.XYs{{X: low, Y: at}, {X: end, Y: at * math.Pow(end/low, power)}})
		if err != nil {
			return err
		}
		guide.Color, guide.Dashes = color.Gray{Y: 150}, []vg.Length{vg.Points(4), vg.Points(4)}
		drawn.Add(guide)
	}
	return nil
}
