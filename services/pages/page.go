package pages

import (
	"context"
	"net/url"

	"github.com/gin-gonic/gin"

	"daysheet/services/httpd"
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
	Job    string // the one job the page is about; empty for all
	AsOf   uint64
	Charts bool
	Said   string // what was just done; empty where nothing was
	Status int    // of the answer; 0 is 200
	Body   any

	// Filled in by the frame.
	Nav    []Link
	Firm   string
	Here   string
	Phones string // address of the page that pairs phones; empty where this program serves none
	files  map[string]file
}

// Asset returns the address of a file of the pages.
func (p Page) Asset(name string) string { return p.files[name].address }

// Visit is a request for a page by someone who may see it.
type Visit struct {
	context.Context
	Caller httpd.Caller
	Firm   string              // the caller's
	Values url.Values          // of the address
	Param  func(string) string // of the path
}

func visitOf(c *gin.Context) Visit {
	caller, _ := httpd.CallerFrom(c.Request.Context())
	return Visit{c.Request.Context(), caller, caller.Firm, c.Request.URL.Query(), c.Param}
}

// Table is a table as a page shows it, by the part "table".
type Table struct {
	ID      string // of its caption, unique on the page
	Title   string
	Columns []Column
	Rows    []Row
	Total   []Cell
	Empty   string // what stands there where there are no rows
}

// Row is a row, and below it what is to be said about it.
type Row struct {
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
	Address string
	Number  bool
	Head    bool
	Blank   bool
}
