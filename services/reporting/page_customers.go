package reporting

import (
	"fmt"
	"net/url"

	"daysheet/reports"
)

// customersNamed bounds the customers that a page calls by name: each is opened with a
// key of its own.
const customersNamed = 500

// nameCustomers calls customers by name in the table of them, and leads to their pages,
// where this process can read names. What is handed out as a file keeps the keys.
func (s *site) nameCustomers(v visit, shown *reportView, r reports.Report) error {
	if s.deps.Customer == nil {
		return nil
	}
	for i, t := range r.Tables {
		if t.Name != "customers" || i == 0 { // the first table is what a report is about
			continue
		}
		rows := shown.Tables[i-1].Rows
		for n := range rows[:min(len(rows), customersNamed)] {
			key, cell := t.Rows[n][0].Key, &rows[n].Cells[0]
			if key == "" {
				continue
			}
			name, err := s.deps.Customer(v, v.Firm, key)
			if err != nil {
				return fmt.Errorf("read customer %s: %w", key, err)
			}
			if name != "" {
				cell.Text, cell.Word, cell.Address = name, key, "/customers/"+url.PathEscape(key)
			}
		}
	}
	return nil
}
