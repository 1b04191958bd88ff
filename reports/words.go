package reports

import (
	"fmt"
	"strings"
)

// The sentences of a report say numbers in words that need no table beside
// them. They have one form for every locale: a point before decimals, a narrow
// no-break space between groups of three digits (ISO 80000-1, 7.3.1), a hyphen for
// minus. Outputs that know the reader's locale can put its signs in their places.

// groupSpace stands between groups of three digits in a sentence.
const groupSpace = "\u202f"

// MinutesText says minutes as hours and minutes: "4 h 30 min", "-45 min".
func MinutesText(minutes int64) string {
	hours, rest := split(minutes, 60)
	switch {
	case hours == 0:
		return fmt.Sprintf("%d min", rest)
	case rest == 0:
		return decimal(hours, 0) + " h"
	case rest < 0:
		rest = -rest
	}
	return fmt.Sprintf("%s h %d min", decimal(hours, 0), rest)
}

// MoneyText says ten-thousandths of a currency unit with two places:
// "1 234.50 EUR". The currency may be empty.
func MoneyText(e4 int64, currency string) string {
	return strings.TrimSpace(decimal(shorten(e4, 100), 2) + " " + currency)
}

// ShareText says hundredths of a per cent with one place: "12.3 %".
func ShareText(basisPoints int64) string { return decimal(shorten(basisPoints, 10), 1) + " %" }

// decimal writes n with the point before its last places digits, and groups those
// before it.
func decimal(n int64, places int) string {
	digits, negative := strings.CutPrefix(fmt.Sprint(n), "-")
	digits = strings.Repeat("0", max(0, places+1-len(digits))) + digits
	var b strings.Builder
	if negative {
		b.WriteByte('-')
	}
	whole := len(digits) - places
	for i := range whole {
		if i > 0 && (whole-i)%3 == 0 {
			b.WriteString(groupSpace)
		}
		b.WriteByte(digits[i])
	}
	if places > 0 {
		b.WriteString("." + digits[whole:])
	}
	return b.String()
}

// compared says how an actual amount stands to its budget. say turns one
// amount into words.
func compared(s sides, say func(int64) string) Phrase {
	budget, difference := s.budget(), s.difference()
	switch {
	case budget == 0 && s.actual == 0:
		return phrase("nothing planned and nothing recorded")
	case budget == 0:
		return phrase("%s, with none planned", say(s.actual))
	case s.actual == 0:
		return phrase("none recorded of %s planned", say(budget))
	case difference == 0:
		return phrase("%s, exactly as planned", say(s.actual))
	}
	format := "%s against %s planned: %s (%s) more"
	if difference < 0 {
		format, difference = "%s against %s planned: %s (%s) less", -difference
	}
	share, _ := BasisPoints(difference, budget)
	if share < 0 {
		share = -share
	}
	return phrase(format, say(s.actual), say(budget), say(difference), ShareText(share))
}

// reached is compared for work that may still run: being below the budget is no saving
// then, but how far it has come.
func reached(s sides, running bool, say func(int64) string) Phrase {
	if share, ok := BasisPoints(s.actual, s.budget()); running && ok && s.actual > 0 && s.difference() < 0 {
		return phrase("%s so far of %s planned (%s)", say(s.actual), say(s.budget()), ShareText(share))
	}
	return compared(s, say)
}

// counted says a number of things by two formats: "1 job", "%s jobs".
func counted(n int64, one, many string) Phrase {
	if n == 1 {
		return phrase(one)
	}
	return phrase(many, decimal(n, 0))
}
