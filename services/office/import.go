package office

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/typed"
)

// importPath is where a table is sent in.
const importPath = "/office/import"

// Limits of a table that is sent in: larger ones are for the command line.
const (
	tableBytesMax = 2 << 20
	sentBytesMax  = 2 * tableBytesMax // as it is sent again after the dry run, in base64
	errorsMost    = 100               // shown of a table
)

// pastJobs is the sheet of whole jobs, beside the tables of one kind of things.
const pastJobs = "past-jobs"

// importBody is the page for sending a table in.
type importBody struct {
	Tables         []importTable
	Marks, Orders  []pages.Choice
	Problem        string
	Table, Content string // to be recorded
	Title          string // of the table
	Checked        bool   // a dry run was made
	Summary        []string
	Errors         []string
	MoreErrors     int
	Notices        []string
	Good           int // events that can be recorded
	Bad            int // rows that cannot
	Mark, Order    string
	Repeats        bool // rows that say the same were left out
	Keep           bool // or kept
}

// importTable is a table that can be sent in.
type importTable struct {
	Key, Title, About string
	Columns           []history.Column
	Example           string // address of a file with the columns
	Chosen            bool
}

func importTables() []importTable {
	all := []importTable{
		{Key: string(history.Products), Title: "Products", About: "What the firm buys, with its prices. What is listed so " +
			"already " +
			"is left as it is."},
		{Key: string(history.Purchases), Title: "Purchases", About: "What was bought. Products must be listed."},
		{Key: string(history.Bookings), Title: "Hours", About: "Hours on jobs that are in the ledger."},
	}
	for i := range all {
		all[i].Columns = history.Table(all[i].Key).Columns()
		all[i].Example = "/office/export/" + all[i].Key + ".csv"
	}
	return append(all, importTable{Key: pastJobs, Title: "Past jobs", Columns: history.Columns(),
		Example: "/office/export/" + pastJobs + ".csv", About: "Jobs that were done before the ledger, with estimate, " +
			"work, " +
			"material and bill: so that rates have a history to rest on."})
}

func (d *desk) mountImport(server *httpd.Server, record *gin.RouterGroup) {
	server.LimitBody(importPath, sentBytesMax)
	server.LimitBody(importPath+"/record", sentBytesMax)
	record.GET(importPath, d.deps.Frame.Handler(d.showImport))
	record.POST(importPath, d.deps.Frame.Handler(d.checkTable))
	record.POST(importPath+"/record", d.deps.Frame.Handler(d.recordTable))
	record.GET("/office/export/:file", d.exportTable)
}

func (d *desk) showImport(v pages.Visit) (pages.Page, error) {
	p := importPage(importBody{}, v)
	if n := v.Values.Get("recorded"); n != "" {
		p.Said = fmt.Sprintf("Recorded: %s. Already there and not recorded again: %s.", n, v.Values.Get("before"))
	}
	return p, nil
}

func importPage(body importBody, v pages.Visit) pages.Page {
	body.Tables = importTables()
	chosen := v.Values.Get("table")
	for i := range body.Tables {
		t := &body.Tables[i]
		t.Chosen = t.Key == chosen || chosen == "" && i == 0
		if t.Key == body.Table {
			body.Title = t.Title
		}
	}
	mark, order := v.Values.Get("mark"), v.Values.Get("order")
	body.Marks = []pages.Choice{{Key: "", Name: "as the settings say"}, {Key: ".", Name: "point: 12.50",
		Chosen: mark == "."},
		{Key: ",", Name: "comma: 12,50", Chosen: mark == ","}}
	body.Orders = []pages.Choice{{Key: "", Name: "day first: 4/3 is in March"},
		{Key: "month", Name: "month first: 4/3 is in April", Chosen: order == "month"}}
	body.Mark, body.Order, body.Keep = mark, order, v.Values.Get("keep") != ""
	return pages.Page{Name: "office-import.html", Title: "Tables in and out", Crumbs: crumbs(pages.Link{Text: "Tables " +
		"in and out"}),
		Body: body}
}

