package history

import (
	"io"
	"unicode"
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

// CustomerTable is a table of customers as a file has it.
type CustomerTable struct {
	Rows    []Row
	Unknown []string // names of columns that were passed over
	heads   heads
}

// Refuse says why a row cannot be taken, of a column as the file calls it.
func (t CustomerTable) Refuse(row Row, column, rule string) RowError {
	return RowError{Line: row.Line, Column: t.heads.of(column), Value: shorten(row.Cells[column]), Rule: rule}
}

// ReadCustomers reads a table of customers as [ReadTable] reads others. Line breaks within
// cells stay. The error is about the whole file.
func ReadCustomers(r io.Reader) (CustomerTable, error) {
	text, err := readAll(r)
	if err != nil {
		return CustomerTable{}, err
	}
	file, err := readTable(text, customers)
	if err != nil {
		return CustomerTable{}, err
	}
	table := CustomerTable{Unknown: file.unknown, heads: file.heads}
	for _, row := range file.rows {
		table.Rows = append(table.Rows, Row{row.line, row.cells})
	}
	return table, nil
}

// keepLines is [printable] that leaves line breaks.
func keepLines(r rune) rune {
	if r == '\n' || !unicode.IsControl(r) {
		return r
	}
	return ' '
}
