package reporting

import (
	"fmt"
	"net/url"
	"slices"
	"strings"

	"daysheet/reports"
	"daysheet/services/pages"
)

// longText is the number of bytes from which a text is a sentence.
const longText = 60

func isNumber(form reports.Form) bool {
	return form != reports.FormText && form != reports.FormName && form != reports.FormDay
}

func newTableView(id string, t reports.Table, w teller) tableView {
	v := tableView{ID: id, Title: w.Translate(t.Title), Empty: w.Translate(t.Empty)}
	if v.Empty == "" {
		v.Empty = w.Say("table.empty")
	}
	below := sentences(t)
	for i, c := range t.Columns {
		if !forPrograms(c.Key) && !below[i] {
			v.Columns = append(v.Columns, pages.Column{Title: w.Translate(c.Title), Measure: w.Measure(c.Form),
				Number: isNumber(c.Form)})
		}
	}
	for _, row := range t.Rows {
		v.Rows = append(v.Rows, newRowView(t.Columns, row, below, w))
	}
	if t.Total != nil {
		v.Total = newRowView(t.Columns, t.Total, below, w).Cells
	}
	return v
}

// sentences tells by their numbers which columns hold sentences. The first one shown
// stays: it says what a row is about.
func sentences(t reports.Table) map[int]bool {
	found := map[int]bool{}
	first := slices.IndexFunc(t.Columns, func(c reports.Column) bool { return !forPrograms(c.Key) })
	for i, c := range t.Columns {
		found[i] = i != first && c.Form == reports.FormText && !forPrograms(c.Key) &&
			slices.ContainsFunc(t.Rows, func(row []reports.Cell) bool { return i < len(row) && len(row[i].Text) > longText })
	}
	return found
}

// differencePrefix begins the keys of columns that are actual less budget.
const differencePrefix = "difference_"

// forPrograms reports whether pages leave a column out: each quantity says its
// unit there, and each mark what it means.
func forPrograms(key string) bool { return key == "unit" || key == "mark" }

func newRowView(columns []reports.Column, cells []reports.Cell, below map[int]bool, w teller) pages.Row {
	var row pages.Row
	for i, c := range cells {
		column := columns[i]
		switch {
		case forPrograms(column.Key):
		case below[i]:
			if c.Text != "" {
				row.Remarks = append(row.Remarks, pages.Remark{Title: w.Translate(column.Title), Text: w.cell(c, column.Form)})
			}
		default:
			row.Cells = append(row.Cells, newCellView(column, c, len(row.Cells) == 0, w))
		}
	}
	return row
}

func newCellView(column reports.Column, c reports.Cell, first bool, w teller) cellView {
	number := isNumber(column.Form)
	v := cellView{
		Text: w.cell(c, column.Form), Number: number, Head: first && !number, Blank: c.Blank,
		Address: addressOf(c, column),
	}
	if column.Key == "surface" || column.Key == "method" {
		v.Text = reports.Spoken(v.Text)
	}
	if c.Job != "" && c.Job != c.Text {
		v.Word = c.Job // several jobs may have one title
	}
	if number && !c.Blank && strings.HasPrefix(column.Key, differencePrefix) {
		v.Text, v.Word = w.overOrUnder(v.Text, c.Number)
	}
	return v
}

// addressOf returns where a cell leads: a job to its page, a figure to the facts
// it is made of, and the name of a thing to what was recorded of it.
func addressOf(c reports.Cell, column reports.Column) string {
	switch {
	case c.Blank:
		return ""
	case c.Job != "":
		return "/jobs/" + url.PathEscape(c.Job)
	case c.Explain != nil:
		return "/explain?" + explainValues(*c.Explain, measureOf(column.Form)).Encode()
	case column.Form == reports.FormName && c.Key != "":
		return recordsOf(column.Key, c.Key)
	}
	return ""
}