// plan reads a table and says what it comes to.
func (d *desk) plan(v pages.Visit, content []byte) (history.Plan, error) {
	names, err := d.names(v)
	if err != nil {
		return history.Plan{}, err
	}
	f := newFilled(v.Values, names)
	opts := history.Options{Firm: v.Firm, Settings: names.Settings, MonthFirst: v.Values.Get("order") == "month",
		Decimal: typed.Decimal(f.format.Mark()), KeepRepeats: v.Values.Get("keep") != "", ListNew: true, Now: d.deps.Clock(),
		Zone: names.Local(d.deps.Clock()).Location(), SkipBad: v.Values.Get("skip") != ""}
	if mark := typed.Decimal(v.Values.Get("mark")); mark == typed.DecimalPoint || mark == typed.DecimalComma {
		opts.Decimal = mark
	}
	for _, p := range names.Listed {
		opts.Products = append(opts.Products, p)
	}
	if v.Values.Get("table") == pastJobs {
		return history.Read(bytes.NewReader(content), opts)
	}
	rows, err := d.deps.Store.Jobs(v, reports.JobQuery{Firm: v.Firm, AsOf: d.deps.Position(v.Firm)})
	if err != nil {
		return history.Plan{}, fmt.Errorf("list jobs: %w", err)
	}
	for _, r := range rows {
		opts.Jobs = append(opts.Jobs, r.Job)
	}
	return history.ReadTable(bytes.NewReader(content), history.Table(v.Values.Get("table")), opts)
}

// checkTable makes the dry run: what would be recorded, and what is wrong with rows.
func (d *desk) checkTable(v pages.Visit) (pages.Page, error) {
	content, err := v.File("file")
	if err != nil {
		return pages.Page{}, err
	}
	if content == nil {
		content, _ = base64.StdEncoding.DecodeString(v.Values.Get("content")) // after a dry run, asked in another way
	}
	switch {
	case len(content) == 0:
		return refusedTable(v, "Choose a file first."), nil
	case len(content) > tableBytesMax:
		return refusedTable(v, "At most 2 MiB come in here: part the file, or use the command daysheet import."), nil
	}
	plan, err := d.plan(v, content)
	var refusal *events.Error
	switch {
	case errors.As(err, &refusal) && refusal.Code == events.Invalid:
		return refusedTable(v, httpd.Sentence(refusal.Rule)), nil
	case err != nil:
		return pages.Page{}, err
	}
	body := importBody{Table: v.Values.Get("table"), Content: base64.StdEncoding.EncodeToString(content), Checked: true,
		Good: plan.Summary.Events, Bad: plan.Summary.Bad, Repeats: len(plan.Notices) > 0}
	body.Summary = summaryOf(plan.Summary)
	for i, e := range plan.Errors {
		if i == errorsMost {
			body.MoreErrors = len(plan.Errors) - errorsMost
			break
		}
		body.Errors = append(body.Errors, httpd.Sentence(e.Error()))
	}
	for _, n := range plan.Notices[:min(errorsMost, len(plan.Notices))] {
		body.Notices = append(body.Notices, fmt.Sprintf("Line %d: %s.", n.Line, n.Text))
	}
	return importPage(body, v), nil
}

func refusedTable(v pages.Visit, problem string) pages.Page {
	p := importPage(importBody{Problem: problem}, v)
	p.Status = http.StatusUnprocessableEntity
	return p
}

// summaryOf tells a dry run in sentences.
func summaryOf(s history.Summary) []string {
	said := []string{fmt.Sprintf("Rows: %d. Rows that cannot be taken as they are: %d.", s.Rows, s.Bad),
		fmt.Sprintf("Records that would be made: %d. What is in the ledger already is not recorded twice.", s.Events)}
	for _, line := range []struct {
		what  string
		names []string
	}{
		{"Columns passed over", s.UnknownColumns}, {"Job types new to the firm", s.NewJobTypes},
		{"Products new to the firm", s.NewProducts}, {"People not in the settings", s.NewPeople},
	} {
		if len(line.names) > 0 {
			said = append(said, line.what+": "+strings.Join(line.names, ", ")+".")
		}
	}
	return said
}

