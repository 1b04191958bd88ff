package typed

import (
	"regexp"
	"strings"
	"time"

	"daysheet/events"
)

var (
	numericDate = regexp.MustCompile(`^(\d{1,4})([-./])\s?(\d{1,2})([-./])\s?(\d{1,4})$`)
	clockTail   = regexp.MustCompile(`[T ]\d{1,2}:\d{2}(:\d{2})?$`)
)

// dayWanted says what [Day] takes.
const dayWanted = "a date such as 2025-03-04, 4.3.2025, 04/03/2025 or 4 Mar 2025"

// Day reads a date. rule is empty where it could be read.
func Day(text string, monthFirst bool) (day events.Day, rule string) {
	s := clockTail.ReplaceAllString(strings.TrimSpace(blanks.Replace(text)), "")
	m := numericDate.FindStringSubmatch(s)
	if m == nil || m[2] != m[4] {
		return wordedDay(s)
	}
	first, middle, last := wholeNumber(m[1]), wholeNumber(m[3]), wholeNumber(m[5])
	if len(m[1]) == 4 {
		return realDay(first, middle, last)
	}
	switch len(m[5]) {
	case 2:
		last += 2000
	case 4:
	default:
		return "", dayWanted
	}
	// A date with dots has the day first wherever it is in use.
	if m[2] != "." && (monthFirst && first <= 12 || !monthFirst && middle > 12) {
		first, middle = middle, first
	}
	return realDay(last, middle, first)
}

func wordedDay(s string) (events.Day, string) {
	for _, layout := range []string{"2 Jan 2006", "2 January 2006", "2. January 2006", "2-Jan-2006", "2-Jan-06"} {
		if t, err := time.Parse(layout, s); err == nil {
			return realDay(int64(t.Year()), int64(t.Month()), int64(t.Day()))
		}
	}
	return "", dayWanted
}

func realDay(year, month, day int64) (events.Day, string) {
	t := time.Date(int(year), time.Month(month), int(day), 0, 0, 0, 0, time.UTC)
	d := events.DayOf(t)
	if int64(t.Month()) != month || int64(t.Day()) != day {
		return "", "a day that there is"
	}
	if !d.Valid() {
		return "", "a day from 1970 on"
	}
	return d, ""
}
