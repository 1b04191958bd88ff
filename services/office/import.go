package office

import (
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
	"daysheet/services/tables"
	"daysheet/services/texts"
)

// importPath is where a table is sent in.
const importPath = "/office/import"

// Limits of a table that is sent in.
const (
	sentBytesMax = 2 * tables.BytesMax // as it is sent again after the dry run, in base64
	errorsMost   = 100                 // shown of a table
)

// pastJobs is the sheet of whole jobs, beside the tables of one kind of things.
const pastJobs = "past-jobs"

// importBody is the page for sending a table in.
type importBody struct {
	Tables         []importTable
	Customers      bool // theirs is a table of their own, which the page leads to
	Marks, Orders  []pages.Choice
	Problem        string
	Table, Content string // to be recorded
	Title          string // of the table
	Checked        bool   // a dry run was made
	Summary        []string
	Errors         []pages.RowProblem
	MoreErrors     int
	Notices        []pages.RowProblem
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
	Recorded          string // address of a file with what is recorded; empty where Example is that
	List              bool   // it is one that rows add to
	Whole             bool   // Example is the list as it stands, and no example
	Chosen            bool
}

// importTables lists the tables. say says what they hold; without it there are the keys
// of what it would say.
func importTables(say *texts.Speaker) []importTable {
	var all []importTable
	for _, table := range history.Tables() {
		all = append(all, importTable{Key: string(table), Columns: table.Columns()})
	}
	all = append(all, importTable{Key: pastJobs, Columns: history.Columns()})
	for i := range all {
		t := &all[i]
		t.Title, t.About, t.Example = "import."+t.Key, "import."+t.Key+".about", exportPath+t.Key+".csv"
		switch table := history.Table(t.Key); table {
		case history.People, history.Grades, history.JobTypes, history.Tasks, history.Rates:
			t.List, t.Whole = true, true
		case history.Jobs, history.Products:
			t.Whole = true
		case history.Purchases:
			t.Recorded = exportPath + recordedPurchases + ".csv"
		}
		if say == nil {
			continue
		}
		t.Title, t.About = say.Say(t.Title), say.Say(t.About)
		t.Columns = slices.Clone(t.Columns)
		for k := range t.Columns {
			t.Columns[k].Meaning = say.Say(columnKey(t.Key, t.Columns[k]))
		}
	}
	return all
}

// files leads from a form to the table of the same things, out and in: where one is at hand
// there are soon many. There are none of what comes in by forms alone.
func (f *form) files(say *texts.Speaker) []pages.Link {
	table, ok := map[string]history.Table{"job-opened": history.Jobs, "hours-booked": history.Bookings,
		"day-sheet": history.Bookings, "product-listed": history.Products, "material-purchased": history.Purchases,
		"material-counted": history.Counts, "rate-book-revised": history.Rates, "settings-people": history.People,
		"settings-grades": history.Grades, "settings-job-types": history.JobTypes, "settings-tasks": history.Tasks}[f.slug()]
	if !ok {
		return nil
	}
	all := importTables(say)
	t := all[slices.IndexFunc(all, func(t importTable) bool { return t.Key == string(table) })]
	links := []pages.Link{{Text: say.Say("import.from-csv", "table", t.Title),
		Address: importPath + "?" + encode("table", t.Key)}}
	if t.Whole {
		links = append(links, pages.Link{Text: say.Say("import.as-csv", "table", t.Title), Address: t.Example})
	}
	return links
}

// columnKey is the key of what a column means.
func columnKey(table string, c history.Column) string {
	return "column." + table + "." + strings.ReplaceAll(c.Name, " ", "-")
}

func (d *desk) mountImport(server *httpd.Server, record *gin.RouterGroup) {
	server.LimitBody(importPath, sentBytesMax)
	server.LimitBody(importPath+"/record", sentBytesMax)
	server.GiveTime(importPath+"/record", tables.Takes)
	record.GET(importPath, d.deps.Frame.Handler(d.showImport))
	record.POST(importPath, d.deps.Frame.Handler(d.checkTable))
	record.POST(importPath+"/record", d.deps.Frame.Handler(d.recordTable))
	record.GET(exportPath+":file", d.exportTable)
}

func (d *desk) showImport(v pages.Visit) (pages.Page, error) {
	_, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	p := d.importPage(say, importBody{}, v)
	if n := v.Values.Get("recorded"); n != "" {
		p.Said = say.Say("import.recorded", "n", n, "before", v.Values.Get("before"))
	}
	return spoken(say, p)
}