// recordTable records what the dry run showed: the same content, read again.
func (d *desk) recordTable(v pages.Visit) (pages.Page, error) {
	content, err := base64.StdEncoding.DecodeString(v.Values.Get("content"))
	if err != nil || len(content) == 0 {
		return refusedTable(v, "The table did not arrive: choose the file again."), nil
	}
	plan, err := d.plan(v, content)
	if err != nil {
		return pages.Page{}, err
	}
	if len(plan.Errors) > 0 && v.Values.Get("skip") == "" {
		return d.checkTable(v)
	}
	recorded, before := 0, 0
	for _, batch := range plan.Batches {
		receipts, err := d.deps.Record(v, v.Firm, batch.Job, v.Caller.Name, batch.Events)
		if err != nil {
			return d.stopped(v, recorded, err)
		}
		for _, r := range receipts {
			if r.Duplicate {
				before++
			} else {
				recorded++
			}
		}
	}
	return pages.Page{Leads: fmt.Sprintf("%s?recorded=%d&before=%d", importPath, recorded, before)}, nil
}

// stopped says how far a table was recorded when the log did not take more.
func (d *desk) stopped(v pages.Visit, recorded int, err error) (pages.Page, error) {
	var refusal *events.Error
	if !errors.As(err, &refusal) || refusal.Code == events.Internal {
		return pages.Page{}, err
	}
	p := refusedTable(v, fmt.Sprintf("After %d records: %s Send the same file again once that is mended: nothing is "+
		"recorded "+
		"twice.", recorded, httpd.Sentence(refusal.Error())))
	p.Status = httpd.Problem(err).Status
	return p, nil
}

// exportTable hands a table out in the columns in which it can be sent in again:
// products as they are listed, and of the others the columns with one example.
func (d *desk) exportTable(c *gin.Context) {
	name, _ := strings.CutSuffix(c.Param("file"), ".csv")
	tables := importTables()
	at := slices.IndexFunc(tables, func(t importTable) bool { return t.Key+".csv" == c.Param("file") })
	if at < 0 {
		httpd.Abort(c, &events.Error{Code: events.NotFound, Field: "file", Value: c.Param("file"), Rule: "there is no " +
			"such table"})
		return
	}
	caller, _ := httpd.CallerFrom(c.Request.Context())
	names, err := d.names(pages.Visit{Context: c.Request.Context(), Caller: caller, Firm: caller.Firm})
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	rows := [][]string{{}, {}}
	for _, column := range tables[at].Columns {
		rows[0], rows[1] = append(rows[0], column.Name), append(rows[1], column.Example)
	}
	if name == string(history.Products) && len(names.Listed) > 0 {
		rows = append(rows[:1], productRows(names)...)
	}
	var b bytes.Buffer
	b.WriteString("\ufeff") // spreadsheets take it for UTF-8 then
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	if err := w.WriteAll(rows); err != nil {
		httpd.Abort(c, fmt.Errorf("write table: %w", err))
		return
	}
	c.Header("Content-Disposition", `attachment; filename="`+c.Param("file")+`"`)
	c.Data(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
}

// productRows writes products as a table of them is read.
func productRows(names reports.Names) [][]string {
	f := newFilled(nil, names).format
	number := func(n int64, places int) string {
		if n == 0 {
			return ""
		}
		return f.Typed(n, places)
	}
	var rows [][]string
	for _, choice := range named(names.Products) {
		p := names.Listed[choice.Key]
		reusable, recoat := "", ""
		if p.Reusable {
			reusable = "yes"
		}
		if p.RecoatMinutes > 0 {
			recoat = f.Hours(p.RecoatMinutes)
		}
		rows = append(rows, []string{typed.Harmless(p.Name), string(p.Unit), f.Typed(p.PriceE4, 4), p.Product,
			number(p.PackMilli, 3), reusable,
			number(p.CleanRemovalDays, 0), number(p.VolumeSolidsBasisPoints, 2), recoat, number(p.DryFilmUm, 0),
			number(p.SpreadingRateMilli, 3)})
	}
	return rows
}
