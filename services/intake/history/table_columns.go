package history

import (
	"cmp"
	"slices"
	"strings"
)

// Table names a list of one kind of things that can be read beside the sheet of past
// jobs: what a firm keeps up to date, not its history.
type Table string

// The tables.
const (
	Products  Table = "products"  // what is listed, with its prices
	Purchases Table = "purchases" // what was bought
	Counts    Table = "counts"    // what was found in store or van
	Bookings  Table = "hours"     // hours on jobs that are open in the ledger
	Jobs      Table = "jobs"      // jobs to be opened, or to be changed
	People    Table = "people"    // who books hours
	Grades    Table = "grades"    // grades of labour with what they cost
	JobTypes  Table = "job-types" // the firm's kinds of jobs
	Tasks     Table = "tasks"     // what the firm adds to the standard tasks
	Rates     Table = "rates"     // the rate book
)

// Tables returns every table.
func Tables() []Table {
	return []Table{Jobs, Bookings, Products, Purchases, Counts, People, Grades, JobTypes, Tasks, Rates}
}

// ofSettings reports whether a table is a list of the firm's settings.
func (t Table) ofSettings() bool { return t == People || t == Grades || t == JobTypes || t == Tasks }

// tableColumn is a column of a table.
type tableColumn struct {
	Column
	needed bool
}

// heads are the names of columns as they stand in the header of a file, by the names that the
// program has for them. What is wrong with a row is said of the column that its writer knows.
type heads map[string]string

// of returns the name of a column in the file; the program's own where the file has none.
func (h heads) of(column string) string { return cmp.Or(h[column], column) }

// headOf returns a cell of a header as it can be shown.
func headOf(cell string) string {
	return shorten(strings.TrimSpace(strings.Map(printable, cell)))
}

// memberColumn returns what the column is called that holds a member of an event's data.
func memberColumn(member string) string {
	member = strings.TrimPrefix(member, "data.")
	member = member[strings.LastIndexByte(member, '.')+1:]
	for _, ending := range []string{"_milli", "_e4", "_minutes", "_basis_points", "_um"} {
		member = strings.TrimSuffix(member, ending)
	}
	return strings.ReplaceAll(member, "_", " ")
}

// Columns returns the columns of a table in the order in which it would have them.
// Those that are needed come first.
func (t Table) Columns() []Column {
	var list []Column
	for _, c := range t.columns() {
		list = append(list, c.Column)
	}
	return list
}

// needed is a column that every row fills, and optional one that may be blank or not there.
// also are other names that it is found by, those in German among them.
func needed(name, meaning, example string, also ...string) tableColumn {
	return tableColumn{Column{name, also, meaning, example}, true}
}

func optional(name, meaning, example string, also ...string) tableColumn {
	return tableColumn{Column{name, also, meaning, example}, false}
}

func (t Table) columns() []tableColumn {
	switch t {
	case Products:
		return productColumns()
	case Rates:
		return rateColumns()
	case customers:
		return customerColumns()
	case takeOff:
		return slices.Concat(takeOffColumns())
	case Purchases, Counts, Bookings, Jobs:
		return t.recordColumns()
	case People:
		return []tableColumn{needed("name", "Short name, as the crew reads it", "Una"),
			needed("grade", "A grade of the settings", "painter", "lohngruppe"),
			optional("person", "Key; made of the name where it is blank", "una", "key", "schlüssel", "kurzzeichen")}
	case Grades:
		return []tableColumn{needed("grade", "Name of the grade", "painter", "lohngruppe"),
			needed("cost of an hour", "What an hour costs the firm, not what it charges", "38.45", "cost per hour",
				"hourly cost", "stundensatz", "kosten je stunde")}
	case JobTypes:
		return []tableColumn{needed("name", "How it is shown", "Stairwell and joinery"),
			optional("job type", "Key; made of the name where it is blank", "stairwell", "key", "schlüssel", "auftragsart")}
	case Tasks:
		return []tableColumn{needed("name", "How it is shown", "Strip paper"),
			needed("family", "What its hours are counted under, for example protection, preparation or coating", "preparation",
				"gruppe"),
			needed("unit", "What it is counted in: m2, m, each or hour", "m2", "units", "einheit"),
			optional("task", "Key; made of the name where it is blank", "strip-paper", "key", "schlüssel", "tätigkeit")}
	}
	return nil
}

