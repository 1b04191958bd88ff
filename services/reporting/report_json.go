package reporting

import (
	"bytes"
	"encoding/json"
	"fmt"

	"daysheet/reports"
)

// reportBody is a report in JSON.
type reportBody struct {
	Report   string       `json:"report" doc:"Name of the report"`
	Title    string       `json:"title"`
	Filter   filterBody   `json:"filter" doc:"What was asked for"`
	AsOf     uint64       `json:"as_of" doc:"Position in the log that the answer is valid for"`
	Currency string       `json:"currency" doc:"ISO 4217 code of the amounts of money; empty before the firm has settings"`
	Tables   []tableBody  `json:"tables" doc:"The first is the main one"`
	Figures  []figureBody `json:"figures" doc:"What the report draws"`
	Notes    []string     `json:"notes" doc:"What to know to read it right"`
}

type filterBody struct {
	Job     string `json:"job,omitempty"`
	JobType string `json:"job_type,omitempty"`
	From    string `json:"from,omitempty" doc:"First day on which jobs were finished"`
	To      string `json:"to,omitempty" doc:"Last day on which jobs were finished"`
}

type tableBody struct {
	Name    string       `json:"name"`
	Title   string       `json:"title"`
	Columns []columnBody `json:"columns" doc:"The members of each row, in the order in which they are shown"`
	Rows    []rowBody    `json:"rows"`
	Total   *rowBody     `json:"total" doc:"Null where adding up has no meaning"`
}

type columnBody struct {
	Key   string `json:"key"`
	Title string `json:"title"`
	Form  string `json:"form" doc:"How a number is to be read" enum:"text,name,day,count,minutes,quantity,money,share,rate,index"`
}

type figureBody struct {
	Name    string `json:"name"`
	Title   string `json:"title"`
	Finding string `json:"finding" doc:"What is to be seen, in one sentence"`
}

// rowBody is an object whose members are the columns of its table: whole
// numbers, texts, or null where a figure has no meaning. A column of the form
// "name" is two members: the key, and the name under the key with "_name". Members of "explain"
// lead to the facts behind the figure of the same key.
type rowBody json.RawMessage

// MarshalJSON writes the row as it was built, with members in column order.
func (r rowBody) MarshalJSON() ([]byte, error) { return r, nil }

func newReportBody(r reports.Report) (reportBody, error) {
	body := reportBody{
		Report: r.Name, Title: r.Title.String(), AsOf: r.Filter.AsOf, Currency: r.Names.Currency,
		Filter: filterBody{r.Filter.Job, r.Filter.JobType, string(r.Filter.From), string(r.Filter.To)},
		Tables: []tableBody{}, Figures: []figureBody{}, Notes: []string{},
	}
	for _, note := range r.Notes {
		body.Notes = append(body.Notes, note.String())
	}
	for _, t := range r.Tables {
		table := tableBody{Name: t.Name, Title: t.Title, Rows: []rowBody{}}
		for _, c := range t.Columns {
			table.Columns = append(table.Columns, columnBody{c.Key, c.Title, string(c.Form)})
		}
		for _, cells := range t.Rows {
			row, err := newRow(t.Columns, cells)
			if err != nil {
				return body, fmt.Errorf("write table %s: %w", t.Name, err)
			}
			table.Rows = append(table.Rows, row)
		}
		if t.Total != nil {
			total, err := newRow(t.Columns, t.Total)
			if err != nil {
				return body, fmt.Errorf("write total of table %s: %w", t.Name, err)
			}
			table.Total = &total
		}
		body.Tables = append(body.Tables, table)
	}
	for _, f := range r.Figures {
		body.Figures = append(body.Figures, figureBody{f.Name, f.Title.String(), f.Finding.String()})
	}
	return body, nil
}

// newRow writes a row with its members in the order of the columns, which a map
// would lose.
func newRow(columns []reports.Column, cells []reports.Cell) (rowBody, error) {
	if len(cells) != len(columns) {
		return nil, fmt.Errorf("a row has %d cells for %d columns", len(cells), len(columns))
	}
	var row bytes.Buffer
	explain := map[string]string{}
	row.WriteByte('{')
	for i, c := range columns {
		cell := cells[i]
		if err := member(&row, c.Key, rawValue(cell, c.Form)); err != nil {
			return nil, err
		}
		if c.Form == reports.FormName {
			if err := member(&row, c.Key+nameSuffix, cell.Text); err != nil {
				return nil, err
			}
		}
		if cell.Explain != nil {
			explain[c.Key] = "/v1/explain?" + explainValues(*cell.Explain, measureOf(c.Form)).Encode()
		}
	}
	if len(explain) > 0 {
		if err := member(&row, "explain", explain); err != nil {
			return nil, err
		}
	}
	row.WriteByte('}')
	return row.Bytes(), nil
}

// nameSuffix ends the key of the name that stands beside a key.
const nameSuffix = "_name"

// rawValue returns what a cell holds: a whole number, a text, or nil.
func rawValue(c reports.Cell, form reports.Form) any {
	switch {
	case c.Blank:
		return nil
	case form == reports.FormName:
		return c.Key
	case form == reports.FormText || form == reports.FormDay:
		return c.Text
	}
	return c.Number
}

func member(out *bytes.Buffer, key string, value any) error {
	if out.Len() > 1 {
		out.WriteByte(',')
	}
	name, err := json.Marshal(key)
	if err != nil {
		return fmt.Errorf("write member %q: %w", key, err)
	}
	raw, err := json.Marshal(value)
	if err != nil {
		return fmt.Errorf("write member %q: %w", key, err)
	}
	out.Write(name)
	out.WriteByte(':')
	out.Write(raw)
	return nil
}
