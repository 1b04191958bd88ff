package customers

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/typed"
)

// tableAt is where customers are taken out as a table, and one is sent in.
const tableAt = "/customers.csv"

// tablePage is what there is to say of a table that was sent in.
type tablePage struct {
	Said    string // what was recorded, or would be
	Problem problem
	Errors  []pages.RowProblem
	Content string // to be recorded; empty where there is nothing, or a row is wrong
}

// changed is a row that comes to a record.
type changed struct {
	key     string
	details Details
}

func (d *Desk) mountTable(read, record *gin.RouterGroup) {
	read.GET(tableAt, d.handOut)
	record.POST(tableAt, d.deps.Frame.Handler(d.checkTable))
	record.POST(tableAt+"/record", d.deps.Frame.Handler(d.recordTable))
}

// handOut writes every customer who can be read, as the table comes in. Lines of an address,
// and contacts, are lines within their field.
func (d *Desk) handOut(c *gin.Context) {
	caller, err := callerOf(c.Request.Context())
	if err == nil {
		err = d.writeTable(c, caller.Firm)
	}
	if err != nil {
		httpd.Abort(c, err)
	}
}

func (d *Desk) writeTable(c *gin.Context, firm string) error {
	v := pages.Visit{Context: c.Request.Context(), Firm: firm}
	known, err := d.readable(v)
	if err != nil {
		return err
	}
	_, format, err := d.speaker(v)
	if err != nil {
		return err
	}
	rows := [][]string{nil}
	for _, column := range history.CustomerColumns() {
		rows[0] = append(rows[0], column.Name)
	}
	for _, one := range known {
		if one.Details != nil {
			rows = append(rows, []string{typed.Harmless(one.Details.Name), one.Customer, typed.Harmless(one.Details.Address),
				typed.Harmless(strings.Join(one.Details.Contacts, "\n")), typed.Harmless(one.Details.Note)})
		}
	}
	var b bytes.Buffer
	if err := (typed.CSV{Mark: true, Comma: format.Mark() == ","}).Write(&b, rows); err != nil {
		return fmt.Errorf("write customers: %w", err)
	}
	c.Header("Content-Disposition", `attachment; filename="customers.csv"`)
	c.Header("Cache-Control", "no-store")
	c.Data(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
	return nil
}

// readable opens every customer of the firm.
func (d *Desk) readable(v pages.Visit) ([]customerBody, error) {
	all, err := d.all(v, v.Firm)
	if err != nil {
		return nil, err
	}
	known := make([]customerBody, len(all))
	for i, c := range all {
		if known[i], err = d.show(v.Firm, c); err != nil {
			return nil, err
		}
	}
	return known, nil
}

// checkTable makes the dry run: what would be recorded, and what is wrong with rows.
func (d *Desk) checkTable(v pages.Visit) (pages.Page, error) {
	content, err := v.File("file")
	if err != nil {
		return pages.Page{}, err
	}
	return d.tablePage(v, content)
}

func (d *Desk) tablePage(v pages.Visit, content []byte) (pages.Page, error) {
	say, _, err := d.speaker(v)
	if err != nil {
		return pages.Page{}, err
	}
	var shown tablePage
	rows, wrong, err := d.readTable(v, content)
	switch {
	case events.CodeOf(err) == events.Invalid:
		shown.Problem = problemOf(say, err)
	case err != nil:
		return pages.Page{}, err
	case len(wrong) > 0:
		shown.Problem = problem{Says: say.Say("customers.table.refused")}
		for _, e := range wrong {
			shown.Errors = append(shown.Errors, pages.RowProblemOf(say, e.Line, e.Column, e.Value, e.Rule))
		}
	default:
		shown.Said = say.Say("customers.table.check", "n", strconv.Itoa(len(rows)))
		if len(rows) > 0 {
			shown.Content = base64.StdEncoding.EncodeToString(content)
		}
	}
	p, err := d.listPage(v, formView{New: true, Action: "/customers"}, nil, shown)
	if shown.Problem.Says != "" {
		p.Status = http.StatusUnprocessableEntity
	}
	return p, err
}

// recordTable records what the dry run showed: the same content, read again.
func (d *Desk) recordTable(v pages.Visit) (pages.Page, error) {
	content, err := base64.StdEncoding.DecodeString(v.Values.Get("content"))
	if err != nil {
		return pages.Page{}, events.Refuse("content", nil, "the form cannot be read")
	}
	rows, wrong, err := d.readTable(v, content)
	if err != nil || len(wrong) > 0 {
		return d.tablePage(v, content)
	}
	for _, row := range rows {
		if _, err := d.put(v, v.Caller, row.key, row.details, ""); err != nil {
			return pages.Page{}, err
		}
	}
	return pages.Page{Leads: "/customers?recorded=" + strconv.Itoa(len(rows))}, nil
}

// readTable returns the rows that would be recorded: customers who are new, and those of whom
// something else is known. What a row leaves blank stays.
func (d *Desk) readTable(v pages.Visit, content []byte) ([]changed, history.RowErrors, error) {
	table, err := history.ReadCustomers(bytes.NewReader(content))
	if err != nil {
		return nil, nil, err
	}
	known, err := d.readable(v)
	if err != nil {
		return nil, nil, err
	}
	var all []changed
	var wrong history.RowErrors
	seen := map[string]bool{}
	for _, row := range table.Rows {
		refuse := func(column, rule string) { wrong = append(wrong, table.Refuse(row, column, rule)) }
		is, was, rule := whose(row, known)
		if rule == "" && seen[is] {
			rule = "it stands twice in the list"
		}
		if seen[is] = true; rule != "" {
			refuse(keyColumn(row), rule)
			continue
		}
		details, old := detailsOf(row, was), Details{}
		if err := details.check(); err != nil {
			refusal := (*events.Error)(nil)
			if !errors.As(err, &refusal) {
				return nil, nil, err
			}
			column, _, _ := strings.Cut(refusal.Field, "[")
			refuse(column, refusal.Rule)
			continue
		}
		if was != nil && was.Details != nil {
			old = *was.Details
		}
		if was == nil {
			is = keyOf(row)
		}
		if was == nil || !old.same(details) {
			all = append(all, changed{is, details})
		}
	}
	return all, wrong, nil
}

// keyColumn is the column that says whose row it is.
func keyColumn(row history.Row) string {
	if row.Cells["customer"] == "" {
		return "name"
	}
	return "customer"
}

// keyOf returns the key of a customer who is new. One that is made says nothing of the name:
// a key stays readable for ever.
func keyOf(row history.Row) string {
	if key := row.Cells["customer"]; key != "" {
		return key
	}
	return newKey()
}

// whose finds the customer whom a row is about: by the key, else by the name alone. is tells
// rows about one customer apart from others; was is nil for one who is new.
func whose(row history.Row, known []customerBody) (is string, was *customerBody, rule string) {
	key, name := row.Cells["customer"], strings.TrimSpace(row.Cells["name"])
	if key != "" && !events.ValidToken(key) {
		return key, nil, events.TokenRule
	}
	for i := range known {
		c := &known[i]
		if key != "" && c.Customer != key || key == "" && (c.Details == nil || c.Details.Name != name) {
			continue
		}
		if was != nil {
			return name, nil, "several customers have this name: give the key of one"
		}
		was = c
	}
	switch {
	case was == nil && key == "":
		return "name " + name, nil, ""
	case was == nil:
		return key, nil, ""
	case was.Details == nil && was.State != stateSigner:
		return key, was, was.Says
	}
	return was.Customer, was, ""
}

// detailsOf returns what is known of a customer with what a row says.
func detailsOf(row history.Row, was *customerBody) Details {
	var is Details
	if was != nil && was.Details != nil {
		is = *was.Details
		is.Contacts = slices.Clone(is.Contacts)
	}
	for column, into := range map[string]*string{"name": &is.Name, "address": &is.Address, "note": &is.Note} {
		if row.Cells[column] != "" {
			*into = row.Cells[column]
		}
	}
	if row.Cells["contacts"] != "" {
		is.Contacts = nil
		for line := range strings.Lines(row.Cells["contacts"]) {
			if line = strings.TrimSpace(line); line != "" {
				is.Contacts = append(is.Contacts, line)
			}
		}
	}
	return is
}
