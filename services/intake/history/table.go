package history

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"

	"daysheet/events"
)

// fileBytesMax bounds a file that is read. It is far above any firm's sheet.
const fileBytesMax = 64 << 20

// headerSearch is how many rows are looked at for the header.
const headerSearch = 20

// sheet is a file cut into cells.
type sheet struct {
	rows    []row
	blank   int // rows without content
	heads   heads
	unknown []string // names of columns that were passed over
}

// row is one row of the sheet with its cells by column, trimmed.
type row struct {
	line  int
	cells [columnCount]string
	more  string // content to the right of the last column of the header
}

// readAll reads a whole file as UTF-8 text without byte order mark.
func readAll(r io.Reader) (string, error) {
	raw, err := io.ReadAll(io.LimitReader(r, fileBytesMax+1))
	switch {
	case err != nil:
		return "", fmt.Errorf("read file: %w", err)
	case len(raw) > fileBytesMax:
		return "", events.Refuse("file", nil, "at most %d MiB", fileBytesMax>>20)
	case bytes.HasPrefix(raw, []byte{0xff, 0xfe}) || bytes.HasPrefix(raw, []byte{0xfe, 0xff}):
		return "", events.Refuse("file", nil, "it is UTF-16: save it as CSV in UTF-8")
	}
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	if utf8.Valid(raw) {
		return string(raw), nil
	}
	western := make([]rune, len(raw))
	for i, b := range raw {
		if western[i] = rune(b); b >= 0x80 && b < 0xa0 {
			western[i] = windows1252[b-0x80]
		}
	}
	return string(western), nil
}

// windows1252 is what Windows-1252 has where Latin-1 has control characters, by the table
// of the WHATWG Encoding Standard, with blanks for the five bytes that stand for nothing.
// Spreadsheets write it where nobody asks them for UTF-8.
var windows1252 = [32]rune([]rune("€ ‚ƒ„…†‡ˆ‰Š‹Œ Ž  ‘’“”•–—˜™š›œ žŸ"))

// readSheet finds the separator and the header, and sorts cells into columns.
func readSheet(r io.Reader) (*sheet, error) {
	text, err := readAll(r)
	if err != nil {
		return nil, err
	}
	if strings.TrimSpace(text) == "" {
		return nil, events.Refuse("file", nil, "it is empty")
	}
	var best [][]string
	var lines []int
	bestKnown, bestHeader := 0, 0
	for _, separator := range []rune{';', '\t', ','} {
		header, known := findHeader(text, separator)
		if known <= bestKnown {
			continue
		}
		records, at, err := cut(text, separator, -1)
		if err != nil {
			return nil, err
		}
		best, lines, bestHeader, bestKnown = records, at, header, known
	}
	if best == nil {
		return nil, events.Refuse("file", nil,
			"no header row with the columns job and date in the first %d rows", headerSearch)
	}
	return sort(best, lines, bestHeader)
}

// findHeader returns the first row that names both job and date, and how many
// columns it names; 0 where there is none.
func findHeader(text string, separator rune) (header, known int) {
	// A file cut at the wrong separator may have faults that are none.
	records, _, _ := cut(text, separator, headerSearch)
	for i, record := range records {
		var has [columnCount]bool
		n := 0
		for _, name := range record {
			if c, ok := columnNamed(name); ok && !has[c] {
				has[c] = true
				n++
			}
		}
		if has[colJob] && has[colDate] {
			return i, n
		}
	}
	return 0, 0
}

// cut splits text into at most limit records (negative: all) and tells on which
// line each starts. It returns what it read before an error.
func cut(text string, separator rune, limit int) (records [][]string, lines []int, err error) {
	reader := csv.NewReader(strings.NewReader(text))
	reader.Comma, reader.FieldsPerRecord, reader.LazyQuotes = separator, -1, true
	for limit < 0 || len(records) < limit {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return records, lines, events.Refuse("file", nil, "not readable as CSV: %v", err)
		}
		line, _ := reader.FieldPos(0)
		records, lines = append(records, record), append(lines, line)
	}
	return records, lines, nil
}

// sort puts the cells of each record below the header into their columns.
func sort(records [][]string, lines []int, header int) (*sheet, error) {
	s := &sheet{heads: heads{}}
	place := make([]column, len(records[header]))
	var seen [columnCount]bool
	for i, name := range records[header] {
		c, ok := columnNamed(name)
		switch {
		case !ok:
			place[i] = columnCount
			if name = headOf(name); name != "" {
				s.unknown = append(s.unknown, name)
			}
			continue
		case seen[c]:
			return nil, events.Refuse("header", name, "two columns are read as %q: rename one", columns[c].Name)
		}
		seen[c], place[i], s.heads[columns[c].Name] = true, c, headOf(name)
	}
	for i := header + 1; i < len(records); i++ {
		r := row{line: lines[i]}
		filled := false
		for j, cell := range records[i] {
			cell = strings.TrimSpace(strings.Map(printable, cell))
			filled = filled || cell != ""
			switch {
			case j >= len(place):
				r.more += cell
			case place[j] < columnCount:
				r.cells[place[j]] = cell
			}
		}
		if !filled {
			s.blank++
			continue
		}
		s.rows = append(s.rows, r)
	}
	s.blank += blankLines(records, lines, header)
	return s, nil
}

// printable turns line breaks inside a cell, and whatever else cannot be shown,
// into spaces.
func printable(r rune) rune {
	if unicode.IsControl(r) {
		return ' '
	}
	return r
}

// blankLines counts the empty lines between records, which the CSV reader
// passes over without a word. Cells may hold line breaks, so it counts those in.
func blankLines(records [][]string, lines []int, header int) (n int) {
	for i := header + 1; i < len(records); i++ {
		next := lines[i-1] + 1
		for _, cell := range records[i-1] {
			next += strings.Count(cell, "\n")
		}
		n += max(0, lines[i]-next)
	}
	return n
}
