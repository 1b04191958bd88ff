package customers

import (
	"bytes"
	"encoding/base64"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/tables"
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

// tableRead is a table of customers that was read.
type tableRead struct {
	rows   []changed // that would be recorded
	wrong  history.RowErrors
	all    int      // rows
	passed []string // columns that were passed over
}

func (d *Desk) mountTable(server *httpd.Server, read, record *gin.RouterGroup) {
	for _, at := range []string{tableAt, tableAt + "/record"} {
		server.LimitBody(at, 2*tables.BytesMax) // as it is sent again after the dry run, in base64
		server.GiveTime(at, tables.Takes)
	}
	read.GET(tableAt, d.handOut)
	record.POST(tableAt, d.deps.Frame.Handler(d.checkTable))
	record.POST(tableAt+"/record", d.deps.Frame.Handler(d.recordTable))
}

// handOut hands the table out to a person.
func (d *Desk) handOut(c *gin.Context) {
	file, err := d.file(pages.VisitOf(c.Request.Context()))
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Header("Content-Disposition", file.Disposition)
	c.Header("Cache-Control", file.CacheControl)
	c.Data(http.StatusOK, file.ContentType, file.Body)
}

// file writes every customer who can be read, as the table comes in. Lines of an address,
// and contacts, are lines within their field.
func (d *Desk) file(v pages.Visit) (*tables.File, error) {
	known, err := d.readable(v)
	if err != nil {
		return nil, err
	}
	_, format, err := d.speaker(v)
	if err != nil {
		return nil, err
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
	return tables.NewFile(tableName, rows, format.Mark() == ",")
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
	read, err := tableRead{}, events.Refuse("file", nil, "at most %d MiB", tables.BytesMax>>20)
	if len(content) <= tables.BytesMax {
		read, err = d.readTable(v, content)
	}
	switch {
	case events.CodeOf(err) == events.Invalid:
		shown.Problem = problemOf(say, err)
	case err != nil:
		return pages.Page{}, err
	case len(read.wrong) > 0:
		shown.Problem = problem{Says: say.Say("customers.table.refused")}
		for _, e := range read.wrong {
			shown.Errors = append(shown.Errors, pages.RowProblemOf(say, e.Line, e.Column, e.Value, e.Rule))
		}
	default:
		shown.Said = say.Say("customers.table.check", "n", strconv.Itoa(len(read.rows)))
		if len(read.rows) > 0 {
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
	read, err := d.readTable(v, content)
	if err != nil || len(read.wrong) > 0 {
		return d.tablePage(v, content)
	}
	recorded, err := d.recordRows(v, read.rows)
	if err != nil {
		return pages.Page{}, tables.Stopped(recorded, err)
	}
	return pages.Page{Leads: "/customers?recorded=" + strconv.Itoa(recorded)}, nil
}

// rowsAtOnce is how many customers one commit has at most: each may have a long note.
const rowsAtOnce = 50

// recordRows records what rows say, many at once. Where the ledger takes no more, recorded is
// how far it came.
func (d *Desk) recordRows(v pages.Visit, rows []changed) (recorded int, err error) {
	for part := range slices.Chunk(rows, rowsAtOnce) {
		var batch []events.Event
		for _, row := range part {
			e, err := d.sealed(v, v.Firm, row.key, row.details)
			if err != nil {
				return recorded, err
			}
			batch = append(batch, e)
		}
		if _, err := d.deps.Record(v, v.Firm, events.FirmJob, v.Caller.Name, batch); err != nil {
			return recorded, err
		}
		recorded += len(batch)
	}
	return recorded, nil
}

// readTable returns the rows that would be recorded: customers who are new, and those of whom
// something else is known. What a row leaves blank stays.
func (d *Desk) readTable(v pages.Visit, content []byte) (tableRead, error) {
	table, err := history.ReadCustomers(bytes.NewReader(content))
	if err != nil {
		return tableRead{}, err
	}
	known, err := d.readable(v)
	if err != nil {
		return tableRead{}, err
	}
	read, have, seen := tableRead{all: len(table.Rows), passed: table.Unknown}, indexed(known), map[string]bool{}
	for _, row := range table.Rows {
		refuse := func(column, rule string) { read.wrong = append(read.wrong, table.Refuse(row, column, rule)) }
		is, was, rule := have.whose(row)
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
				return tableRead{}, err
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
			read.rows = append(read.rows, changed{is, details})
		}
	}
	return read, nil
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

// index finds customers by their keys and by their names.
type index struct{ byKey, byName map[string][]*customerBody }

func indexed(known []customerBody) index {
	i := index{map[string][]*customerBody{}, map[string][]*customerBody{}}
	for n := range known {
		c := &known[n]
		i.byKey[c.Customer] = []*customerBody{c}
		if c.Details != nil {
			i.byName[c.Details.Name] = append(i.byName[c.Details.Name], c)
		}
	}
	return i
}

// whose finds the customer whom a row is about: by the key, else by the name alone. is tells
// rows about one customer apart from others; was is nil for one who is new.
func (i index) whose(row history.Row) (is string, was *customerBody, rule string) {
	key, name := row.Cells["customer"], strings.TrimSpace(row.Cells["name"])
	found := i.byKey[key]
	switch {
	case key == "":
		found = i.byName[name]
	case !events.ValidToken(key):
		return key, nil, events.TokenRule
	}
	switch {
	case len(found) > 1:
		return name, nil, "several customers have this name: give the key of one"
	case len(found) == 0 && key == "":
		return "name " + name, nil, ""
	case len(found) == 0:
		return key, nil, ""
	}
	was = found[0]
	if was.Details == nil && was.State != stateSigner {
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
