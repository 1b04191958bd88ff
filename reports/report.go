package reports

import (
	"time"

	"daysheet/events"
)

// Filter is what a reader of a report may choose. The zero value of each field
// leaves it open.
type Filter struct {
	Firm     string // required; comes from the credential
	Job      string
	JobType  string
	From, To events.Day // days on which jobs were finished, both inclusive; not used where Job is given
	AsOf     uint64     // position in the log; 0 is all
	Today    events.Day // the firm's day for reports that say what is overdue, see Definition.Dated
}

// Question is everything a report asks of the store.
type Question struct {
	Sums []Query
	Jobs *JobQuery // nil where the report needs no jobs
	Log  bool      // true where the report reads the commits of the filter's job
}

// Answer is what the store answered, in the order of the question.
type Answer struct {
	Sums  [][]Total
	Jobs  []JobRow
	Log   []events.Stored // the job's commits, oldest first, up to the filter's position
	Names Names
}

// Names is how a firm calls its things, and its currency. A key that has no
// name is shown as it is.
type Names struct {
	Currency string // ISO 4217
	Locale   string
	JobTypes map[string]string
	Tasks    map[string]string
	Products map[string]string
	People   map[string]string
	// Settings and Listed are what the firm recorded, for reports that need more
	// than names: settings in force, nil before the first, and products by key.
	Settings *events.Settings
	Listed   map[string]events.Product
	// Prices are the last prices of the products, by which plans are costed.
	Prices []events.Price
	// RateBooks is every revision of the firm's quote rates, and RateRejections every
	// proposed rate that was not taken, oldest first.
	RateBooks      []*events.RateBook
	RateRejections []*events.RateRejection

	zone *time.Location // nil where there are no settings
}

// Definition is one report: what it asks and what it makes of the answer. Both
// are pure functions.
type Definition struct {
	Name  string // in the address: /v1/reports/<Name>
	Title string
	About string // one sentence for the page and the API description
	Group string // what it is listed under
	// NeedsJob is true where the report is about one job.
	NeedsJob bool
	// Compares is true where the report sets jobs beside each other, so that of one alone
	// it says nothing.
	Compares bool
	// WholeFirm is true where jobs and periods cannot be chosen.
	WholeFirm bool
	// Dated is true where the report says what is overdue, so that it changes with
	// the day on which it is read.
	Dated bool
	// Personal is true where the report is about people: only who may record sees it.
	Personal bool
	Ask      func(Filter) Question
	Make     func(Filter, Answer) Report
}

// Report is a finished report. One value is shown as JSON, CSV, page and chart.
type Report struct {
	Name    string
	Title   Phrase
	Filter  Filter
	Names   Names
	Tables  []Table // the first is the main one
	Figures []Figure
	Notes   []Phrase // what the reader has to know to read it right
}

// Form says how a number is to be read, so that each output can show it in its
// own way.
type Form string

// The forms. A number in JSON and CSV is the whole number as counted, under a
// key that names its unit.
const (
	FormText     Form = "text"
	FormName     Form = "name" // a thing that has a key and a name; JSON and CSV give both
	FormDay      Form = "day"
	FormCount    Form = "count"
	FormMinutes  Form = "minutes"  // shown as hours and minutes
	FormQuantity Form = "quantity" // thousandths of Cell.Unit
	FormMoney    Form = "money"    // ten-thousandths of the currency unit
	FormShare    Form = "share"    // hundredths of a per cent
	FormRate     Form = "rate"     // thousandths of a minute for one Cell.Unit
	FormIndex    Form = "index"    // thousandths of a number without a unit
	FormReading  Form = "reading"  // thousandths of what an instrument reads; its title names the unit
)

// Table is a table of a report.
type Table struct {
	Name    string // key in JSON and in ?table=
	Title   string
	Columns []Column
	Rows    [][]Cell
	Total   []Cell // nil where adding up has no meaning
	Empty   string // what to say where there are no rows
}

// Column is a column of a table.
type Column struct {
	Key   string // with its unit: actual_minutes, margin_basis_points
	Title string
	Form  Form
}

// Cell is one figure or word. The zero value is the number 0 or the empty text.
type Cell struct {
	Text    string // for FormText, FormName and FormDay
	Key     string // for FormName: what the thing is called in events and filters
	Number  int64
	Blank   bool // the figure has no meaning here, for example a share of nothing
	Unit    events.Unit
	Says    *Phrase // what Text says, where it is the report that says it; nil for names and what was recorded
	Job     string  // the job the cell leads to, where it names one
	Explain *Query  // the facts it is made of; nil for words and for figures made of other cells
}

// Figure is a chart: the same numbers as a table, drawn.
type Figure struct {
	Name       string
	Title      Phrase
	Finding    Phrase // one sentence that says what is to be seen, also for those who cannot see it
	Form       Form
	Unit       events.Unit
	Shape      Shape
	Categories []string
	Whole      []bool // for ShapeSteps: the bars that begin at nothing, one for each category
	Middle     string // for ShapeRange: what lies between the second and the fourth series
	Close      bool   // for ShapeLine: the axis need not begin at nothing, since differences are what counts
	Series     []Series
}

// Shape says how a figure is drawn.
type Shape string

// The shapes.
const (
	ShapeBars    Shape = "bars"    // one group of horizontal bars for each category
	ShapeLine    Shape = "line"    // categories are days or months
	ShapeStacked Shape = "stacked" // horizontal bars, series stacked
	// ShapeSteps draws one series as changes, each bar beginning where the one before
	// it ended; a bar that is Whole begins at nothing.
	ShapeSteps Shape = "steps"
	// ShapeRange draws five series as a spread for each category: least, lower
	// quartile, median, upper quartile, greatest.
	ShapeRange Shape = "range"
)

// Series is one row of numbers of a figure, one for each category.
type Series struct {
	Name   string
	Values []int64
	Blank  []bool // nil where every value has a meaning
}
