package events

import (
	"bytes"
	"cmp"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// Canonical returns the one way to write the JSON value in raw, by RFC 8785
// (JSON Canonicalization Scheme): no white space, members sorted by their names
// as UTF-16, numbers as ECMAScript writes them. Equal values have equal bytes,
// so they can be hashed and compared.
//
// It refuses what has no canonical form: invalid JSON or UTF-8, half of a
// surrogate pair, a member named twice, nesting that no event needs, and a
// number outside a double (RFC 7493 section 2.2): a whole number beyond 2^53-1
// would be rounded silently, which would be a lie in a ledger.
func Canonical(raw []byte) ([]byte, error) {
	return appendCanonical(make([]byte, 0, len(raw)), raw)
}

// appendCanonical appends the canonical form of the JSON value in raw to out.
func appendCanonical(out, raw []byte) ([]byte, error) {
	r, err := newReader(raw)
	if err != nil {
		return nil, err
	}
	c := canonicalizer{reader: r, out: out}
	if err := c.value(); err != nil {
		return nil, err
	}
	if err := c.end(); err != nil {
		return nil, err
	}
	return c.out, nil
}

// canonicalizer writes each value as it reads it.
type canonicalizer struct {
	reader
	out []byte
}

func (c *canonicalizer) value() error {
	switch c.next() {
	case '{':
		return c.sortedObject()
	case '[':
		return c.items()
	case '"':
		s, err := c.text()
		c.out = appendText(c.out, s)
		return err
	case 't', 'f', 'n':
		w, err := c.word()
		c.out = append(c.out, w...)
		return err
	}
	return c.shortestNumber()
}

func (c *canonicalizer) items() error {
	c.out = append(c.out, '[')
	err := c.array(func(i int) error {
		if i > 0 {
			c.out = append(c.out, ',')
		}
		if err := c.value(); err != nil {
			return placed(index(i), err)
		}
		return nil
	})
	c.out = append(c.out, ']')
	return err
}

// member is one member of an object, written as out[start:end].
type member struct {
	name       []byte
	start, end int
}

func (c *canonicalizer) sortedObject() error {
	var few [16]member // most objects need no more, and so no allocation
	members, sorted := few[:0], true
	start := len(c.out)
	c.out = append(c.out, '{')
	err := c.object(func(name []byte) error {
		if n := len(members); n > 0 {
			c.out = append(c.out, ',')
			sorted = sorted && compareUTF16(members[n-1].name, name) < 0
		}
		m := member{name: name, start: len(c.out)}
		c.out = append(appendText(c.out, name), ':')
		if err := c.value(); err != nil {
			return placed(fieldName(name), err)
		}
		m.end = len(c.out)
		members = append(members, m)
		return nil
	})
	c.out = append(c.out, '}')
	if err != nil || sorted {
		return err
	}
	return c.sort(start, members)
}

// sort puts the members of the object that is written from start on in order.
func (c *canonicalizer) sort(start int, members []member) error {
	slices.SortFunc(members, func(a, b member) int { return compareUTF16(a.name, b.name) })
	written := bytes.Clone(c.out[start:])
	c.out = c.out[:start+1]
	for i, m := range members {
		if i > 0 {
			if bytes.Equal(m.name, members[i-1].name) {
				return twice(m.name)
			}
			c.out = append(c.out, ',')
		}
		c.out = append(c.out, written[m.start-start:m.end-start]...)
	}
	c.out = append(c.out, '}')
	return nil
}

// twice refuses a member that stands twice in one object: which of the two
// would be meant?
func twice[T string | []byte](name T) error {
	return Refuse(fieldName(name), nil, "the member stands twice in one object")
}

// placed puts the place of a value in front of the field of a refusal about it.
func placed(place string, err error) error {
	if refusal, ok := err.(*Error); ok {
		switch {
		case refusal.Field == "" || strings.HasPrefix(refusal.Field, "["):
			refusal.Field = place + refusal.Field
		default:
			refusal.Field = place + "." + refusal.Field
		}
	}
	return err
}

// index names the i-th item of a list.
func index(i int) string { return "[" + strconv.Itoa(i) + "]" }

// wholeMax is the greatest whole number up to which a double holds every one.
const wholeMax = 1<<53 - 1

func (c *canonicalizer) shortestNumber() error {
	raw, err := c.number()
	if err != nil {
		return err
	}
	whole := !bytes.ContainsAny(raw, ".eE")
	if whole && len(raw) <= 15 && raw[0] != '-' {
		c.out = append(c.out, raw...) // most amounts: nothing to shorten, no way to overflow
		return nil
	}
	f, err := strconv.ParseFloat(string(raw), 64)
	switch magnitude := math.Abs(f); {
	case err != nil:
		return Refuse("", json.RawMessage(raw), "the number is too great for a double")
	case f == 0 && strings.ContainsAny(mantissa(raw), "123456789"):
		return Refuse("", json.RawMessage(raw), "the number is too small for a double")
	case magnitude > wholeMax && (whole || magnitude < 1e21): // from 1e21 on, the form has an exponent
		return Refuse("", json.RawMessage(raw), "the whole number is beyond 2^53-1 and would be rounded")
	}
	c.out = appendNumber(c.out, f)
	return nil
}

// mantissa returns what stands before the exponent of a number.
func mantissa(raw []byte) string {
	if i := bytes.IndexAny(raw, "eE"); i >= 0 {
		raw = raw[:i]
	}
	return string(raw)
}

// appendNumber writes f as ECMAScript's Number::toString does (ECMA-262
// section 6.1.6.1.20), which RFC 8785 section 3.2.2.3 asks for.
func appendNumber(out []byte, f float64) []byte {
	if f == 0 {
		return append(out, '0') // also for -0
	}
	if a := math.Abs(f); a < 1e21 && a >= 1e-6 {
		return strconv.AppendFloat(out, f, 'f', -1, 64)
	}
	out = strconv.AppendFloat(out, f, 'e', -1, 64)
	// Go writes at least two digits of exponent, ECMAScript no leading zero.
	if n := len(out); out[n-2] == '0' && (out[n-3] == '+' || out[n-3] == '-') {
		out = append(out[:n-2], out[n-1])
	}
	return out
}

// compareUTF16 orders two texts by their UTF-16 units (RFC 8785 section 3.2.3).
func compareUTF16[T string | []byte](a, b T) int {
	i := 0
	for i < len(a) && i < len(b) && a[i] == b[i] {
		i++
	}
	switch {
	case i == len(a) || i == len(b):
		return len(a) - len(b)
	case a[i] < utf8.RuneSelf && b[i] < utf8.RuneSelf:
		return int(a[i]) - int(b[i])
	}
	for i > 0 && !utf8.RuneStart(a[i]) { // back to the start of the character
		i--
	}
	ca, cb := firstRune(a[i:]), firstRune(b[i:])
	return cmp.Or(int(firstUnit(ca)-firstUnit(cb)), int(ca-cb))
}

func firstRune[T string | []byte](s T) rune {
	c, _ := utf8.DecodeRuneInString(string(s[:min(len(s), utf8.UTFMax)]))
	return c
}

// firstUnit returns the first UTF-16 unit of c.
func firstUnit(c rune) rune {
	if high, _ := utf16.EncodeRune(c); high != utf8.RuneError {
		return high
	}
	return c
}

const hexDigits = "0123456789abcdef"

// appendText writes s as a JSON string with the fewest escapes (RFC 8785
// section 3.2.2.2).
func appendText[T string | []byte](out []byte, s T) []byte {
	out = append(out, '"')
	plain := 0 // where the run of characters that stand for themselves starts
	for i := range len(s) {
		b := s[i]
		if b >= 0x20 && b != '"' && b != '\\' {
			continue
		}
		out = append(out, s[plain:i]...)
		plain = i + 1
		if short := strings.IndexByte("\"\\\b\t\n\f\r", b); short >= 0 {
			out = append(out, '\\', `"\btnfr`[short])
		} else {
			out = append(out, '\\', 'u', '0', '0', hexDigits[b>>4], hexDigits[b&15])
		}
	}
	return append(append(out, s[plain:]...), '"')
}
