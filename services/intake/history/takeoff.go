package history

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/typed"
)

// takeOffMost bounds the rows of a take-off, which go through an address.
const takeOffMost = 200

// takeOff is the table of a take-off: rooms to measure by, and work. It makes no events.
const takeOff Table = "take-off"

// takeOffColumns are those of a room, and those of a piece of work. A row may have both.
func takeOffColumns() (room, work []tableColumn) {
	room = []tableColumn{needed("room", "Name of a room; blank on a row with work alone", "hall", "raum"),
		optional("length", "In metres, as the others", "4.2", "länge"), optional("width", "Of the room", "3.1", "breite"),
		optional("height", "Of the room", "2.5", "höhe"), optional("doors", "How many", "1", "türen"),
		optional("door width", "Of one door", "0.9", "türbreite"), optional("door height", "Of one door", "2.1", "türhöhe"),
		optional("windows", "How many", "2", "fenster"), optional("window width", "Of one window", "1.2", "fensterbreite"),
		optional("window height", "Of one window", "1.4", "fensterhöhe")}
	work = []tableColumn{needed("task", "Key or name of a task; blank on a row with a room alone", "coat", "tätigkeit"),
		optional("surface", "What is worked on", "wall", "untergrund"), optional("method", "How it is done", "roller",
			"verfahren"),
		optional("of", "What it is measured by: quantity, walls, ceiling, floor, edges or openings", "walls", "measured by",
			"gemessen an"),
		optional("quantity", "Where it is measured by a quantity of its own", "", "menge"),
		optional("coats", "How many times", "2", "anstriche")}
	return room, work
}

// TakeOffColumns returns the columns of the table of a take-off.
func TakeOffColumns() []Column { return takeOff.Columns() }

// ofWords are other words for what work is measured by, squeezed.
var ofWords = map[string]string{"": "quantity", "quantity": "quantity", "menge": "quantity",
	"walls": reports.OfWalls, "wall": reports.OfWalls, "wände": reports.OfWalls, "wand": reports.OfWalls,
	"ceiling": reports.OfCeiling, "ceilings": reports.OfCeiling, "decke": reports.OfCeiling, "decken": reports.OfCeiling,
	"floor": reports.OfFloor, "floors": reports.OfFloor, "boden": reports.OfFloor, "böden": reports.OfFloor,
	"edges": reports.OfEdges, "kanten": reports.OfEdges, "openings": reports.OfOpenings, "öffnungen": reports.OfOpenings}

// ReadTakeOff reads a table of rooms and work: for each row its cells by the name of the
// column, with numbers that have a point before decimals, and tasks by their keys. Rows
// with errors are left out. The error is about the whole file.
func ReadTakeOff(r io.Reader, opts Options) ([]map[string]string, RowErrors, error) {
	text, err := readAll(r)
	if err != nil {
		return nil, nil, err
	}
	file, err := readTable(text, takeOff)
	if err != nil {
		return nil, nil, err
	}
	if len(file.rows) > takeOffMost {
		return nil, nil, events.Refuse("file", len(file.rows), "at most %d rows", takeOffMost)
	}
	t := &tableReader{table: takeOff, opts: opts, bad: map[int]bool{}, heads: file.heads}
	var cells []map[string]string
	for _, row := range file.rows {
		if t.measured(row); !t.bad[row.line] {
			cells = append(cells, row.cells)
		}
	}
	return cells, t.plan.Errors, nil
}

// measured puts the cells of a row into one form, or says which cannot be read.
func (t *tableReader) measured(row tableRow) {
	room, work := takeOffColumns()
	for _, part := range [][]tableColumn{room, work} {
		filled := slices.ContainsFunc(part, func(c tableColumn) bool { return row.cells[c.Name] != "" })
		if filled && row.cells[part[0].Name] == "" {
			t.refuse(row, part[0].Name, "it must be given")
		}
	}
	for _, column := range []string{"length", "width", "height", "door width", "door height", "window width",
		"window height", "quantity"} {
		if n := t.number(row, column, typed.Quantity); row.cells[column] != "" {
			row.cells[column] = decimal(n)
		}
	}
	for _, column := range []string{"doors", "windows", "coats"} {
		if n := t.number(row, column, counted(0)); row.cells[column] != "" {
			row.cells[column] = strconv.FormatInt(n, 10)
		}
	}
	if row.cells["task"] == "" {
		return
	}
	row.cells["surface"], row.cells["method"] = t.key(row, "surface"), t.key(row, "method")
	of, known := ofWords[typed.Squeeze(row.cells["of"])]
	if !known {
		t.refuse(row, "of", "use one of quantity, walls, ceiling, floor, edges, openings")
	}
	row.cells["task"], row.cells["of"] = t.task(row).Task, of
}

// decimal writes thousandths, which are not negative, with a point.
func decimal(milli int64) string {
	digits := fmt.Sprintf("%04d", milli)
	at := len(digits) - 3
	return strings.TrimSuffix(digits[:at]+"."+strings.TrimRight(digits[at:], "0"), ".")
}
