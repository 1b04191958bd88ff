package pages

import (
	"context"
	"fmt"
	"html/template"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/texts"
)

// Link is a text that leads somewhere; nowhere, if Address is empty.
type Link struct {
	Text    string
	Address string
	Here    bool
	Beside  string // what else there is to say of it
}

// Fact is a term with its value, which leads somewhere if Address is not empty.
type Fact struct{ Text, Value, Address string }

// Choice is an entry of a list to choose from.
type Choice struct {
	Key, Name string
	Chosen    bool
}

// Page is what the layout shows around a body. Name, Title and Body are required.
type Page struct {
	Name   string // of the file with the body
	Title  string
	Crumbs []Link
	Watch  string // address of the stream of changes; empty where the page shows nothing that changes
	// Redraws says that the page keeps itself up to date; else it only says that there is more.
	Redraws bool
	Job     string // the one job the page is about; empty for all
	AsOf    uint64
	Charts  bool
	Script  string // name of a file of the frame that works on this page; empty for none
	Said    string // what was just done; empty where nothing was
	Status  int    // of the answer; 0 is 200
	Leads   string // address to go on to instead of showing anything; else empty
	Body    any

	// Texts is the language of the page; nil is English. Only a page that says everything
	// in it sets it. What stands around the page is in the firm's language always.
	Texts *texts.Texts

	// Filled in by the frame.
	Nav     []Link
	Firm    string
	Here    string
	Warning string // what is wrong with the whole ledger; empty if nothing is
	Person  bool   // who is signed in has a password to change
	Phones  string // address of the page that pairs phones; empty where that is not served or not the caller's
	Reads   bool   // who is here may see the help and the licences

	Language string        // of what stands around the page
	Other    string        // language of the page, where it is another
	Main     template.HTML // the page itself
	files    map[string]file
}

// Asset returns the address of a file of the pages.
func (p Page) Asset(name string) string { return p.files[name].address }

// Visit is a request for a page by someone who may see it.
type Visit struct {
	context.Context
	Caller httpd.Caller
	Firm   string              // the caller's
	Values url.Values          // of the address; of the form, where one was sent
	Param  func(string) string // of the path
	form   *multipart.Form     // with files; nil where none was sent
}

// VisitOf returns the request of a program, which asks for no page, as a visit.
func VisitOf(ctx context.Context) Visit {
	caller, _ := httpd.CallerFrom(ctx)
	return Visit{Context: ctx, Caller: caller, Firm: caller.Firm}
}

// File returns the content of a file that a form sent; nil where it sent none.
func (v Visit) File(name string) ([]byte, error) {
	if v.form == nil || len(v.form.File[name]) == 0 {
		return nil, nil
	}
	f, err := v.form.File[name][0].Open()
	if err != nil {
		return nil, fmt.Errorf("read file of a form: %w", err)
	}
	defer f.Close()
	content, err := io.ReadAll(f) // the body is bounded
	if err != nil {
		return nil, fmt.Errorf("read file of a form: %w", err)
	}
	return content, nil
}

// formMemory is how much of a form with a file is kept in memory; the rest goes to
// temporary files.
const formMemory = 4 << 20

func visitOf(c *gin.Context) (Visit, error) {
	r := c.Request
	caller, _ := httpd.CallerFrom(r.Context())
	v := Visit{Context: r.Context(), Caller: caller, Firm: caller.Firm, Values: r.URL.Query(), Param: c.Param}
	if r.Method != http.MethodPost {
		return v, nil
	}
	var err error
	if c.ContentType() == "multipart/form-data" {
		err = httpd.FormError(r.ParseMultipartForm(formMemory))
		v.form = r.MultipartForm
	} else {
		err = httpd.ReadForm(r)
	}
	v.Values = r.PostForm
	return v, err
}

// RecordAt returns the address of the form in which an event of type t is recorded.
// Where job is given, the form is for that job; about, in pairs of name and value,
// fills it in.
func RecordAt(t events.Type, job string, about ...string) string {
	address := RecordPath(t)
	values := url.Values{}
	if job != "" {
		values.Set("job", job)
	}
	for i := 0; i+1 < len(about); i += 2 {
		values.Set(about[i], about[i+1])
	}
	if len(values) > 0 {
		address += "?" + values.Encode()
	}
	return address
}

// RecordPath returns the route of the form: /office/record/hours-booked.
func RecordPath(t events.Type) string {
	name := strings.TrimSuffix(strings.TrimPrefix(string(t), "daysheet."), ".v1")
	return "/office/record/" + strings.ReplaceAll(name, ".", "-")
}

// Table is a table as a page shows it, by the part "table".
type Table struct {
	ID      string // of its caption, unique on the page
	Title   string
	Columns []Column
	Rows    []Row
	Total   []Cell
	Empty   string // what stands there where there are no rows
	Cards   bool   // on a phone each row is a card, with a line for each column: for rows of words
}

// Row is a row, and below it what is to be said about it. Key tells it apart from the
// other rows of its table where the page is brought up to date; empty where nothing does.
type Row struct {
	Key     string
	Cells   []Cell
	Remarks []Remark
}

// Remark is a sentence that stands below its row: in a column of its own it would
// push the figures beyond the edge of the page.
type Remark struct{ Title, Text string }

// Column is the head of a column.
type Column struct {
	Title   string
	Measure string // what the numbers are counted in
	Number  bool
}

// Cell is a cell of a table.
type Cell struct {
	Text    string
	Word    string // beside the text: over or under, or a key
	Beside  string // below a number: another that belongs to it
	Address string
	Number  bool
	Head    bool
	Blank   bool
}
