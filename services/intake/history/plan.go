package history

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/typed"
)

// Options say how a sheet is to be read. The zero value, with Firm filled in,
// reads a sheet whose dates have the day first.
type Options struct {
	// Firm is the key of the firm that imports; it is a part of every id.
	Firm string
	// Source stands in every event; empty for /import/history.
	Source string
	// Zone is where the work was; nil for UTC.
	Zone *time.Location
	// Settings are the firm's settings in force; nil if there are none. They
	// name the firm's own tasks and the job types that need not be added.
	Settings *events.Settings
	// Tasks are the standard tasks by the names that the firm's language has for them, which
	// are found as their English ones are, and Families those of the families.
	Tasks    []events.FirmTask
	Families map[events.Family]string
	// Products are the firm's listed products.
	Products []events.Product

	// Jobs are the firm's jobs as they were opened, by their keys, for a table.
	Jobs map[string]events.Opening
	// Customers are the keys of the firm's customers with their names, for a table of jobs.
	// Nil where they are not known.
	Customers map[string]string
	// Book is the rate book in force, for a table of rates; nil where there is none. Revisions
	// are the names that books had.
	Book      *events.RateBook
	Revisions []string
	// Now is the present, for tables whose rows have no day, and Position is where the ledger
	// stands: a change back to what was so before is something new.
	Now      time.Time
	Position uint64

	// MonthFirst reads 04/03/2025 as the 3rd of April.
	MonthFirst bool
	// Decimal is the mark before decimals where a number could be read two ways.
	Decimal typed.Decimal
	// KeepRepeats keeps rows that say exactly what an earlier row says.
	KeepRepeats bool
	// SkipBad imports the good rows of a sheet that has bad ones.
	SkipBad bool
	// ListNew adds events of the firm for what the sheet has and the firm has
	// not: products with a price, and job types (these need Settings).
	ListNew bool
}

// ownTasks returns the tasks that are found beside the standard ones by their English names.
func (o Options) ownTasks() []events.FirmTask {
	if o.Settings == nil {
		return o.Tasks
	}
	return slices.Concat(o.Settings.Tasks, o.Tasks)
}

// Plan is what a sheet comes to.
type Plan struct {
	// Batches are to be recorded in this order, each as one submission. There
	// are none where the sheet has errors, unless [Options].SkipBad.
	Batches []Batch
	Errors  RowErrors
	Notices []Notice
	Summary Summary
}

// Batch is events of one job, or of the firm, in their order.
type Batch struct {
	Job    string
	Events []events.Event
}

// batchMax is how many events a batch has at most.
const batchMax = 200

// Summary counts what a sheet has, for a dry run. Jobs and Events are those of
// the good rows, whether they are imported or not.
type Summary struct {
	Rows    int `json:"rows" doc:"Rows below the header with content"`
	Blank   int `json:"blank" doc:"Blank rows passed over"`
	Bad     int `json:"bad" doc:"Rows with at least one error"`
	Repeats int `json:"repeats" doc:"Rows that say exactly what an earlier row says"`
	Jobs    int `json:"jobs" doc:"Jobs with at least one good row"`
	Events  int `json:"events" doc:"Events that the good rows come to"`

	UnknownColumns []string `json:"unknown_columns" doc:"Columns that were passed over"`
	NewJobTypes    []string `json:"new_job_types" doc:"Job types that the firm has not listed"`
	NewProducts    []string `json:"new_products" doc:"Products that the firm has not listed"`
	NewPeople      []string `json:"new_people" doc:"People that the firm has not listed"`
}

// RowError is why a row, or a line of events, cannot be taken.
type RowError struct {
	Line   int    `json:"line" doc:"Line of the file, counted from 1"`
	Column string `json:"column,omitempty" doc:"Name of the column, or member of the event"`
	Value  string `json:"value,omitempty" doc:"The value as received, shortened"`
	Rule   string `json:"rule" doc:"What would have been accepted"`
}

// Error puts line, column, value and rule into one sentence.
func (e RowError) Error() string {
	refusal := events.Error{Field: e.Column, Rule: e.Rule}
	if e.Value != "" {
		refusal.Value = fmt.Sprintf("%q", e.Value)
	}
	return fmt.Sprintf("line %d: %s", e.Line, refusal.Error())
}

// RowErrors is every error of a file, in the order of its lines.
type RowErrors []RowError

// Error puts the first errors into one text.
func (e RowErrors) Error() string {
	const most = 10
	var b strings.Builder
	for i, row := range e {
		if i == most {
			fmt.Fprintf(&b, "\nand %d more", len(e)-most)
			break
		}
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(row.Error())
	}
	return b.String()
}

// Rows returns how many rows have errors.
func (e RowErrors) Rows() int {
	lines := map[int]bool{}
	for _, row := range e {
		lines[row.Line] = true
	}
	return len(lines)
}

// Notice is something about a row that the firm should know.
type Notice struct {
	Line int    `json:"line" doc:"Line of the file, counted from 1"`
	Text string `json:"text" doc:"What was done with the row, and why"`
}

// Read reads a sheet. The error is about the whole file: it cannot be read, or
// has no header. What is wrong with single rows stands in the plan.
func Read(r io.Reader, opts Options) (Plan, error) {
	switch {
	case !events.ValidToken(opts.Firm):
		return Plan{}, events.Refuse("firm", opts.Firm, events.TokenRule)
	case opts.Decimal != "" && opts.Decimal != typed.DecimalPoint && opts.Decimal != typed.DecimalComma:
		return Plan{}, events.Refuse("decimal", string(opts.Decimal), "use . or , or leave it out")
	}
	s, err := readSheet(r)
	if err != nil {
		return Plan{}, err
	}
	if opts.Zone == nil {
		opts.Zone = time.UTC
	}
	if opts.Source == "" {
		opts.Source = "/import/history"
	}
	rd := newReader(opts, s.heads)
	for _, row := range s.rows {
		rd.row(row)
	}
	rd.plan.Summary.Rows, rd.plan.Summary.Blank = len(s.rows), s.blank
	rd.plan.Summary.UnknownColumns = s.unknown
	return rd.finish()
}

// shorten cuts a received value so that it cannot flood a message.
func shorten(value string) string {
	const most = 80
	if len(value) <= most {
		return value
	}
	return strings.ToValidUTF8(value[:most], "") + "…"
}
