package reporting

import (
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// format writes whole numbers the way the firm reads them. It rounds for the
// eye only, halves away from zero; figures are rounded in package reports.
type format struct {
	decimal, group string
	dayLayout      string
	currency       string // ISO 4217; empty where the firm has no settings yet
	digits         int    // decimals of the currency
	language       string // BCP 47, for formatters in the browser
}

// separators by language, and by language and region where a region differs.
// From memory of the Unicode locale data.
func separators(locale string) (decimal, group, dayLayout string) {
	language, _, _ := strings.Cut(strings.ToLower(locale), "-")
	switch strings.ToLower(locale) {
	case "de-at":
		return ",", "\u00a0", "02.01.2006"
	case "de-ch", "de-li":
		return ".", "’", "02.01.2006"
	case "en-us":
		return ".", ",", "Jan 2, 2006"
	}
	switch language {
	case "de":
		return ",", ".", "02.01.2006"
	case "fr":
		return ",", "\u202f", "02/01/2006"
	case "it", "es", "pt", "nl":
		return ",", ".", "02/01/2006"
	}
	return ".", ",", "2 Jan 2006"
}

// currencyDigits returns the decimals of a currency (ISO 4217, minor units; from memory).
func currencyDigits(currency string) int {
	switch currency {
	case "JPY", "KRW", "ISK", "CLP", "VND", "XAF", "XOF":
		return 0
	case "BHD", "KWD", "OMR", "JOD", "TND":
		return 3
	}
	return 2
}

func newFormat(names reports.Names) format {
	f := format{currency: names.Currency, digits: currencyDigits(names.Currency), language: names.Locale}
	f.decimal, f.group, f.dayLayout = separators(names.Locale)
	if f.language == "" {
		f.language = "en"
	}
	return f
}

const minus = "\u2212" // as wide as the plus sign, and not broken from its number

// fixed writes n, counted in 10^-scale of a whole, with the given decimals.
func (f format) fixed(n int64, scale, decimals int) string {
	magnitude := abs(n)
	for ; scale > decimals; scale-- {
		last := magnitude % 10
		magnitude /= 10
		if last >= 5 && scale == decimals+1 {
			magnitude++
		}
	}
	digits := strconv.FormatUint(magnitude, 10)
	if short := decimals + 1 - len(digits); short > 0 {
		digits = strings.Repeat("0", short) + digits
	}
	whole, fraction := digits[:len(digits)-decimals], digits[len(digits)-decimals:]
	var b strings.Builder
	if n < 0 && strings.Trim(digits, "0") != "" {
		b.WriteString(minus)
	}
	for i := range len(whole) {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteString(f.group)
		}
		b.WriteByte(whole[i])
	}
	if fraction != "" {
		b.WriteString(f.decimal)
		b.WriteString(fraction)
	}
	return b.String()
}

// abs returns the magnitude of n, also of the least int64.
func abs(n int64) uint64 {
	if n < 0 {
		return -uint64(n)
	}
	return uint64(n)
}

func (f format) count(n int64) string { return f.fixed(n, 0, 0) }

// hours writes minutes as hours and minutes: 7:05.
func (f format) hours(minutes int64) string {
	magnitude := abs(minutes)
	sign := ""
	if minutes < 0 {
		sign = minus
	}
	rest := strconv.FormatUint(magnitude%60, 10)
	if len(rest) == 1 {
		rest = "0" + rest
	}
	return sign + f.fixed(int64(magnitude/60), 0, 0) + ":" + rest
}

// money writes ten-thousandths of the currency unit, without the currency.
func (f format) money(e4 int64) string { return f.fixed(e4, 4, f.digits) }

// thousandths writes a quantity with as many decimals as it needs.
func (f format) thousandths(milli int64) string {
	decimals := 3
	for rest := abs(milli); decimals > 0 && rest%10 == 0; rest /= 10 {
		decimals--
	}
	return f.fixed(milli, 3, decimals)
}

// quantity writes thousandths of a unit with the unit.
func (f format) quantity(milli int64, unit events.Unit) string {
	return withUnit(f.thousandths(milli), unitSign(unit))
}

// share writes hundredths of a per cent.
func (f format) share(points int64) string { return f.fixed(points, 2, 1) + "\u00a0%" }

// rate writes thousandths of a minute for one unit.
func (f format) rate(milli int64, unit events.Unit) string {
	text := f.fixed(milli, 3, 1) + "\u00a0min"
	if sign := unitSign(unit); sign != "" {
		text += "/" + sign
	}
	return text
}

func (f format) day(d events.Day) string {
	if !d.Valid() {
		return string(d)
	}
	return d.Time().Format(f.dayLayout)
}

// number writes n as the form asks.
func (f format) number(n int64, form reports.Form, unit events.Unit) string {
	switch form {
	case reports.FormMinutes:
		return f.hours(n)
	case reports.FormQuantity:
		return f.quantity(n, unit)
	case reports.FormMoney:
		return f.money(n)
	case reports.FormShare:
		return f.share(n)
	case reports.FormRate:
		return f.rate(n, unit)
	case reports.FormIndex:
		return f.quantity(n, "")
	}
	return f.count(n)
}

// cell writes a cell of a table; the empty text where it is blank.
func (f format) cell(c reports.Cell, form reports.Form) string {
	switch {
	case c.Blank:
		return ""
	case form == reports.FormText || form == reports.FormName:
		return c.Text
	case form == reports.FormDay:
		return f.day(events.Day(c.Text))
	}
	return f.number(c.Number, form, c.Unit)
}

// measure says in words what a column of the form is counted in; empty where
// each cell says so itself.
func (f format) measure(form reports.Form) string {
	switch form {
	case reports.FormMinutes:
		return "h:mm"
	case reports.FormMoney:
		return f.currency
	}
	return ""
}

// unitSign writes a unit as it is read.
func unitSign(u events.Unit) string {
	switch u {
	case events.SquareMetre:
		return "m²"
	case events.Each:
		return ""
	case events.Hour:
		return "h"
	}
	return string(u)
}

func withUnit(number, sign string) string {
	if sign == "" {
		return number
	}
	return number + "\u00a0" + sign
}

// display converts a whole number of the form into what a chart draws: hours,
// currency units, units, per cent or minutes for a unit.
func display(n int64, form reports.Form) float64 {
	switch form {
	case reports.FormMinutes:
		return float64(n) / 60
	case reports.FormQuantity, reports.FormRate, reports.FormIndex:
		return float64(n) / 1000
	case reports.FormMoney:
		return float64(n) / 10_000
	case reports.FormShare:
		return float64(n) / 100
	}
	return float64(n)
}
