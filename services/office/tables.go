package office

import (
	"bytes"
	"context"
	"fmt"
	"net/url"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/tables"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// reading says which table is to be read, and how.
type reading struct {
	table                  string
	monthFirst, keep, skip bool
	mark                   typed.Decimal // before decimals; empty for that of the firm's locale
}

// readingOf reads the fields of the page.
func readingOf(values url.Values) reading {
	r := reading{table: values.Get("table"), monthFirst: values.Get("order") == "month", keep: values.Get("keep") != "",
		skip: values.Get("skip") != ""}
	if mark := typed.Decimal(values.Get("mark")); mark == typed.DecimalPoint || mark == typed.DecimalComma {
		r.mark = mark
	}
	return r
}

// plan reads a table and says what it comes to.
func (d *desk) plan(v pages.Visit, r reading, content []byte) (history.Plan, error) {
	names, say, err := d.names(v)
	if err != nil {
		return history.Plan{}, err
	}
	opts := history.Options{Firm: v.Firm, Settings: names.Settings, MonthFirst: r.monthFirst, KeepRepeats: r.keep,
		Decimal: typed.Decimal(wording.NewFormat(names).Mark()), ListNew: true, Now: d.deps.Clock(),
		Zone: names.Local(d.deps.Clock()).Location(), SkipBad: r.skip, Tasks: wording.TaskNames(names),
		Families: wording.FamilyNames(say)}
	if say.Err != nil {
		return history.Plan{}, say.Err
	}
	if r.mark != "" {
		opts.Decimal = r.mark
	}
	for _, p := range names.Listed {
		opts.Products = append(opts.Products, p)
	}
	if r.table == pastJobs {
		return history.Read(bytes.NewReader(content), opts)
	}
	if err := d.known(v, names, &opts); err != nil {
		return history.Plan{}, err
	}
	return history.ReadTable(bytes.NewReader(content), history.Table(r.table), opts)
}

// known fills in what rows of a table are held against: jobs, customers and rates.
func (d *desk) known(v pages.Visit, names reports.Names, opts *history.Options) error {
	opts.Position, opts.Book = d.deps.Position(v.Firm), names.BookOn(d.today(names))
	for _, book := range names.RateBooks {
		opts.Revisions = append(opts.Revisions, book.Revision)
	}
	rows, err := d.deps.Store.Jobs(v, reports.JobQuery{Firm: v.Firm, AsOf: opts.Position})
	if err != nil {
		return fmt.Errorf("list jobs: %w", err)
	}
	opts.Jobs = map[string]events.Opening{}
	for _, r := range rows {
		opts.Jobs[r.Job] = events.Opening{JobType: r.JobType, Title: r.Title, Customer: r.Customer, Built: r.Built,
			Start: r.Start, Due: r.Due}
	}
	if d.deps.Customers == nil {
		return nil
	}
	if opts.Customers, err = d.deps.Customers(v, v.Firm); err != nil {
		return fmt.Errorf("read customers: %w", err)
	}
	return nil
}

// recordPlan records what a table comes to, and counts what was there before. Where the
// ledger takes no more, recorded is how far it came.
func (d *desk) recordPlan(v pages.Visit, plan history.Plan) (recorded, before int, err error) {
	for _, batch := range plan.Batches {
		receipts, err := d.deps.Record(v, v.Firm, batch.Job, v.Caller.Name, batch.Events)
		if err != nil {
			return recorded, before, err
		}
		for _, r := range receipts {
			if r.Duplicate {
				before++
			} else {
				recorded++
			}
		}
	}
	return recorded, before, nil
}

// tableIn is a table that a program sends.
type tableIn struct {
	Table sentTable `path:"table" doc:"What it holds"`
	tables.Care
	tables.Reading
	tables.Sent
}

type tableOut struct {
	Table heldTable `path:"table" doc:"What it holds"`
}

// sentTable names a table that comes in, heldTable one that goes out.
type (
	sentTable string
	heldTable string
)

// Schema lists the names.
func (sentTable) Schema(huma.Registry) *huma.Schema { return tableNames() }

// Schema lists the names.
func (heldTable) Schema(huma.Registry) *huma.Schema { return tableNames(recordedPurchases) }

func tableNames(more ...string) *huma.Schema {
	s := &huma.Schema{Type: huma.TypeString}
	for _, t := range importTables(nil) {
		s.Enum = append(s.Enum, t.Key)
	}
	for _, name := range more {
		s.Enum = append(s.Enum, name)
	}
	return s
}

// mountTables adds what programs ask for.
func (d *desk) mountTables(server *httpd.Server) {
	const path = tables.At + "{table}"
	server.LimitBody(tables.At+":table", tables.BytesMax)
	server.GiveTime(tables.At+":table", tables.Takes)
	huma.Register(server.API, tables.Out(path, "get-table", "Hand a table out", "A list as it stands: jobs, products, "+
		"people, grades, job types, tasks or rates; recorded-purchases is what was bought, which is not sent in again. Of "+
		"what happens again and again there is the head alone."), d.handOut)
	huma.Register(server.API, tables.In(path, "send-table", "Send a table in", "Records what is new or changed in a "+
		"table. Rows of a list add to it or change what it has; what the table does not name stays. Every row is checked "+
		"before anything is recorded: where one cannot be taken, errors lists each such row, and nothing is recorded unless "+
		"skip_bad is given.", "name,grade\nTarn (invented),painter\n"), d.takeIn)
	tables.Took(server.API, path)
}

func (d *desk) handOut(ctx context.Context, in *tableOut) (*tables.File, error) {
	return d.file(pages.VisitOf(ctx), string(in.Table), false)
}

func (d *desk) takeIn(ctx context.Context, in *tableIn) (*tables.Answer, error) {
	content, err := in.Content()
	if err != nil {
		return nil, err
	}
	v := pages.VisitOf(ctx)
	plan, err := d.plan(v, reading{table: string(in.Table), monthFirst: in.MonthFirst, keep: in.KeepRepeats,
		skip: in.SkipBad, mark: in.Mark()}, content)
	if err != nil {
		return nil, err
	}
	answer := tables.Read(string(in.Table), in.DryRun, plan.Summary, plan.Errors, plan.Notices)
	switch {
	case in.DryRun:
		return answer, nil
	case len(plan.Errors) > 0 && !in.SkipBad:
		return nil, tables.Refused(plan.Errors, tables.NotRecorded(plan.Summary.Bad))
	}
	recorded, before, err := d.recordPlan(v, plan)
	if err != nil {
		return nil, tables.Stopped(recorded, err)
	}
	return answer.Took(recorded, before), nil
}
