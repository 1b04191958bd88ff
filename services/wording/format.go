package wording

import (
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/texts"
)

// Format writes whole numbers the way the firm reads them. It rounds for the
// eye only, halves away from zero; figures are rounded in package reports. The zero
// value is of no use; see [NewFormat].
type Format struct {
	decimal, group string
	dayLayout      string

	Currency string // ISO 4217; empty where the firm has no settings yet
	Digits   int    // decimals of the currency
	Language string // BCP 47, for formatters in the browser

	say *texts.Speaker // of signs of units that differ by language; nil: English
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

// NewFormat returns the format of a firm; the English one where it has no settings.
func NewFormat(names reports.Names) Format {
	f := Format{Currency: names.Currency, Digits: currencyDigits(names.Currency), Language: names.Locale}
	f.decimal, f.group, f.dayLayout = separators(names.Locale)
	if f.Language == "" {
		f.Language = "en"
	}
	return f
}

// In returns the format with the signs of units in the language of the speaker.
func (f Format) In(say *texts.Speaker) Format {
	f.say = say
	return f
}

// Minus is the sign before a number below nothing.
const Minus = "\u2212" // as wide as the plus sign, and not broken from its number

// Fixed writes n, counted in 10^-scale of a whole, with the given decimals.
func (f Format) Fixed(n int64, scale, decimals int) string {
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
		b.WriteString(Minus)
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

// Count writes a whole number.
func (f Format) Count(n int64) string { return f.Fixed(n, 0, 0) }

// Hours writes minutes as hours and minutes: 7:05.
func (f Format) Hours(minutes int64) string {
	magnitude := abs(minutes)
	sign := ""
	if minutes < 0 {
		sign = Minus
	}
	rest := strconv.FormatUint(magnitude%60, 10)
	if len(rest) == 1 {
		rest = "0" + rest
	}
	return sign + f.Fixed(int64(magnitude/60), 0, 0) + ":" + rest
}

// Money writes ten-thousandths of the currency unit, without the currency.
func (f Format) Money(e4 int64) string { return f.Fixed(e4, 4, f.Digits) }

// Thousandths writes a quantity with as many decimals as it needs.
func (f Format) Thousandths(milli int64) string {
	decimals := 3
	for rest := abs(milli); decimals > 0 && rest%10 == 0; rest /= 10 {
		decimals--
	}
	return f.Fixed(milli, 3, decimals)
}

// Quantity writes thousandths of a unit with the unit.
func (f Format) Quantity(milli int64, unit events.Unit) string {
	if unit == events.Each && f.say != nil {
		return f.say.Say("quantity.pieces", "n", f.Thousandths(milli))
	}
	sign := f.UnitSign(unit)
	if many := "signs." + string(unit); f.say != nil && abs(milli) != 1000 && f.say.Has(many) {
		sign = f.say.Say(many)
	}
	return WithUnit(f.Thousandths(milli), sign)
}

// Share writes hundredths of a per cent.
func (f Format) Share(points int64) string { return f.Fixed(points, 2, 1) + "\u00a0%" }

// Rate writes thousandths of a minute for one unit.
func (f Format) Rate(milli int64, unit events.Unit) string {
	text := f.Fixed(milli, 3, 1) + "\u00a0min"
	if sign := f.UnitSign(unit); sign != "" {
		text += "/" + sign
	}
	return text
}

// Day writes a calendar day; what is none as it is.
func (f Format) Day(d events.Day) string {
	if !d.Valid() {
		return string(d)
	}
	return d.Time().Format(f.dayLayout)
}

// Number writes n as the form asks.
func (f Format) Number(n int64, form reports.Form, unit events.Unit) string {
	switch form {
	case reports.FormMinutes:
		return f.Hours(n)
	case reports.FormQuantity:
		return f.Quantity(n, unit)
	case reports.FormMoney:
		return f.Money(n)
	case reports.FormShare:
		return f.Share(n)
	case reports.FormRate:
		return f.Rate(n, unit)
	case reports.FormIndex:
		return f.Quantity(n, "")
	case reports.FormReading:
		return f.Fixed(n, 3, 1)
	}
	return f.Count(n)
}

// Cell writes a cell of a table; the empty text where it is blank.
func (f Format) Cell(c reports.Cell, form reports.Form) string {
	switch {
	case c.Blank:
		return ""
	case form == reports.FormText || form == reports.FormName:
		return c.Text
	case form == reports.FormDay:
		return f.Day(events.Day(c.Text))
	}
	return f.Number(c.Number, form, c.Unit)
}

// Measure says in words what a column of the form is counted in; empty where
// each cell says so itself.
func (f Format) Measure(form reports.Form) string {
	switch form {
	case reports.FormMinutes:
		return "h:mm"
	case reports.FormMoney:
		return f.Currency
	}
	return ""
}

// UnitSign writes a unit as it stands behind a number; pieces have none.
func (f Format) UnitSign(u events.Unit) string {
	key := "sign." + string(u)
	switch {
	case u == events.SquareMetre:
		return "m²"
	case f.say != nil && f.say.Has(key):
		return f.say.Say(key)
	case u == events.Each:
		return ""
	case u == events.Hour:
		return "h"
	}
	return string(u)
}

// WithUnit writes the sign of a unit behind a number, where there is one.
func WithUnit(number, sign string) string {
	if sign == "" {
		return number
	}
	return number + "\u00a0" + sign
}

// Display converts a whole number of the form into what a chart draws: hours,
// currency units, units, per cent or minutes for a unit.
func Display(n int64, form reports.Form) float64 {
	switch form {
	case reports.FormMinutes:
		return float64(n) / 60
	case reports.FormQuantity, reports.FormRate, reports.FormIndex, reports.FormReading:
		return float64(n) / 1000
	case reports.FormMoney:
		return float64(n) / 10_000
	case reports.FormShare:
		return float64(n) / 100
	}
	return float64(n)
}

// Pointed writes n, counted in 10^-places, with at least the given places and
// without zeros beyond them: a point before decimals, a hyphen for minus, no groups.
func Pointed(n int64, places, least int) string {
	digits := strconv.FormatUint(abs(n), 10)
	if short := places + 1 - len(digits); short > 0 {
		digits = strings.Repeat("0", short) + digits
	}
	whole, fraction := digits[:len(digits)-places], digits[len(digits)-places:]
	for len(fraction) > least && fraction[len(fraction)-1] == '0' {
		fraction = fraction[:len(fraction)-1]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	if n < 0 {
		return "-" + whole
	}
	return whole
}

// Typed writes n, counted in 10^-places, as a person types it into a form.
func (f Format) Typed(n int64, places int) string {
	return strings.Replace(Pointed(n, places, 0), ".", f.decimal, 1)
}

// Mark returns the character before decimals.
func (f Format) Mark() string { return f.decimal }
