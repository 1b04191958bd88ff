package reporting

import (
	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"daysheet/reports"
	"daysheet/services/wording"
)

// The colours of bars that are more than a series: names of the style sheet's, so
// that they follow the reader's colour scheme.
const (
	unseen     = "transparent"
	colourUp   = "--series-2"
	colourDown = "--series-3"
	colourAll  = "--series-1"
	colourText = "--text"
)

// labelled is the name of a series that assets/charts.js knows, and figures do not have.
const labelled = "labels"

// span is a bar from one amount to another. The chart library stacks what is above
// nothing and what is below apart, so that a bar has up to three parts: the unseen
// part from nothing to its near end, and what is seen of it above and below.
type span struct{ unseen, above, below float64 }

func spanOf(from, to float64) span {
	low, high := min(from, to), max(from, to)
	switch {
	case low >= 0:
		return span{low, high - low, 0}
	case high <= 0:
		return span{high, 0, low - high}
	}
	return span{0, high, low}
}

// spans collects bars into the three series that draw them.
type spans [3][]opts.BarData

func (s *spans) add(from, to float64, colour string) {
	parts := spanOf(from, to)
	for i, v := range []float64{parts.unseen, parts.above, parts.below} {
		data := opts.BarData{Value: v, ItemStyle: &opts.ItemStyle{Color: colour}}
		if i == 0 {
			data.ItemStyle.Color = unseen
		}
		s[i] = append(s[i], data)
	}
}

func (s *spans) addNone() {
	for i := range s {
		s[i] = append(s[i], opts.BarData{Value: "-"})
	}
}

// bars returns a chart of horizontal bars without data.
func bars(fig reports.Figure) *charts.Bar {
	bar := charts.NewBar()
	bar.SetGlobalOptions(sharedOptions(fig)...)
	bar.SetGlobalOptions(
		charts.WithXAxisOpts(opts.XAxis{Type: "value", Min: axisMin(fig)}),
		charts.WithYAxisOpts(opts.YAxis{
			Type: "category", Inverse: opts.Bool(true), AxisLabel: &opts.AxisLabel{Interval: "0"},
		}))
	bar.SetXAxis(fig.Categories).XYReversal()
	return bar
}

func (s *spans) draw(bar *charts.Bar, name string) {
	for i, data := range s {
		series := name
		if i == 0 {
			series = unseen
		}
		bar.AddSeries(series, data, charts.WithBarChartOpts(opts.BarChart{Stack: "all", BarCategoryGap: "30%"}),
			charts.WithItemStyleOpts(opts.ItemStyle{Color: colourUp}))
	}
}

// stepsOption draws changes from one whole to the next.
func stepsOption(fig reports.Figure) map[string]any {
	bar := bars(fig)
	bar.SetGlobalOptions(charts.WithXAxisOpts(opts.XAxis{Type: "value"}))
	var drawn spans
	var ends []opts.ScatterData
	reached := 0.0
	for i := range fig.Categories {
		before := reached
		v := wording.Display(fig.Series[0].Values[i], fig.Form)
		switch {
		case i < len(fig.Whole) && fig.Whole[i]:
			drawn.add(0, v, colourAll)
			before, reached = 0, v
		case v < 0:
			drawn.add(reached, reached+v, colourDown)
			reached += v
		default:
			drawn.add(reached, reached+v, colourUp)
			reached += v
		}
		ends = append(ends, opts.ScatterData{Value: []any{max(before, reached), i}})
	}
	drawn.draw(bar, fig.Series[0].Name)
	labels := charts.NewScatter() // at the end of each bar, for its number
	labels.AddSeries(labelled, ends)
	bar.Overlap(labels)
	bar.Validate()
	return bar.JSON()
}

// rangeOption draws the middle half of each category as a bar, and its least, its
// median and its greatest as points.
func rangeOption(fig reports.Figure) map[string]any {
	bar := bars(fig)
	var middle spans
	for i := range fig.Categories {
		if s := fig.Series[2]; i < len(s.Blank) && s.Blank[i] {
			middle.addNone()
			continue
		}
		middle.add(wording.Display(fig.Series[1].Values[i], fig.Form), wording.Display(fig.Series[3].Values[i], fig.Form),
			colourUp)
	}
	middle.draw(bar, fig.Middle)
	points := charts.NewScatter()
	for _, n := range []int{0, 2, 4} {
		s := fig.Series[n]
		data := make([]opts.ScatterData, len(s.Values))
		for i := range s.Values {
			data[i] = opts.ScatterData{Value: []any{chartValue(s, i, fig.Form), i}, SymbolSize: 9, Symbol: "circle"}
			if n == 2 {
				data[i].Symbol, data[i].SymbolSize = "diamond", 13
			}
		}
		colour := colourAll
		if n == 2 {
			colour = colourText
		}
		points.AddSeries(s.Name, data, charts.WithItemStyleOpts(opts.ItemStyle{Color: colour}))
	}
	bar.Overlap(points)
	bar.Validate()
	return bar.JSON()
}
