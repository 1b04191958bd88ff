package history

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

// parseNumber reads a number in units of 10^-decimals, exactly. rule is empty
// where it could be read, else it says what would have been accepted.
func parseNumber(text string, decimals int, mark Decimal) (n int64, rule string) {
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

// parseMoney reads an amount of money in ten-thousandths. A currency beside it
// is passed over: a firm works in one.
func parseMoney(text string, mark Decimal) (e4 int64, rule string) {
	e4, rule = parseNumber(currency.ReplaceAllString(text, ""), moneyDecimals, mark)
	if rule == "" && (e4 < 0 || e4 > events.MoneyE4Max) {
		return 0, "an amount from 0 to 100 million"
	}
	return e4, rule
}

// parseQuantity reads a quantity in thousandths.
func parseQuantity(text string, mark Decimal) (milli int64, rule string) {
	milli, rule = parseNumber(text, milliDecimals, mark)
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

// parseHours reads working time to the nearest minute. Hours are never in the
// thousands, so a single mark is always that of decimals.
func parseHours(text string) (minutes int64, rule string) {
	const (
		wanted   = "hours such as 1:30, 1.5, 1,5 h or 90 min"
		decimals = 9 // spreadsheets write a third of an hour as 0.333333333333
		part     = int64(time.Hour) / 1_000_000_000
	)
	s := strings.TrimSpace(blanks.Replace(text))
	if m := clockHours.FindStringSubmatch(s); m != nil {
		return wholeNumber(m[1])*60 + wholeNumber(m[2]), ""
	}
	if m := plainMinutes.FindStringSubmatch(s); m != nil {
		return wholeNumber(m[1]), ""
	}
	if m := decimalHours.FindStringSubmatch(s); m != nil {
		s = m[1]
	}
	mark := DecimalPoint
	if at := strings.LastIndexAny(s, ".,"); at >= 0 {
		mark = Decimal(s[at : at+1])
		s = s[:min(len(s), at+1+decimals)]
	}
	n, rule := parseNumber(s, decimals, mark)
	if rule != "" || n < 0 || n > int64(events.PlanMinutesMax)/60*1_000_000_000 {
		return 0, wanted
	}
	return int64(time.Duration(n*part).Round(time.Minute) / time.Minute), ""
}

// wholeNumber reads digits that a pattern let through; they cannot overflow.
func wholeNumber(digits string) (n int64) {
	for _, d := range digits {
		n = n*10 + int64(d-'0')
	}
	return n
}
