package reporting

import (
	"slices"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"daysheet/reports"
	"daysheet/services/wording"
)

// chartBody is what assets/charts.js draws. Colours, fonts and number formats
// are added there, where the reader's colour scheme is known.
type chartBody struct {
	Option   map[string]any `json:"option" doc:"Option of the chart library"`
	Form     reports.Form   `json:"form"`
	Unit     string         `json:"unit" doc:"Unit beside the numbers; may be empty"`
	Currency string         `json:"currency"`
	Digits   int            `json:"digits" doc:"Decimals of the currency"`
	Locale   string         `json:"locale"`
	Shape    reports.Shape  `json:"shape"`
	Shown    []shownSeries  `json:"shown" doc:"The numbers of the figure, where bars alone do not tell them; else null"`
	Whole    []bool         `json:"whole" doc:"With the shape steps: the bars that are no change"`
	Middle   string         `json:"middle,omitempty" doc:"With the shape range: what the bar is"`
}

// shownSeries is a series as tooltips and labels tell it.
type shownSeries struct {
	Name   string `json:"name"`
	Values []any  `json:"values"`
}

// newChart turns a figure into a chart. Numbers are converted for display; the
// table beside the chart holds the exact ones.
func newChart(fig reports.Figure, w teller) chartBody {
	body := chartBody{Form: fig.Form, Unit: w.UnitSign(fig.Unit), Currency: w.Currency, Digits: w.Digits,
		Locale: w.Format.Language, Shape: fig.Shape}
	fig = w.figure(fig)
	switch fig.Shape {
	case reports.ShapeLine:
		body.Option = lineOption(fig)
	case reports.ShapeSteps:
		body.Option, body.Shown, body.Whole = stepsOption(fig), shown(fig), fig.Whole
	case reports.ShapeRange:
		body.Option, body.Shown, body.Middle = rangeOption(fig), shown(fig), fig.Middle
	default:
		body.Option = barOption(fig)
	}
	return body
}

// figure returns a figure with its words in the language of the page.
func (w teller) figure(fig reports.Figure) reports.Figure {
	fig.Finding = reports.Phrase{Format: w.phrase(fig.Finding)}
	fig.Middle = w.Translate(fig.Middle)
	fig.Categories, fig.Series = slices.Clone(fig.Categories), slices.Clone(fig.Series)
	for i, category := range fig.Categories {
		fig.Categories[i] = w.Dated(w.Translate(category))
	}
	for i, s := range fig.Series {
		fig.Series[i].Name = w.Translate(s.Name)
	}
	return fig
}

func shown(fig reports.Figure) []shownSeries {
	all := make([]shownSeries, len(fig.Series))
	for n, s := range fig.Series {
		all[n].Name = s.Name
		for i := range s.Values {
			all[n].Values = append(all[n].Values, chartValue(s, i, fig.Form))
		}
	}
	return all
}

// barOption draws horizontal bars: names of rooms and tasks are long, and a name
// that does not fit would be left out.
func barOption(fig reports.Figure) map[string]any {
	bar := bars(fig)
	stack := ""
	if fig.Shape == reports.ShapeStacked {
		stack = "all"
	}
	for _, s := range fig.Series {
		data := make([]opts.BarData, len(s.Values))
		for i := range s.Values {
			data[i] = opts.BarData{Value: chartValue(s, i, fig.Form)}
		}
		bar.AddSeries(s.Name, data,
			charts.WithBarChartOpts(opts.BarChart{Stack: stack, BarGap: "10%", BarCategoryGap: "30%"}))
	}
	bar.Validate()
	return bar.JSON()
}

// lineOption draws one line for each series over days or months.
func lineOption(fig reports.Figure) map[string]any {
	line := charts.NewLine()
	line.SetGlobalOptions(sharedOptions(fig)...)
	amounts := opts.YAxis{Type: "value", Min: axisMin(fig)}
	if fig.Close {
		amounts.Min, amounts.Scale = nil, opts.Bool(true)
	}
	line.SetGlobalOptions(charts.WithXAxisOpts(opts.XAxis{Type: "category"}), charts.WithYAxisOpts(amounts))
	line.SetXAxis(fig.Categories)
	for _, s := range fig.Series {
		data := make([]opts.LineData, len(s.Values))
		for i := range s.Values {
			data[i] = opts.LineData{Value: chartValue(s, i, fig.Form)}
		}
		line.AddSeries(s.Name, data, charts.WithLineChartOpts(opts.LineChart{ShowSymbol: opts.Bool(true)}))
	}
	line.Validate()
	return line.JSON()
}

// sharedOptions describes the figure to those who cannot see it, and uses the
// whole width for it.
func sharedOptions(fig reports.Figure) []charts.GlobalOpts {
	legend := len(fig.Series) > 1
	bottom := "8"
	if legend {
		bottom = "40"
	}
	return []charts.GlobalOpts{
		charts.WithAriaOpts(&opts.Aria{
			Enabled: opts.Bool(true),
			Label:   &opts.AriaLabel{Enabled: opts.Bool(true), Description: fig.Finding.String()},
			Decal:   &opts.AriaDecal{Show: opts.Bool(legend && fig.Shape != reports.ShapeRange)},
		}),
		charts.WithLegendOpts(opts.Legend{Show: opts.Bool(legend), Bottom: "0"}),
		charts.WithTooltipOpts(opts.Tooltip{Show: opts.Bool(true), Trigger: "axis"}),
		charts.WithGridOpts(opts.Grid{Left: "8", Right: "24", Top: "8", Bottom: bottom, ContainLabel: opts.Bool(true)}),
	}
}

// axisMin makes an axis of amounts start at nothing, so that lengths compare;
// nil, where amounts below nothing are drawn, lets the library choose.
func axisMin(fig reports.Figure) any {
	for _, s := range fig.Series {
		for _, v := range s.Values {
			if v < 0 {
				return nil
			}
		}
	}
	return 0
}

// chartValue returns what is drawn for the category at i: a number, or the
// library's sign for no value.
func chartValue(s reports.Series, i int, form reports.Form) any {
	if i < len(s.Blank) && s.Blank[i] {
		return "-"
	}
	return wording.Display(s.Values[i], form)
}
