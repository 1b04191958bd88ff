package reporting

import (
	"bytes"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/quoting"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// Where the form of a take-off is filled in from a table, and handed out as one.
const (
	takeOffIn  = "/quotes/table"
	takeOffOut = "/quotes/take-off.csv"
)

// quoteFile is what there is to say of a table that was sent in.
type quoteFile struct {
	Said    string // how much of the form it filled in
	Problem string // why none of it could be read
	Foreign bool   // and that is said in English on a page that is not
	Errors  []pages.RowProblem
}

// fillQuote shows the form of a take-off filled in from a table. Nothing is recorded, and
// nothing is filled in where a row cannot be read.
func (s *site) fillQuote(v visit) (page, error) {
	content, err := v.File("file")
	if err != nil {
		return page{}, err
	}
	w, err := s.teller(v, v.Firm)
	if err != nil {
		return page{}, err
	}
	rows, wrong, err := history.ReadTakeOff(bytes.NewReader(content), history.Options{Firm: v.Firm,
		Settings: w.Names.Settings, Tasks: wording.TaskNames(w.Names), Decimal: typed.Decimal(w.Mark())})
	file := quoteFile{}
	switch {
	case events.CodeOf(err) == events.Invalid:
		file.Problem, file.Foreign = httpd.Problem(err).Explain(w.Speaker)
	case err != nil:
		return page{}, err
	case len(wrong) > 0:
		file.Problem = w.Say("quote.file.refused")
		for _, e := range wrong {
			file.Errors = append(file.Errors, pages.RowProblemOf(w.Speaker, e.Line, e.Column, e.Value, e.Rule))
		}
	default:
		quoting.Fill(v.Values, rows)
		file.Said = w.Say("quote.file.filled", "rooms", strconv.Itoa(len(v.Values[quoting.FieldRoom])), "works",
			strconv.Itoa(len(v.Values[quoting.FieldTask])))
	}
	p, err := s.quotePage(v, w, file)
	if file.Problem != "" {
		p.Status = http.StatusUnprocessableEntity
	}
	return p, err
}

// quoteTable hands the form out as a table that can be sent in: what the address has of it,
// else one example.
func (s *site) quoteTable(c *gin.Context) {
	caller, _ := httpd.CallerFrom(c.Request.Context())
	w, err := s.teller(c.Request.Context(), caller.Firm)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	values := c.Request.URL.Query()
	var t table
	example := make([]string, 0)
	for _, column := range history.TakeOffColumns() {
		t.header, example = append(t.header, column.Name), append(example, column.Example)
	}
	t.comma = w.Mark() == ","
	for _, fields := range [][]string{quoting.RoomFields(), quoting.WorkFields()} {
		for i, first := range values[fields[0]] {
			if first == "" {
				continue
			}
			row := make([]string, len(t.header))
			for _, field := range fields {
				if all := values[field]; i < len(all) {
					row[slices.Index(t.header, quoting.ColumnOf(field))] = typed.Harmless(all[i])
				}
			}
			t.rows = append(t.rows, row)
		}
	}
	if t.rows == nil {
		t.rows = [][]string{example}
	}
	var b bytes.Buffer
	if err := writeCSV(&b, t, true); err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Header("Content-Disposition", `attachment; filename="take-off.csv"`)
	c.Data(http.StatusOK, inCSV.contentType(), b.Bytes())
}