func (d *desk) importPage(say *texts.Speaker, body importBody, v pages.Visit) pages.Page {
	body.Tables = importTables(say)
	body.Customers = d.deps.Frame.Serves("/customers.csv")
	chosen := v.Values.Get("table")
	for i := range body.Tables {
		t := &body.Tables[i]
		t.Chosen = t.Key == chosen || chosen == "" && i == 0
		if t.Key == body.Table {
			body.Title = t.Title
		}
	}
	mark, order := v.Values.Get("mark"), v.Values.Get("order")
	body.Marks = []pages.Choice{{Name: say.Say("import.mark-settings")},
		{Key: ".", Name: say.Say("import.mark-point"), Chosen: mark == "."},
		{Key: ",", Name: say.Say("import.mark-comma"), Chosen: mark == ","}}
	body.Orders = []pages.Choice{{Name: say.Say("import.day-first")},
		{Key: "month", Name: say.Say("import.month-first"), Chosen: order == "month"}}
	body.Mark, body.Order, body.Keep = mark, order, v.Values.Get("keep") != ""
	title := say.Say("import.title")
	return pages.Page{Name: "office-import.html", Title: title, Crumbs: crumbs(say, pages.Link{Text: title}), Body: body}
}

// checkTable makes the dry run: what would be recorded, and what is wrong with rows.
func (d *desk) checkTable(v pages.Visit) (pages.Page, error) {
	content, err := v.File("file")
	if err != nil {
		return pages.Page{}, err
	}
	_, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	if content == nil {
		content, _ = base64.StdEncoding.DecodeString(v.Values.Get("content")) // after a dry run, asked in another way
	}
	switch {
	case len(content) == 0:
		return d.refusedTable(say, v, say.Say("import.choose-file"))
	case len(content) > tables.BytesMax:
		return d.refusedTable(say, v, say.Say("import.too-large", "most", strconv.Itoa(tables.BytesMax>>20)))
	}
	plan, err := d.plan(v, readingOf(v.Values), content)
	var refusal *events.Error
	switch {
	case errors.As(err, &refusal) && refusal.Code == events.Invalid:
		said, _ := say.Rule(refusal.Rule)
		return d.refusedTable(say, v, httpd.Sentence(said))
	case err != nil:
		return pages.Page{}, err
	}
	body := importBody{Table: v.Values.Get("table"), Content: base64.StdEncoding.EncodeToString(content), Checked: true,
		Good: plan.Summary.Events, Bad: plan.Summary.Bad, Repeats: len(plan.Notices) > 0}
	body.Summary = summaryOf(say, plan.Summary)
	for i, e := range plan.Errors {
		if i == errorsMost {
			body.MoreErrors = len(plan.Errors) - errorsMost
			break
		}
		body.Errors = append(body.Errors, pages.RowProblemOf(say, e.Line, e.Column, e.Value, e.Rule))
	}
	for _, n := range plan.Notices[:min(errorsMost, len(plan.Notices))] {
		body.Notices = append(body.Notices, pages.RowProblemOf(say, n.Line, "", "", n.Text))
	}
	return spoken(say, d.importPage(say, body, v))
}

func (d *desk) refusedTable(say *texts.Speaker, v pages.Visit, problem string) (pages.Page, error) {
	p := d.importPage(say, importBody{Problem: problem}, v)
	p.Status = http.StatusUnprocessableEntity
	return spoken(say, p)
}

// summaryOf tells a dry run in sentences.
func summaryOf(say *texts.Speaker, s history.Summary) []string {
	said := []string{say.Say("import.rows", "n", strconv.Itoa(s.Rows), "bad", strconv.Itoa(s.Bad)),
		say.Say("import.records", "n", strconv.Itoa(s.Events))}
	for _, line := range []struct {
		key   string
		names []string
	}{
		{"import.passed-over", s.UnknownColumns}, {"import.new-job-types", s.NewJobTypes},
		{"import.new-products", s.NewProducts}, {"import.new-people", s.NewPeople},
	} {
		if len(line.names) > 0 {
			said = append(said, say.Say(line.key, "names", strings.Join(line.names, ", ")))
		}
	}
	return said
}

// recordTable records what the dry run showed: the same content, read again.
func (d *desk) recordTable(v pages.Visit) (pages.Page, error) {
	_, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	content, err := base64.StdEncoding.DecodeString(v.Values.Get("content"))
	if err != nil || len(content) == 0 {
		return d.refusedTable(say, v, say.Say("import.lost"))
	}
	plan, err := d.plan(v, readingOf(v.Values), content)
	if err != nil {
		return pages.Page{}, err
	}
	if len(plan.Errors) > 0 && v.Values.Get("skip") == "" {
		return d.checkTable(v)
	}
	recorded, before, err := d.recordPlan(v, plan)
	if err != nil {
		return d.stopped(say, v, recorded, err)
	}
	return pages.Page{Leads: fmt.Sprintf("%s?recorded=%d&before=%d", importPath, recorded, before)}, nil
}

// stopped says how far a table was recorded when the log did not take more.
func (d *desk) stopped(say *texts.Speaker, v pages.Visit, recorded int, err error) (pages.Page, error) {
	var refusal *events.Error
	if !errors.As(err, &refusal) || refusal.Code == events.Internal {
		return pages.Page{}, err
	}
	why, _ := httpd.Problem(err).Explain(say)
	p, fault := d.refusedTable(say, v, say.Say("import.stopped", "n", strconv.Itoa(recorded), "why", why))
	p.Status = httpd.Problem(err).Status
	return p, fault
}