func productColumns() []tableColumn {
	return []tableColumn{needed("name", "How it is shown", "Wall paint, matt"),
		needed("unit", "What it is counted in: m2, m, each, hour, l, kg, roll, sheet or pack", "l", "units", "einheit"),
		needed("price", "List price of one unit, net of tax", "9.73", "unit price", "list price", "preis"),
		optional("product", "Key; made of the name where it is blank", "wall-matt", "key", "produkt", "schlüssel"),
		optional("pack", "Content of a pack, in the unit", "10", "pack size", "gebinde"),
		optional("reusable", "yes where it is laid again on other jobs", "no", "wiederverwendbar"),
		optional("clean removal days", "By the maker's data sheet", "14", "tage bis zum entfernen"),
		optional("volume solids", "Per cent, by the maker's data sheet", "45", "festkörper"),
		optional("recoat", "Hours to the next coat, by the maker's data sheet", "4:00", "recoat hours", "überarbeitbar nach"),
		optional("dry film", "Micrometres of one coat, by the maker's data sheet", "40", "trockenschicht"),
		optional("spreading rate", "Square metres of one litre, by the maker's data sheet", "11.25", "ergiebigkeit")}
}

func rateColumns() []tableColumn {
	return []tableColumn{needed("task", "Key or name of a task", "coat", "tätigkeit"),
		optional("minutes", "Minutes of labour for one unit; on the first row of a rate", "9.5", "minuten"),
		optional("surface", "Where the rate depends on it", "wall", "untergrund"),
		optional("method", "Where the rate depends on it", "roller", "verfahren"),
		optional("unit", "Unit the rate is for; blank for the task's usual one", "m2", "einheit"),
		optional("source", "published, common-practice, from-memory or own-history", "from-memory", "herkunft"),
		optional("jobs", "Number of own jobs that it rests on", "", "aufträge"),
		optional("product", "What one unit consumes; a row for each product", "wall-matt", "produkt"),
		optional("quantity", "How much of the product, waste included", "0.11", "menge")}
}

func (t Table) recordColumns() []tableColumn {
	product := needed("product", "Key or name of a listed product", "tape-30", "material", "item", "produkt")
	date := needed("date", "Day", "2026-03-04", "day", "datum", "tag")
	place := optional("place", "Store or van", "van-2", "store", "van", "ort", "lager")
	unit := optional("unit", "Unit; blank for the usual one", "l", "units", "einheit")
	switch t {
	case Purchases:
		return []tableColumn{date, product, needed("quantity", "How much, in the unit", "40", "qty", "amount", "menge"),
			needed("cost", "Paid for all of it, net of tax", "371.33", "total", "net cost", "kosten"), unit,
			optional("supplier", "Where it was bought", "invented merchant", "merchant", "lieferant"), place}
	case Counts:
		return []tableColumn{date, product, needed("found", "How much was there, in the unit; 0 for none", "12.5", "quantity",
			"counted", "menge", "bestand"), unit, place}
	case Bookings:
		return []tableColumn{date, needed("job", "Key of a job in the ledger", "j-104", "job no", "job number", "auftrag"),
			needed("person", "Key or name of a person in the settings", "una", "who", "name", "wer"),
			needed("task", "Key or name of a task", "coat", "work", "tätigkeit"),
			needed("hours", "Working time", "7:30", "time", "stunden"),
			optional("surface", "What was worked on", "wall", "untergrund"),
			optional("method", "How it was done", "roller", "verfahren"),
			optional("location", "Room or part of the building", "hall", "room", "where", "raum"),
			optional("grade", "Grade of labour, where it is not the person's usual one", "painter", "lohngruppe")}
	}
	return []tableColumn{needed("title", "What it is, for the crew, without personal data", "Stairwell, two floors",
		"bezeichnung", "titel"),
		needed("job type", "Key or name of a job type of the settings", "stairwell", "type", "auftragsart"),
		optional("job", "Key; made of the title where it is blank", "j-104", "job no", "job number", "auftrag", "key"),
		optional("customer", "Key or name of a customer who is recorded", "", "kunde"),
		optional("built", "Year the building was built", "1936", "baujahr"),
		optional("start", "Day on which the work is planned to begin", "2026-03-04", "beginn"),
		optional("due", "Day agreed for handover", "2026-03-20", "termin", "übergabe")}
}
