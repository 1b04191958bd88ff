package events

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Payload is the content of an event. Each type of event has one struct; see
// [Types].
type Payload interface {
	// check reports everything in the payload that cannot be true.
	check(c *checker)
}

// checker collects the first refusal of a payload. Later rules do not
// overwrite it: one clear message is worth more than a list.
type checker struct {
	first *Error
}

func (c *checker) err() error {
	if c.first == nil {
		return nil
	}
	return c.first
}

func (c *checker) refuse(field string, value any, rule string, args ...any) {
	if c.first == nil {
		c.first = Refuse("data."+field, value, rule, args...)
	}
}

// text requires 1 to most bytes, and not only white space.
func (c *checker) text(field, s string, most int) {
	if strings.TrimSpace(s) == "" {
		c.refuse(field, s, "it must be given")
	}
	c.optionalText(field, s, most)
}

func (c *checker) optionalText(field, s string, most int) {
	switch {
	case len(s) > most:
		c.refuse(field, s, "at most %d bytes", most)
	case !printable(s, "\t\r\n"):
		c.refuse(field, s, "text without control characters")
	}
}

// printable reports whether s is UTF-8 without control characters other than
// those allowed: they would reach terminals, CSV files and databases.
func printable(s, allowed string) bool {
	for _, r := range s {
		if unicode.IsControl(r) && !strings.ContainsRune(allowed, r) {
			return false
		}
	}
	return utf8.ValidString(s)
}

func (c *checker) token(field, s string) {
	if !ValidToken(s) {
		c.refuse(field, s, TokenRule)
	}
}

func (c *checker) optionalToken(field, s string) {
	if s != "" {
		c.token(field, s)
	}
}

// eventID requires the id of another event.
func (c *checker) eventID(field, s string) {
	if !validID(s) {
		c.refuse(field, s, "the id of the event it refers to")
	}
}

func (c *checker) optionalDay(field string, d Day) {
	if d != "" {
		c.day(field, d)
	}
}

func (c *checker) day(field string, d Day) {
	if !d.Valid() {
		c.refuse(field, string(d), "a day as YYYY-MM-DD from 1970 to 2148")
	}
}

// within requires least <= n <= most.
func (c *checker) within(field string, n, least, most int64) {
	if n < least || n > most {
		c.refuse(field, n, "a whole number from %d to %d", least, most)
	}
}

// quantity requires a positive amount with a known unit.
func (c *checker) quantity(field string, milli int64, unitField string, unit Unit) {
	c.within(field, milli, 1, QuantityMilliMax)
	c.unit(unitField, unit)
}

func (c *checker) unit(field string, u Unit) {
	if !u.Known() {
		c.refuse(field, string(u), "use one of %s", joinUnits())
	}
}

func (c *checker) money(field string, e4 int64) { c.within(field, e4, 0, MoneyE4Max) }

func (c *checker) list(field string, n, least int) {
	if n < least || n > listMax {
		c.refuse(field, n, "a list of %d to %d", least, listMax)
	}
}

// digests requires each photo to be named by the SHA-256 of its bytes.
func (c *checker) digests(field string, photos []string) {
	c.list(field, len(photos), 0)
	for i, p := range photos {
		c.digest(fmt.Sprintf("%s[%d]", field, i), p)
	}
}

func (c *checker) digest(field, p string) {
	if len(p) != 64 || strings.Trim(p, "0123456789abcdef") != "" {
		c.refuse(field, p, "the SHA-256 of the photo as 64 of 0-9 and a-f")
	}
}

func (c *checker) oneOf(field, value string, allowed ...string) {
	if !slices.Contains(allowed, value) {
		c.refuse(field, value, "use one of %s", strings.Join(allowed, ", "))
	}
}

func joinUnits() string {
	names := make([]string, len(units))
	for i, u := range units {
		names[i] = string(u)
	}
	return strings.Join(names, ", ")
}
