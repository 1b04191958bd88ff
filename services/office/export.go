package office

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// exportPath is where tables are handed out.
const exportPath = "/office/export/"

// recordedPurchases is the table of what was bought. Its columns are none that a table of
// purchases is sent in with: sent in again, everything would be bought twice.
const recordedPurchases = "recorded-purchases"

// exportTable hands a table out: a list as it stands, or a table in the columns in which it
// can be sent in, with products as they are listed and of the others one example.
func (d *desk) exportTable(c *gin.Context) {
	name, _ := strings.CutSuffix(c.Param("file"), ".csv")
	caller, _ := httpd.CallerFrom(c.Request.Context())
	v := pages.Visit{Context: c.Request.Context(), Caller: caller, Firm: caller.Firm}
	names, _, err := d.names(v)
	var rows [][]string
	if err == nil {
		rows, err = d.rowsOf(v, name, names)
	}
	if err == nil && (rows == nil || name+".csv" != c.Param("file")) {
		err = &events.Error{Code: events.NotFound, Field: "file", Value: c.Param("file"), Rule: "there is no such table"}
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	var b bytes.Buffer
	if err := (typed.CSV{Mark: true, Comma: wording.NewFormat(names).Mark() == ","}).Write(&b, rows); err != nil {
		httpd.Abort(c, fmt.Errorf("write table: %w", err))
		return
	}
	c.Header("Content-Disposition", `attachment; filename="`+c.Param("file")+`"`)
	c.Data(http.StatusOK, "text/csv; charset=utf-8", b.Bytes())
}

// rowsOf returns a table with its head; nil where there is none of the name. A list is as it
// stands; of what happens again and again, and of an empty list, there is one example.
func (d *desk) rowsOf(v pages.Visit, name string, names reports.Names) ([][]string, error) {
	if name == recordedPurchases {
		return d.purchaseRows(v, names)
	}
	tables := importTables(nil)
	at := slices.IndexFunc(tables, func(t importTable) bool { return t.Key == name })
	if at < 0 {
		return nil, nil
	}
	rows := [][]string{{}, {}}
	for _, column := range tables[at].Columns {
		rows[0], rows[1] = append(rows[0], column.Name), append(rows[1], column.Example)
	}
	var listed [][]string
	var err error
	switch table := history.Table(name); table {
	case history.Products:
		listed = productRows(names)
	case history.Rates:
		listed = rateRows(names, d.today(names))
	case history.Jobs:
		if listed, err = d.jobRows(v); len(listed) > 0 {
			rows[0] = append(rows[0], "state", "opened", "finished") // passed over where it comes in again
		}
	default:
		listed = settingsRows(table, names)
	}
	if len(listed) > 0 {
		rows = append(rows[:1], listed...)
	}
	return rows, err
}

// settingsRows writes a list of the settings as a table of it is read; nil where the table is
// none of those.
func settingsRows(table history.Table, names reports.Names) [][]string {
	settings := names.Settings
	if settings == nil {
		return nil
	}
	f := wording.NewFormat(names)
	var rows [][]string
	switch table {
	case history.People:
		for _, p := range settings.People {
			rows = append(rows, []string{typed.Harmless(p.Name), p.Grade, p.Person})
		}
	case history.Grades:
		for _, g := range settings.Grades {
			rows = append(rows, []string{g.Grade, f.Typed(g.CostPerHourE4, 4)})
		}
	case history.JobTypes:
		for _, t := range settings.JobTypes {
			rows = append(rows, []string{typed.Harmless(t.Name), t.JobType})
		}
	case history.Tasks:
		for _, t := range settings.Tasks {
			rows = append(rows, []string{typed.Harmless(t.Name), string(t.Family), string(t.Unit), t.Task})
		}
	}
	return rows
}

// jobRows writes every job as a table of jobs is read, with how far it is.
func (d *desk) jobRows(v pages.Visit) ([][]string, error) {
	jobs, err := d.deps.Store.Jobs(v, reports.JobQuery{Firm: v.Firm, AsOf: d.deps.Position(v.Firm)})
	if err != nil {
		return nil, fmt.Errorf("list jobs: %w", err)
	}
	var rows [][]string
	for _, j := range jobs {
		rows = append(rows, []string{typed.Harmless(j.Title), j.JobType, j.Job, j.Customer, blankZero(j.Built),
			string(j.Start), string(j.Due), string(j.State), string(j.Opened), string(j.Finished)})
	}
	return rows, nil
}

func blankZero(n int64) string {
	if n == 0 {
		return ""
	}
	return strconv.FormatInt(n, 10)
}

// rateRows writes the rate book of a day: a row for each rate, and one more for each further
// product that it consumes.
func rateRows(names reports.Names, today events.Day) [][]string {
	book := names.BookOn(today)
	if book == nil {
		return nil
	}
	f := wording.NewFormat(names)
	var rows [][]string
	for _, r := range book.Rates {
		row := []string{r.Task, f.Typed(r.MinutesMilli, 3), r.Surface, r.Method, string(r.Unit), r.Source, blankZero(r.Jobs),
			"", ""}
		for i, use := range r.Consumables {
			if i > 0 {
				row = []string{r.Task, "", r.Surface, r.Method, string(r.Unit), "", "", "", ""}
			}
			row[7], row[8] = use.Product, f.Typed(use.QuantityMilli, 3)
			if i < len(r.Consumables)-1 {
				rows = append(rows, row)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// purchaseRows writes what was bought and not taken back, in the order of the ledger.
func (d *desk) purchaseRows(v pages.Visit, names reports.Names) ([][]string, error) {
	h, err := d.history(v, events.FirmJob)
	if err != nil {
		return nil, err
	}
	f := wording.NewFormat(names)
	rows := [][]string{{"day", "product", "name", "bought", "unit", "paid", "supplier", "place", "record"}}
	for _, r := range h.Records {
		p, ok := r.Payload.(*events.Purchase)
		if !ok || r.VoidedBy != "" {
			continue
		}
		rows = append(rows, []string{string(r.Day()), p.Product, typed.Harmless(names.Products[p.Product]),
			f.Typed(p.QuantityMilli, 3), string(p.Unit), f.Typed(p.CostE4, 4), typed.Harmless(p.Supplier), p.Place,
			typed.Harmless(r.Event.ID)})
	}
	return rows, nil
}

// productRows writes products as a table of them is read.
func productRows(names reports.Names) [][]string {
	f := wording.NewFormat(names)
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
