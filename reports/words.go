package reports

import (
	"fmt"
	"strings"

	"daysheet/events"
)

// The sentences of a report say numbers in words that need no table beside
// them. They are the same in every locale; tables are formatted by the outputs.

// MinutesText says minutes as hours and minutes: "4 h 30 min", "-45 min".
func MinutesText(minutes int64) string {
	hours, rest := split(minutes, 60)
	switch {
	case hours == 0:
		return fmt.Sprintf("%d min", rest)
	case rest == 0:
		return fmt.Sprintf("%d h", hours)
	case rest < 0:
		rest = -rest
	}
	return fmt.Sprintf("%d h %d min", hours, rest)
}

// MoneyText says ten-thousandths of a currency unit with two places:
// "1234.50 EUR". The currency may be empty.
func MoneyText(e4 int64, currency string) string {
	return strings.TrimSpace(decimal(shorten(e4, 100), 2) + " " + currency)
}

// ShareText says hundredths of a per cent with one place: "12.3 %".
func ShareText(basisPoints int64) string { return decimal(shorten(basisPoints, 10), 1) + " %" }

// QuantityText says thousandths of a unit with no more places than needed:
// "12.5 m2", "3 each".
func QuantityText(milli int64, unit events.Unit) string {
	s := strings.TrimRight(strings.TrimRight(decimal(milli, 3), "0"), ".")
	return strings.TrimSpace(s + " " + string(unit))
}

// decimal writes n with the point before its last places digits.
func decimal(n int64, places int) string {
	digits, negative := strings.CutPrefix(fmt.Sprint(n), "-")
	digits = strings.Repeat("0", max(0, places+1-len(digits))) + digits
	if negative {
		digits = "-" + digits
	}
	return digits[:len(digits)-places] + "." + digits[len(digits)-places:]
}

// compared says how an actual amount stands to its budget. say turns one
// amount into words.
func compared(s sides, say func(int64) string) string {
	budget, difference := s.budget(), s.difference()
	switch {
	case budget == 0 && s.actual == 0:
		return "nothing planned and nothing recorded"
	case budget == 0:
		return say(s.actual) + ", with none planned"
	case s.actual == 0:
		return "none recorded of " + say(budget) + " planned"
	case difference == 0:
		return say(s.actual) + ", exactly as planned"
	}
	words := "more"
	if difference < 0 {
		words, difference = "less", -difference
	}
	share, _ := BasisPoints(difference, budget)
	if share < 0 {
		share = -share
	}
	return fmt.Sprintf("%s against %s planned: %s (%s) %s",
		say(s.actual), say(budget), say(difference), ShareText(share), words)
}

// counted says a number of things: "1 job", "3 jobs".
func counted(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// lowerFirst writes a title inside a sentence.
func lowerFirst(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToLower(s[:1]) + s[1:]
}
