package office

import (
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
	"daysheet/services/tables"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// exportPath is where tables are handed out.
const exportPath = "/office/export/"

// recordedPurchases is the table of what was bought. Its columns are none that a table of
// purchases is sent in with: sent in again, everything would be bought twice.
const recordedPurchases = "recorded-purchases"

// exportTable hands a table out to a person, with an example where there is nothing else.
func (d *desk) exportTable(c *gin.Context) {
	name, ok := strings.CutSuffix(c.Param("file"), ".csv")
	var file *tables.File
	err := tables.ErrNone(c.Param("file"))
	if ok {
		file, err = d.file(pages.VisitOf(c.Request.Context()), name, true)
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Header("Content-Disposition", file.Disposition)
	c.Header("Cache-Control", file.CacheControl)
	c.Data(http.StatusOK, file.ContentType, file.Body)
}

// file writes a table: a list as it stands, or the columns in which one can be sent in.
func (d *desk) file(v pages.Visit, name string, examples bool) (*tables.File, error) {
	names, _, err := d.names(v)
	if err != nil {
		return nil, err
	}
	rows, err := d.rowsOf(v, name, names, examples)
	if err != nil {
		return nil, err
	}
	return tables.NewFile(name, rows, wording.NewFormat(names).Mark() == ",")
}

// rowsOf returns a table with its head. A list is as it stands; of what happens again and
// again, and of an empty list, there is one example where that is asked for.
func (d *desk) rowsOf(v pages.Visit, name string, names reports.Names, examples bool) ([][]string, error) {
	if name == recordedPurchases {
		return d.purchaseRows(v, names)
	}
	all := importTables(nil)
	at := slices.IndexFunc(all, func(t importTable) bool { return t.Key == name })
	if at < 0 {
		return nil, tables.ErrNone(name)
	}
	var head, example []string
	for _, column := range all[at].Columns {
		head, example = append(head, column.Name), append(example, column.Example)
	}
	var rows [][]string
	var err error
	switch table := history.Table(name); table {
	case history.Products:
		rows = productRows(names)
	case history.Rates:
		rows = rateRows(names, d.today(names))
	case history.Jobs:
		if rows, err = d.jobRows(v); len(rows) > 0 {
			head = append(head, "state", "opened", "finished") // passed over where it comes in again
		}
	default:
		rows = settingsRows(table, names)
	}
	if len(rows) == 0 && examples {
		rows = [][]string{example}
	}
	return append([][]string{head}, rows...), err
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