// recordsOf returns where a named thing leads: a job type to its jobs, what work is done
// by and with to its hours or amounts on all jobs; empty for other things.
func recordsOf(dimension, key string) string {
	v := url.Values{dimension: {key}, string(reports.BySide): {string(reports.SideActual)}}
	switch reports.Dimension(dimension) {
	case reports.ByJobType:
		return "/reports/job-summary?" + url.Values{dimension: {key}}.Encode()
	case reports.ByPerson, reports.ByGrade, reports.ByTask:
		v.Set(string(reports.ByKind), string(reports.KindLabour))
		v.Set("of", string(measureMinutes))
	case reports.ByProduct:
		v.Set(string(reports.ByKind), string(reports.KindMaterial))
		v.Set("of", string(measureQuantity))
	default:
		return ""
	}
	return "/explain?" + v.Encode()
}

// phrase says what a report says, with the signs of the locale in its numbers.
func (w teller) phrase(p reports.Phrase) string { return w.Sentence(p.In(w.Translate)) }

// cell writes a cell: units as they are read, and what the report itself says in the
// language of the page.
func (w teller) cell(c reports.Cell, form reports.Form) string {
	if c.Says != nil && !c.Blank {
		return w.phrase(*c.Says)
	}
	return w.Cell(c, form)
}

// overOrUnder says a difference by sign and word, never by colour alone.
func (w teller) overOrUnder(text string, n int64) (signed, word string) {
	switch {
	case n > 0:
		return "+" + text, w.Say("table.over")
	case n < 0:
		return text, w.Say("table.under")
	}
	return text, ""
}

// figureView is a figure as a page shows it: the chart's source, and the same
// numbers as a table.
type figureView struct {
	Title   string
	Finding string
	Source  string // address of the chart; empty where charts cannot be drawn
	Table   tableView
}

func newFigureView(id string, fig reports.Figure, source string, w teller) figureView {
	t := tableView{ID: id, Title: fig.Title.In(w.Translate), Empty: w.Say("table.no-chart"), Columns: []pages.Column{{}}}
	t.Columns[0].Title = w.Say("table.of")
	for _, s := range fig.Series {
		t.Columns = append(t.Columns, pages.Column{Title: w.Translate(s.Name), Measure: w.Measure(fig.Form), Number: true})
	}
	for i, category := range fig.Categories {
		row := []cellView{{Text: w.Dated(w.Translate(category)), Head: true}}
		for _, s := range fig.Series {
			blank := i < len(s.Blank) && s.Blank[i]
			row = append(row, cellView{Text: w.Number(s.Values[i], fig.Form, fig.Unit), Number: true, Blank: blank})
		}
		t.Rows = append(t.Rows, pages.Row{Cells: row})
	}
	if len(t.Rows) == 0 {
		source = ""
	}
	return figureView{t.Title, w.phrase(fig.Finding), source, t}
}

// reportView is a report as a page shows it.
type reportView struct {
	First   *tableView  // the table that says most; nil where there is none
	Tables  []tableView // the others
	Figures []figureView
	Notes   []string
}

// newReportView lays a report out. Names on the page begin with prefix, since a
// page can hold several reports.
func (s *site) newReportView(prefix string, r reports.Report, w teller) reportView {
	var v reportView
	for _, note := range r.Notes {
		v.Notes = append(v.Notes, w.phrase(note))
	}
	for i, t := range r.Tables {
		view := newTableView(prefix+"-"+t.Name, t, w)
		if i == 0 {
			v.First = &view
		} else {
			v.Tables = append(v.Tables, view)
		}
	}
	for _, fig := range r.Figures {
		source := ""
		if s.frame.Has(chartLibrary) {
			source = fmt.Sprintf("/reports/%s/figures/%s.json?%s",
				r.Name, url.PathEscape(fig.Name), filterValues(r.Filter).Encode())
		}
		v.Figures = append(v.Figures, newFigureView(prefix+"-figure-"+fig.Name, fig, source, w))
	}
	return v
}
