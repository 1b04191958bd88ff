package reporting

import (
	"cmp"
	"strings"

	"daysheet/reports"
	"daysheet/services/wording"
)

// What asks for numbers that a spreadsheet can use as they are: with a point before
// decimals, or with a comma, by the locale of the spreadsheet.
const (
	valuesDecimal = "decimal"
	valuesComma   = "comma"
)

// valuesFor returns what a spreadsheet of a locale wants.
func valuesFor(f wording.Format) string {
	if f.Mark() == "," {
		return valuesComma
	}
	return valuesDecimal
}

// inDecimals turns a table of a report into decimal numbers, under keys that say what they
// are counted in now.
func inDecimals(t reports.Table, currency, values string) table {
	money := strings.ToLower(cmp.Or(currency, "amount"))
	key := func(c reports.Column) string { return decimalKey(c, money) }
	if values != valuesComma {
		return written(t, key, decimalValue)
	}
	out := written(t, key, func(c reports.Cell, form reports.Form) string {
		text := decimalValue(c, form)
		if isNumber(form) {
			text = strings.Replace(text, ".", ",", 1)
		}
		return text
	})
	out.comma = true
	return out
}

// decimalKey names a column by what its decimal numbers are counted in.
func decimalKey(c reports.Column, currency string) string {
	was, is := "", ""
	switch c.Form {
	case reports.FormMinutes:
		was, is = "minutes", "hours"
	case reports.FormMoney:
		was, is = "_e4", "_"+currency
	case reports.FormQuantity, reports.FormRate, reports.FormIndex, reports.FormReading:
		was = "_milli"
	case reports.FormShare:
		was, is = "_basis_points", "_percent"
	}
	if before, ok := strings.CutSuffix(c.Key, was); ok {
		return before + is
	}
	return c.Key
}

// decimalValue writes a cell exactly, but for hours: they are told to the nearest
// ten-thousandth.
func decimalValue(c reports.Cell, form reports.Form) string {
	if c.Blank {
		return ""
	}
	switch form {
	case reports.FormMinutes:
		hours, _ := reports.BasisPoints(c.Number, 60) // ten-thousandths of an hour
		return wording.Pointed(hours, 4, 0)
	case reports.FormMoney:
		return wording.Pointed(c.Number, 4, 2)
	case reports.FormQuantity, reports.FormRate, reports.FormIndex, reports.FormReading:
		return wording.Pointed(c.Number, 3, 0)
	case reports.FormShare:
		return wording.Pointed(c.Number, 2, 0)
	}
	return csvValue(c, form)
}
