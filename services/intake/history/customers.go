package history

import (
	"io"
	"strings"
	"unicode"

	"daysheet/events"
	"daysheet/services/typed"
)

// customers is the table of customers. It makes no events here: what is personal is sealed by
// the room that has the keys.
const customers Table = "customers"

// Row is a row of a table with its cells by the name of their column, trimmed.
type Row struct {
	Line  int
	Cells map[string]string
}

// CustomerColumns returns the columns of the table of customers.
func CustomerColumns() []Column { return customers.Columns() }

func customerColumns() []tableColumn {
	return []tableColumn{needed("name", "Name of the person or company", "Invented Household"),
		optional("customer", "Key; one that says nothing of the name is made where it is blank", "c-1042", "key", "schlüssel",
			"kunde"),
		optional("address", "Postal address, with line breaks", "1 Invented Lane", "anschrift", "adresse"),
		optional("contacts", "Telephone numbers and mail addresses, one on each line", "iris@mail.example", "kontakte"),
		optional("note", "What the firm should know", "", "notiz")}
}

// ReadCustomers reads a table of customers. Line breaks within cells stay. The error is about
// the whole file.
func ReadCustomers(r io.Reader) ([]Row, error) {
	text, err := readAll(r)
	if err != nil {
		return nil, err
	}
	if strings.TrimSpace(text) == "" {
		return nil, events.Refuse("file", nil, "it is empty")
	}
	columns := customers.columns()
	for _, separator := range []rune{';', '\t', ','} {
		records, lines, err := cut(text, separator, -1)
		if err != nil || len(records) == 0 {
			continue // it may be readable with another separator
		}
		if place, lacks := placeColumns(records[0], columns); len(lacks) == 0 {
			return customerRows(records[1:], lines[1:], place), nil
		}
	}
	return nil, events.Refuse("file", nil, "the first row names the columns, and name is one of them")
}

func customerRows(records [][]string, lines []int, place []string) []Row {
	var rows []Row
	for i, record := range records {
		row, filled := Row{lines[i], map[string]string{}}, false
		for j, cell := range record {
			cell = strings.ReplaceAll(cell, "\r\n", "\n")
			cell = typed.Bare(strings.TrimSpace(strings.Map(keepLines, cell)))
			filled = filled || cell != ""
			if j < len(place) && place[j] != "" {
				row.Cells[place[j]] = cell
			}
		}
		if filled {
			rows = append(rows, row)
		}
	}
	return rows
}

// keepLines is [printable] that leaves line breaks.
func keepLines(r rune) rune {
	if r == '\n' || !unicode.IsControl(r) {
		return r
	}
	return ' '
}
