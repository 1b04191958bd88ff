package customers

import (
	"context"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/tables"
)

// tableName names the table of customers among the others.
const tableName = "customers"

// tableIn is a table of customers that a program sends.
type tableIn struct {
	tables.Care
	tables.Sent
}

func (d *Desk) mountTableAPI(server *httpd.Server) {
	const path = tables.At + tableName
	server.LimitBody(path, tables.BytesMax)
	server.GiveTime(path, tables.Takes)
	huma.Register(server.API, tables.Out(path, "get-customers-table", "Hand customers out as a table",
		"Every customer who can be read. Lines of an address, and contacts, are lines within their cell."),
		func(ctx context.Context, _ *struct{}) (*tables.File, error) { return d.file(pages.VisitOf(ctx)) })
	huma.Register(server.API, tables.In(path, "send-customers-table", "Send a table of customers in", "Records customers "+
		"who are new, and those of whom something else is known. A row with the key or the name of a customer is about that "+
		"one. What a row leaves blank stays, and so does who is not in the table.",
		"name,customer,address\nInvented Household,c-1042,1 Invented Lane\n"), d.takeIn)
	tables.Took(server.API, path)
}

func (d *Desk) takeIn(ctx context.Context, in *tableIn) (*tables.Answer, error) {
	content, err := in.Content()
	if err != nil {
		return nil, err
	}
	v := pages.VisitOf(ctx)
	read, err := d.readTable(v, content)
	if err != nil {
		return nil, err
	}
	answer := tables.Read(tableName, in.DryRun, read.summary(), read.wrong, nil)
	switch {
	case in.DryRun:
		return answer, nil
	case len(read.wrong) > 0 && !in.SkipBad:
		return nil, tables.Refused(read.wrong, tables.NotRecorded(read.wrong.Rows()))
	}
	recorded, err := d.recordRows(v, read.rows)
	if err != nil {
		return nil, tables.Stopped(recorded, err)
	}
	return answer.Took(recorded, 0), nil
}

// summary counts what a table comes to.
func (t tableRead) summary() history.Summary {
	return history.Summary{Rows: t.all, Bad: t.wrong.Rows(), Repeats: t.all - t.wrong.Rows() - len(t.rows),
		Events: len(t.rows), UnknownColumns: t.passed}
}
