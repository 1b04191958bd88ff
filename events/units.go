package events

import (
	"slices"
	"time"
)

// Unit is what a quantity is counted in. The zero value is no unit, which is
// refused wherever a quantity is given.
type Unit string

// The units of work and of stock.
const (
	SquareMetre Unit = "m2"
	Metre       Unit = "m"
	Each        Unit = "each"
	Hour        Unit = "hour"
	Litre       Unit = "l"
	Kilogram    Unit = "kg"
	Roll        Unit = "roll"
	Sheet       Unit = "sheet"
	Pack        Unit = "pack"
)

var units = []Unit{SquareMetre, Metre, Each, Hour, Litre, Kilogram, Roll, Sheet, Pack}

// Units returns every unit in the order in which they are shown.
func Units() []Unit { return slices.Clone(units) }

// Known reports whether u is one of [Units].
func (u Unit) Known() bool { return slices.Contains(units, u) }

// Day is a calendar day where the work is, written YYYY-MM-DD. Days compare in
// time order as strings. The zero value means "not given".
type Day string

const dayLayout = "2006-01-02"

// DayOf returns the calendar day of t in t's own location.
func DayOf(t time.Time) Day { return Day(t.Format(dayLayout)) }

// Valid reports whether d is a real day from 1970 to 2148, the years that every
// store can hold.
func (d Day) Valid() bool {
	t, err := time.Parse(dayLayout, string(d))
	return err == nil && t.Year() >= 1970 && t.Year() <= 2148
}

// Month returns the first day of d's month.
func (d Day) Month() Day {
	if len(d) < 8 {
		return ""
	}
	return d[:8] + "01"
}

// Time returns midnight UTC of d; the zero time if d is not valid.
func (d Day) Time() time.Time {
	t, _ := time.Parse(dayLayout, string(d))
	return t
}

// Add returns the day n days after d (before, if n is negative).
func (d Day) Add(n int) Day { return DayOf(d.Time().AddDate(0, 0, n)) }

// Limits on single amounts. They are far above any real job and far below the
// point where sums of many of them could overflow an int64.
const (
	MinutesMax       = 24 * 60                     // one person, one booking, one day
	PlanMinutesMax   = 1_000_000                   // one estimate line
	QuantityMilliMax = int64(1_000_000) * 1_000    // one million units
	MoneyE4Max       = int64(100_000_000) * 10_000 // one hundred million
	textMax          = 2_000
	nameMax          = 120
	listMax          = 500
)

// ValidToken reports whether s can be a firm, job, task, product or person key:
// see [TokenRule]. Tokens stand in subjects of the log and in addresses, so
// nothing else is let through.
func ValidToken(s string) bool {
	if len(s) == 0 || len(s) > 64 || s[0] == '-' || s[len(s)-1] == '-' {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// TokenRule says in words what [ValidToken] accepts.
const TokenRule = "use 1 to 64 of a-z, 0-9 and -, not starting or ending with -"

// FirmJob is the reserved job key under which a firm's own events (settings,
// products, purchases, rate book) are recorded.
const FirmJob = "firm"
