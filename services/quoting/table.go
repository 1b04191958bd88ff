package quoting

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/reports"
	"daysheet/services/httpd"
	sheets "daysheet/services/intake/history"
	"daysheet/services/tables"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// RoomFields and WorkFields are the fields of a row of the form, the one that makes it a row
// first. Columns of the table are called the same, with spaces, see [ColumnOf].
func RoomFields() []string {
	return []string{FieldRoom, FieldLength, FieldWidth, FieldHeight, FieldDoors, FieldDoorWidth, FieldDoorHeight,
		FieldWindows, FieldWindowWidth, FieldWindowHeight}
}

// WorkFields are those of a piece of work, see [RoomFields].
func WorkFields() []string {
	return []string{FieldTask, FieldSurface, FieldMethod, FieldOf, FieldQuantity, FieldCoats}
}

// ColumnOf returns the column of the table that holds a field of the form.
func ColumnOf(field string) string { return strings.ReplaceAll(field, "_", " ") }

// Fill puts the rows of a table into the fields of the form, in the place of what they had.
func Fill(form url.Values, rows []map[string]string) {
	for _, fields := range [][]string{RoomFields(), WorkFields()} {
		for _, field := range fields {
			form.Del(field)
		}
		for _, row := range rows {
			if row[ColumnOf(fields[0])] == "" {
				continue
			}
			for _, field := range fields {
				form.Add(field, row[ColumnOf(field)])
			}
		}
	}
}

// takeOffName names the table of a take-off among the others.
const takeOffName = "take-off"

// takeOffIn is a table of rooms and work that a program sends.
type takeOffIn struct {
	Decimal string `query:"decimal" enum:"point,comma" doc:"Mark before decimals where a number could be read either way; without it that of the firm's locale"`
	tables.Sent
}

type takeOffOut struct {
	Body struct {
		Rows    int             `json:"rows" doc:"Rows of the table"`
		TakeOff reports.TakeOff `json:"take_off" doc:"To be priced, or issued"`
	}
}

func (d *desk) mountTable(server *httpd.Server) {
	const path = tables.At + takeOffName
	server.LimitBody(path, tables.BytesMax)
	op := tables.In(path, "send-take-off", "Send a take-off in as a table", "Rooms to measure by, and work, in rows: "+
		"answers with the take-off that POST /v1/quotes prices and POST /v1/quotes/issue issues, once "+
		"its job type and grade are added. Nothing is recorded.",
		"room,length,width,height,task,of,coats\nhall,4.2,3.1,2.5,coat,walls,2\n")
	huma.Register(server.API, op, d.readTakeOff)
}

func (d *desk) readTakeOff(ctx context.Context, in *takeOffIn) (*takeOffOut, error) {
	caller, err := httpd.RequireCaller(ctx)
	if err != nil {
		return nil, err
	}
	content, err := in.Content()
	if err != nil {
		return nil, err
	}
	names, err := d.deps.Names(ctx, caller.Firm)
	if err != nil {
		return nil, fmt.Errorf("read names: %w", err)
	}
	mark := tables.Reading{Decimal: in.Decimal}.Mark()
	if mark == "" {
		mark = typed.Decimal(wording.NewFormat(names).Mark())
	}
	rows, wrong, err := sheets.ReadTakeOff(bytes.NewReader(content), sheets.Options{Firm: caller.Firm,
		Settings: names.Settings, Decimal: mark})
	if err != nil {
		return nil, err
	}
	if len(wrong) > 0 {
		return nil, tables.Refused(wrong, fmt.Sprintf("%d rows cannot be read", wrong.Rows()))
	}
	form := url.Values{}
	Fill(form, rows)
	out := &takeOffOut{}
	out.Body.Rows = len(rows)
	out.Body.TakeOff, err = TakeOffFrom(form)
	return out, err
}
