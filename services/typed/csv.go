package typed

import (
	"encoding/csv"
	"fmt"
	"io"
)

// CSV is how a table is written for whoever reads it. The zero value is for programs.
type CSV struct {
	// Mark puts a byte order mark first: spreadsheets would not take it for UTF-8 without.
	Mark bool
	// Comma says that commas stand before decimals, and so semicolons between columns, as
	// spreadsheets have it then.
	Comma bool
}

// Write writes rows by RFC 4180, the head being the first of them. Texts of people must have
// been made [Harmless] before.
func (c CSV) Write(w io.Writer, rows [][]string) error {
	if c.Mark {
		if _, err := io.WriteString(w, "\ufeff"); err != nil {
			return fmt.Errorf("write byte order mark: %w", err)
		}
	}
	out := csv.NewWriter(w)
	if out.UseCRLF = true; c.Comma {
		out.Comma = ';'
	}
	if err := out.WriteAll(rows); err != nil {
		return fmt.Errorf("write rows: %w", err)
	}
	return nil
}
