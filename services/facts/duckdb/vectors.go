package duckdb

import (
	"bytes"
	"fmt"
	"strings"
	"unsafe"

	"github.com/duckdb/duckdb-go/v2/mapping"
)

// column is a column of an answer or of a table, and the field of a row that its
// values go into or come from: a *string, *int64, *uint64, *uint32, *uint8, *int8
// or *[]byte.
type column struct {
	field any
	texts *texts // of a *string
}

// typeOf returns the type of columns that go with a field. Nothing is converted.
func typeOf(field any) (t mapping.Type, known bool) {
	switch field.(type) {
	case *string:
		return mapping.TypeVarchar, true
	case *int64:
		return mapping.TypeBigInt, true
	case *uint64:
		return mapping.TypeUBigInt, true
	case *uint32:
		return mapping.TypeUInteger, true
	case *uint8:
		return mapping.TypeUTinyInt, true
	case *int8:
		return mapping.TypeTinyInt, true
	case *[]byte:
		return mapping.TypeBlob, true
	}
	return mapping.TypeInvalid, false
}

// columnsOf finds the answer's columns for the fields.
func columnsOf(answer *mapping.Result, fields []any) ([]column, error) {
	if n := int(mapping.ColumnCount(answer)); n != len(fields) {
		return nil, fmt.Errorf("%d columns do not go into %d fields", n, len(fields))
	}
	columns := make([]column, len(fields))
	for i, field := range fields {
		want, known := typeOf(field)
		if got := mapping.ColumnType(answer, mapping.IdxT(i)); !known || got != want {
			return nil, fmt.Errorf("column %d is of type %d, which does not go into %T", i+1, got, field)
		}
		columns[i].field = field
		if text, ok := field.(*string); ok {
			columns[i].texts = &texts{field: text}
		}
	}
	return columns, nil
}

// readChunk puts every row of the chunk into the columns' fields and calls each, if any.
// Then it gives the chunk back.
func readChunk(chunk mapping.DataChunk, columns []column, each func()) error {
	defer mapping.DestroyDataChunk(&chunk)
	rows := int(mapping.DataChunkGetSize(chunk))
	read := make([]func(row int), len(columns))
	for i := range columns {
		vector := mapping.DataChunkGetVector(chunk, mapping.IdxT(i))
		if mask := mapping.VectorGetValidity(vector); mask != nil {
			for row := range rows {
				if !mapping.ValidityRowIsValid(mask, mapping.IdxT(row)) {
					return fmt.Errorf("column %d is NULL, which does not go into %T", i+1, columns[i].field)
				}
			}
		}
		read[i] = columns[i].reader(mapping.VectorGetData(vector), rows)
	}
	for row := range rows {
		for _, value := range read {
			value(row)
		}
		if each != nil {
			each()
		}
	}
	return nil
}

// reader returns what puts the value of a row into the column's field, with data
// that a vector has of its rows.
func (c column) reader(data unsafe.Pointer, rows int) func(row int) {
	switch field := c.field.(type) {
	case *int64:
		return numbers(field, data, rows)
	case *uint64:
		return numbers(field, data, rows)
	case *uint32:
		return numbers(field, data, rows)
	case *uint8:
		return numbers(field, data, rows)
	case *int8:
		return numbers(field, data, rows)
	case *[]byte:
		return func(row int) { *field = bytes.Clone(bytesAt(data, row)) }
	}
	return func(row int) {
		text := bytesAt(data, row)
		c.texts.read(unsafe.String(unsafe.SliceData(text), len(text)))
	}
}

func numbers[T any](field *T, data unsafe.Pointer, rows int) func(row int) {
	values := unsafe.Slice((*T)(data), rows)
	return func(row int) { *field = values[row] }
}

// How DuckDB's C header (duckdb.h, duckdb_string_t) lays out a text or a blob: its
// length in 4 bytes, then up to 12 bytes of itself, or else 4 of them and a pointer.
const (
	textSize    = unsafe.Sizeof(mapping.StringT{})
	inlineBytes = 12
	inlineAt    = 4
	pointerAt   = 8
)

// bytesAt returns the text or blob of a row. They are DuckDB's own, and good as long
// as the vector.
func bytesAt(data unsafe.Pointer, row int) []byte {
	text := unsafe.Add(data, uintptr(row)*textSize)
	length := *(*uint32)(text)
	if length <= inlineBytes {
		return unsafe.Slice((*byte)(unsafe.Add(text, inlineAt)), length)
	}
	return unsafe.Slice(*(**byte)(unsafe.Add(text, pointerAt)), length)
}

// texts puts texts into a field. Most are the same as in the row before or a few
// rows ago, and making each anew would take longer than all the rest.
type texts struct {
	field  *string
	lately [64]string // by their ends
}

// read sets the field to a text that is DuckDB's own.
func (t *texts) read(text string) {
	if text == *t.field {
		return
	}
	kept := &t.lately[ending(text)%uint8(len(t.lately))]
	if *kept != text {
		*kept = strings.Clone(text)
	}
	*t.field = *kept
}

// ending tells most short lists of texts apart by their last letters.
func ending(s string) (h uint8) {
	for i := max(0, len(s)-3); i < len(s); i++ {
		h = h*7 + s[i]
	}
	return h
}
