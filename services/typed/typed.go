// Package typed reads what people type, in forms and in spreadsheets: amounts as
// exact whole numbers, days, units, names of tasks, and keys made of names. Nothing
// is rounded in silence.
package typed

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
)

// Decimal says which character stands before decimals where a number could be
// read either way. The zero value is to refuse such a number.
type Decimal string

// The decimal marks.
const (
	DecimalPoint Decimal = "."
	DecimalComma Decimal = ","
)

const (
	milliDecimals = 3 // quantities are held in thousandths
	moneyDecimals = 4 // money is held in ten-thousandths
	digitsMax     = 15
)

// blanks makes every kind of space one that can be looked for.
var blanks = strings.NewReplacer("\u00a0", " ", "\u2009", " ", "\u202f", " ", "\u2019", "'", "\u2212", "-")

// Number reads a number in units of 10^-decimals, exactly. rule is empty
// where it could be read, else it says what would have been accepted.
func Number(text string, decimals int, mark Decimal) (n int64, rule string) {
	const wanted = "a number such as 12.5, 12,5 or 1 234,50"
	s := strings.TrimSpace(blanks.Replace(text))
	digits, negative := strings.CutPrefix(s, "-")
	whole, fraction, rule := splitNumber(strings.TrimSpace(digits), mark)
	if rule != "" {
		return 0, rule
	}
	whole, ok := ungroup(whole)
	if !ok || strings.Trim(fraction, "0123456789") != "" || whole+fraction == "" {
		return 0, wanted
	}
	for len(fraction) > decimals && fraction[len(fraction)-1] == '0' {
		fraction = fraction[:len(fraction)-1]
	}
	if len(fraction) > decimals {
		return 0, "at most " + strconv.Itoa(decimals) + " decimals"
	}
	all := strings.TrimLeft(whole+fraction+strings.Repeat("0", decimals-len(fraction)), "0")
	if len(all) > digitsMax {
		return 0, "at most " + strconv.Itoa(digitsMax-decimals) + " digits before the decimals"
	}
	for _, d := range all {
		n = n*10 + int64(d-'0')
	}
	if negative {
		n = -n
	}
	return n, ""
}

// splitNumber finds the decimal mark. Where both marks stand, the last is it;
// one that stands twice is none; one before other than three digits is it.
func splitNumber(s string, mark Decimal) (whole, fraction, rule string) {
	last := strings.LastIndexAny(s, ".,")
	if last < 0 {
		return s, "", ""
	}
	before, m, after := s[:last], s[last:last+1], s[last+1:]
	switch {
	case strings.Contains(before, m):
		return s, "", ""
	case strings.ContainsAny(before, ".,"):
		return before, after, ""
	case len(after) == 3 && len(before) >= 1 && len(before) <= 3 && before[0] != '0':
		if mark == "" {
			return "", "", "it can be read as a thousand or as a decimal: say which decimal mark the file has"
		}
		if string(mark) != m {
			return s, "", ""
		}
	}
	return before, after, ""
}

// ungroup takes thousands separators out. All groups but the first have three
// digits, and one number has one kind of separator.
func ungroup(s string) (string, bool) {
	at := strings.IndexAny(s, " '.,")
	if at < 0 {
		return s, strings.Trim(s, "0123456789") == ""
	}
	groups := strings.Split(s, s[at:at+1])
	for i, g := range groups {
		if strings.Trim(g, "0123456789") != "" || i > 0 && len(g) != 3 || len(g) < 1 || len(g) > 3 {
			return "", false
		}
	}
	return strings.Join(groups, ""), true
}

var currency = regexp.MustCompile(`^\s*(?:[€$£]|[A-Z]{3}\s)|(?:[€$£]|\s[A-Z]{3})\s*$`)

// Money reads an amount of money in ten-thousandths. A currency beside it
// is passed over: a firm works in one.
func Money(text string, mark Decimal) (e4 int64, rule string) {
	e4, rule = Number(currency.ReplaceAllString(text, ""), moneyDecimals, mark)
	if rule == "" && (e4 < 0 || e4 > events.MoneyE4Max) {
		return 0, "an amount from 0 to 100 million"
	}
	return e4, rule
}

// Quantity reads a quantity in thousandths.
func Quantity(text string, mark Decimal) (milli int64, rule string) {
	milli, rule = Number(text, milliDecimals, mark)
	if rule == "" && (milli < -events.QuantityMilliMax || milli > events.QuantityMilliMax) {
		return 0, "an amount up to one million"
	}
	return milli, rule
}

var (
	clockHours   = regexp.MustCompile(`^(\d{1,4})\s*(?::|[hH])\s*([0-5]?\d)(?::00|\s*(?:m|min))?$`)
	decimalHours = regexp.MustCompile(`(?i)^(.*\d)\s*(?:h|hr|hrs|hour|hours)$`)
	plainMinutes = regexp.MustCompile(`(?i)^(\d{1,6})\s*(?:m|min|mins|minute|minutes)$`)
)

// hoursWanted says what [Hours] takes.
const hoursWanted = "hours such as 1:30, 1.5, 1,5 h or 90 min"

// Hours reads working time to the nearest minute, as spreadsheets need: they write
// a third of an hour as 0.333333333333.
func Hours(text string) (minutes int64, rule string) {
	worked, rule := workingTime(text)
	return int64(worked.Round(time.Minute) / time.Minute), rule
}

// ExactHours reads working time that a person typed, which must come to whole
// minutes.
func ExactHours(text string) (minutes int64, rule string) {
	worked, rule := workingTime(text)
	if rule == "" && worked%time.Minute != 0 {
		return 0, "whole minutes, for example 1:20 for an hour and a third"
	}
	return int64(worked / time.Minute), rule
}

// workingTime reads hours. They are never in the thousands, so a single mark is
// always that of decimals.
func workingTime(text string) (worked time.Duration, rule string) {
	const (
		decimals = 9
		part     = int64(time.Hour) / 1_000_000_000
	)
	s := strings.TrimSpace(blanks.Replace(text))
	if m := clockHours.FindStringSubmatch(s); m != nil {
		return time.Duration(wholeNumber(m[1])*60+wholeNumber(m[2])) * time.Minute, ""
	}
	if m := plainMinutes.FindStringSubmatch(s); m != nil {
		return time.Duration(wholeNumber(m[1])) * time.Minute, ""
	}
	if m := decimalHours.FindStringSubmatch(s); m != nil {
		s = m[1]
	}
	mark := DecimalPoint
	if at := strings.LastIndexAny(s, ".,"); at >= 0 {
		mark = Decimal(s[at : at+1])
		end := min(len(s), at+1+decimals)
		if strings.Trim(s[end:], "0123456789") != "" {
			return 0, hoursWanted
		}
		s = s[:end]
	}
	n, rule := Number(s, decimals, mark)
	if rule != "" || n < 0 || n > int64(events.PlanMinutesMax)/60*1_000_000_000 {
		return 0, hoursWanted
	}
	return time.Duration(n * part), ""
}

// wholeNumber reads digits that a pattern let through; they cannot overflow.
func wholeNumber(digits string) (n int64) {
	for _, d := range digits {
		n = n*10 + int64(d-'0')
	}
	return n
}
