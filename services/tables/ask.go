package tables

import (
	"bytes"
	"fmt"
	"mime"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/typed"
)

// At begins the addresses where tables are handed out and sent in.
const At = "/v1/tables/"

// BytesMax bounds a table that is sent in, by a page or by a program.
const BytesMax = 8 << 20

// Takes is how long it may take to record a table, by a page or for a program: some 100,000
// rows of hours took half a minute on two cores, and each new customer has a key of its own
// that is synced to disk.
const Takes = 5 * time.Minute

// mediaCSV is what a table is sent as (RFC 7111).
const mediaCSV = "text/csv"

// Sent is a table that was sent in.
type Sent struct {
	ContentType string `header:"Content-Type" hidden:"true"`
	RawBody     []byte `contentType:"text/csv"`
}

// Content returns the bytes of the table.
func (s Sent) Content() ([]byte, error) {
	if media, _, err := mime.ParseMediaType(s.ContentType); err != nil || media != mediaCSV {
		return nil, httpd.NewProblem(http.StatusUnsupportedMediaType, "send the table as text/csv").
			About("Content-Type", s.ContentType, mediaCSV)
	}
	return s.RawBody, nil
}

// Care says what is to become of a table.
type Care struct {
	DryRun  bool `query:"dry_run" doc:"Say what would be recorded, and record nothing"`
	SkipBad bool `query:"skip_bad" doc:"Record the good rows of a table that has bad ones"`
}

// Reading says how rows are to be understood.
type Reading struct {
	KeepRepeats bool   `query:"keep_repeats" doc:"Keep rows that say exactly what an earlier row says; they are left out as suspected doubles otherwise"`
	MonthFirst  bool   `query:"month_first" doc:"Read 04/03/2025 as the 3rd of April"`
	Decimal     string `query:"decimal" enum:"point,comma" doc:"Mark before decimals where a number could be read either way; without it that of the firm's locale"`
}

// Mark returns the mark before decimals; empty for that of the firm's locale.
func (r Reading) Mark() typed.Decimal {
	switch r.Decimal {
	case "point":
		return typed.DecimalPoint
	case "comma":
		return typed.DecimalComma
	}
	return ""
}

// operation is what the routes have in common: they are for the office, who may both see
// what is recorded and change it.
func operation(method, path, id, summary, about string) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: method, Path: path, Summary: summary, Description: about, Tags: []string{"tables"},
		Metadata: map[string]any{"scope": httpd.Office},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusUnprocessableEntity,
			http.StatusTooManyRequests, http.StatusServiceUnavailable},
	}
}

// In describes a route that takes a table in. example is a small one.
func In(path, id, summary, about, example string) huma.Operation {
	op := operation(http.MethodPost, path, id, summary, about+"\n\nThe table has a header row; columns are found by "+
		"name, in any order. Commas, semicolons or tabs part them; UTF-8 and Windows-1252 are read. "+
		fmt.Sprintf("At most %d bytes are taken. ", BytesMax)+
		"To send the same table again is safe: what is so already is not recorded again.")
	op.Errors = append(op.Errors, http.StatusBadRequest, http.StatusConflict, http.StatusRequestEntityTooLarge,
		http.StatusUnsupportedMediaType)
	text := &huma.Schema{Type: huma.TypeString}
	op.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
		mediaCSV: {Schema: text, Example: example}}}
	op.SkipValidateBody = true
	return op
}

// Took says that 201 is answered where anything was recorded. It is given the operation as
// it was registered.
func Took(api huma.API, path string) {
	responses := api.OpenAPI().Paths[path].Post.Responses
	responses["200"].Description = "Nothing was recorded: a dry run, or all of it is so already"
	responses["201"] = &huma.Response{Description: "Events were recorded", Content: responses["200"].Content}
}

// File is a table on its way out.
type File struct {
	ContentType  string `header:"Content-Type"`
	Disposition  string `header:"Content-Disposition"`
	CacheControl string `header:"Cache-Control"`
	Body         []byte
}

// Out describes a route that hands a table out.
func Out(path, id, summary, about string) huma.Operation {
	op := operation(http.MethodGet, path, id, summary, about+"\n\nIn the columns in which it can be sent in, where it "+
		"changes nothing. Numbers are written as the firm's locale has them, with semicolons between columns where commas "+
		"stand before decimals.")
	text := &huma.Schema{Type: huma.TypeString}
	op.Responses = map[string]*huma.Response{"200": {Description: "The table, its head first",
		Content: map[string]*huma.MediaType{mediaCSV: {Schema: text}}, Headers: map[string]*huma.Param{
			"Content-Disposition": {Schema: text, Description: "A name to save it under"}}}}
	return op
}

// NewFile writes rows for spreadsheets, the head first. comma says that commas stand before
// decimals. Texts of people must be harmless, see [typed.Harmless].
func NewFile(name string, rows [][]string, comma bool) (*File, error) {
	var b bytes.Buffer
	if err := (typed.CSV{Mark: true, Comma: comma}).Write(&b, rows); err != nil {
		return nil, fmt.Errorf("write table %s: %w", name, err)
	}
	return &File{mediaCSV + "; charset=utf-8", `attachment; filename="` + name + `.csv"`, "no-store", b.Bytes()}, nil
}

// ErrNone is answered where there is no table of a name.
func ErrNone(name string) error {
	return &events.Error{Code: events.NotFound, Field: "table", Value: name, Rule: "there is no such table"}
}
