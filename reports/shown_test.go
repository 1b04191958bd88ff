package reports

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"daysheet/events"
)

// shown writes a report as a foreman reads it: tables with aligned columns,
// hours as h:mm, money with two places.
func shown(r Report) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n", r.Title)
	for _, t := range r.Tables {
		fmt.Fprintf(&b, "\n[%s]\n", t.Title)
		if len(t.Rows) == 0 {
			fmt.Fprintf(&b, "%s\n", t.Empty)
			continue
		}
		b.WriteString(aligned(t))
	}
	b.WriteString("\n")
	for _, f := range r.Figures {
		fmt.Fprintf(&b, "(%s) %s\n", f.Title, f.Finding)
	}
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "* %s\n", n)
	}
	return b.String()
}

func aligned(t Table) string {
	all := [][]string{nil}
	for _, c := range t.Columns {
		all[0] = append(all[0], c.Title)
	}
	rows := t.Rows
	if t.Total != nil {
		rows = append(slices.Clone(rows), t.Total)
	}
	for _, row := range rows {
		var texts []string
		for i, c := range row {
			texts = append(texts, read(t.Columns[i].Form, c))
		}
		all = append(all, texts)
	}
	widths := make([]int, len(t.Columns))
	for _, texts := range all {
		for i, s := range texts {
			widths[i] = max(widths[i], utf8.RuneCountInString(s))
		}
	}
	var b strings.Builder
	for _, texts := range all {
		var l strings.Builder
		for i, s := range texts {
			pad := strings.Repeat(" ", widths[i]-utf8.RuneCountInString(s))
			if f := t.Columns[i].Form; f == FormText || f == FormName || f == FormDay {
				l.WriteString(s + pad + "  ")
			} else {
				l.WriteString(pad + s + "  ")
			}
		}
		b.WriteString(strings.TrimRight(l.String(), " ") + "\n")
	}
	return b.String()
}

// read writes a cell. It does not use the words of the reports, so that a
// mistake in one shows beside the other.
func read(form Form, c Cell) string {
	if c.Blank {
		return "-"
	}
	n, sign := c.Number, ""
	if n < 0 {
		n, sign = -n, "-"
	}
	switch form {
	case FormText, FormName, FormDay:
		return c.Text
	case FormMinutes:
		return fmt.Sprintf("%s%d:%02d", sign, n/60, n%60)
	case FormMoney:
		if n%100 != 0 {
			return fmt.Sprintf("%s%d.%04d", sign, n/10000, n%10000)
		}
		return fmt.Sprintf("%s%d.%02d", sign, n/10000, n%10000/100)
	case FormShare:
		return fmt.Sprintf("%s%d.%02d %%", sign, n/100, n%100)
	case FormQuantity, FormRate, FormIndex, FormReading:
		return fmt.Sprintf("%s%d.%03d", sign, n/1000, n%1000)
	}
	return fmt.Sprintf("%s%d", sign, n)
}

// endings says how the key of a column with each form ends.
var endings = map[Form]string{
	FormMinutes: "_minutes", FormMoney: "_e4", FormShare: "_basis_points", FormQuantity: "_milli",
	FormRate: "_per_unit_milli", FormIndex: "_index_milli", FormReading: "_reading_milli", FormCount: "_count",
}

// checkShape requires what every output relies on.
func checkShape(t *testing.T, r Report) {
	t.Helper()
	for _, table := range r.Tables {
		if table.Empty == "" {
			t.Errorf("table %s says nothing where it is empty", table.Name)
		}
		seen := map[string]bool{}
		for _, c := range table.Columns {
			if seen[c.Key] || !strings.HasSuffix(c.Key, endings[c.Form]) {
				t.Errorf("table %s: key %q of form %q stands twice or does not name its unit", table.Name, c.Key, c.Form)
			}
			seen[c.Key] = true
		}
		rows := table.Rows
		if table.Total != nil {
			rows = append(slices.Clone(rows), table.Total)
		}
		for i, row := range rows {
			if len(row) != len(table.Columns) {
				t.Fatalf("table %s row %d: %d cells for %d columns", table.Name, i, len(row), len(table.Columns))
			}
			for k, c := range row {
				if c.Job == events.FirmJob {
					t.Errorf("table %s row %d: the firm's own key appears as a job", table.Name, i)
				}
				if form := table.Columns[k].Form; form == FormQuantity && c.Unit == "" && !c.Blank {
					t.Errorf("table %s row %d: a quantity without a unit", table.Name, i)
				}
			}
		}
	}
	for _, f := range r.Figures {
		if f.Finding.String() == "" || len(f.Categories) == 0 {
			t.Errorf("figure %s has no finding or no categories", f.Name)
		}
		for _, s := range f.Series {
			if len(s.Values) != len(f.Categories) || s.Blank != nil && len(s.Blank) != len(f.Categories) {
				t.Errorf("figure %s: series %s has not one value for each category", f.Name, s.Name)
			}
		}
	}
}

// checkExplained requires that the query of every figure sums to the figure.
func checkExplained(t *testing.T, m *memory, r Report) {
	t.Helper()
	for _, table := range r.Tables {
		for _, row := range append(slices.Clone(table.Rows), table.Total) {
			for i, c := range row {
				if c.Explain == nil {
					continue
				}
				if err := c.Explain.Validate(); err != nil {
					t.Errorf("%s, %s: the query is refused: %v", table.Name, table.Columns[i].Key, err)
				}
				var sum Total
				if totals := m.sum(*c.Explain); len(totals) > 0 {
					sum = totals[0]
				}
				got := map[Form]int64{FormMinutes: sum.Minutes, FormMoney: sum.CostE4,
					FormQuantity: sum.QuantityMilli, FormCount: sum.Facts}[table.Columns[i].Form]
				if got != c.Number || c.Blank {
					t.Errorf("%s, row %q, %s: shows %d (blank: %v), its facts sum to %d",
						table.Name, row[0].Text, table.Columns[i].Key, c.Number, c.Blank, got)
				}
			}
		}
	}
}
