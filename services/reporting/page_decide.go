package reporting

import (
	"daysheet/reports"
	"daysheet/services/wording"
)

// decision is what the page of proposed rates can send: which of them are taken
// over, or turned down, with the evidence that they rest on.
type decision struct {
	Evidence uint64
	Rates    []choice // chosen are those that were not turned down before
}

// newDecision reads the proposals from the report's rows; nil where there are none.
func newDecision(r reports.Report, w teller) *decision {
	d := &decision{Evidence: r.Filter.AsOf}
	for _, row := range r.Tables[0].Rows {
		key := row[0].Key + "|" + row[1].Text + "|" + row[2].Text
		work, book := wording.List(row[0].Text, reports.Spoken(row[1].Text), reports.Spoken(row[2].Text)), w.cell(row[4],
			reports.FormRate)
		name := w.Say("decide.rate-of", "work", work, "proposed", w.cell(row[5], reports.FormRate), "book", book)
		if book == "" {
			name = w.Say("decide.rate-new", "work", work, "proposed", w.cell(row[5], reports.FormRate))
		}
		d.Rates = append(d.Rates, choice{Key: key, Name: name, Chosen: row[len(row)-1].Text == ""})
	}
	if len(d.Rates) == 0 {
		return nil
	}
	return d
}
