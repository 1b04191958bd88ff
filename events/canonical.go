package events

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"unicode/utf16"
	"unicode/utf8"
)

// Canonical returns the one way to write the JSON value in raw, by RFC 8785
// (JSON Canonicalization Scheme): no white space, members sorted by their names
// as UTF-16, numbers as ECMAScript writes them. Equal values have equal bytes,
// so they can be hashed and compared.
//
// It refuses what has no canonical form: invalid JSON or UTF-8, a member named
// twice, and a number that a double cannot hold exactly as written (RFC 7493),
// because rounding an amount silently would be a lie in a ledger.
func Canonical(raw []byte) ([]byte, error) {
	if !json.Valid(raw) || !utf8.Valid(raw) {
		return nil, &Error{Code: Invalid, Rule: "not valid JSON in UTF-8"}
	}
	c := canonicalizer{in: raw, out: make([]byte, 0, len(raw))}
	if err := c.value(0); err != nil {
		return nil, err
	}
	return c.out, nil
}

// depthMax bounds nesting, so that a hostile document cannot exhaust the stack.
const depthMax = 32

// canonicalizer walks JSON that is known to be valid, so it need not check
// syntax again.
type canonicalizer struct {
	in  []byte
	at  int
	out []byte
}

func (c *canonicalizer) space() {
	for c.at < len(c.in) && (c.in[c.at] == ' ' || c.in[c.at] == '\n' || c.in[c.at] == '\t' || c.in[c.at] == '\r') {
		c.at++
	}
}

func (c *canonicalizer) value(depth int) error {
	if depth > depthMax {
		return &Error{Code: Invalid, Rule: fmt.Sprintf("nested deeper than %d", depthMax)}
	}
	c.space()
	switch c.in[c.at] {
	case '{':
		return c.object(depth)
	case '[':
		return c.array(depth)
	case '"':
		s, err := c.text()
		if err != nil {
			return err
		}
		c.out = appendText(c.out, s)
		return nil
	case 't', 'n':
		c.out = append(c.out, c.in[c.at:c.at+4]...)
		c.at += 4
		return nil
	case 'f':
		c.out = append(c.out, c.in[c.at:c.at+5]...)
		c.at += 5
		return nil
	}
	return c.number()
}

func (c *canonicalizer) array(depth int) error {
	c.at++
	c.out = append(c.out, '[')
	for n := 0; ; n++ {
		c.space()
		if c.in[c.at] == ']' {
			c.at++
			c.out = append(c.out, ']')
			return nil
		}
		if n > 0 {
			c.at++ // the comma: valid JSON has nothing else here
			c.out = append(c.out, ',')
		}
		if err := c.value(depth + 1); err != nil {
			return err
		}
	}
}

// member is one "name": value of an object, its value already canonical.
type member struct {
	name  string
	value []byte
}

func (c *canonicalizer) object(depth int) error {
	c.at++
	var members []member
	start := len(c.out)
	for n := 0; ; n++ {
		c.space()
		if c.in[c.at] == '}' {
			c.at++
			break
		}
		if n > 0 {
			c.at++
			c.space()
		}
		name, err := c.text()
		if err != nil {
			return err
		}
		c.space()
		c.at++ // the colon
		from := len(c.out)
		if err := c.value(depth + 1); err != nil {
			return err
		}
		members = append(members, member{name, bytes.Clone(c.out[from:])})
	}
	slices.SortFunc(members, func(a, b member) int { return compareUTF16(a.name, b.name) })
	c.out = append(c.out[:start], '{')
	for i, m := range members {
		if i > 0 {
			if m.name == members[i-1].name {
				return Refuse(m.name, nil, "the member stands twice in one object")
			}
			c.out = append(c.out, ',')
		}
		c.out = append(appendText(c.out, m.name), ':')
		c.out = append(c.out, m.value...)
	}
	c.out = append(c.out, '}')
	return nil
}

// text reads the string at the cursor. Most strings have no escapes and are
// taken as they stand.
func (c *canonicalizer) text() (string, error) {
	start := c.at
	escaped := false
	for c.at++; c.in[c.at] != '"'; c.at++ {
		if c.in[c.at] == '\\' {
			escaped = true
			c.at++
		}
	}
	c.at++
	quoted := c.in[start:c.at]
	if !escaped {
		return string(quoted[1 : len(quoted)-1]), nil
	}
	if loneSurrogate(quoted) {
		return "", &Error{Code: Invalid, Rule: "a string holds half of a surrogate pair"}
	}
	var s string
	if err := json.Unmarshal(quoted, &s); err != nil {
		return "", fmt.Errorf("read string: %w", err)
	}
	return s, nil
}

// loneSurrogate reports whether a quoted string escapes half of a surrogate
// pair, which encoding/json would silently replace.
func loneSurrogate(quoted []byte) bool {
	for i := 0; i+1 < len(quoted); i++ {
		if quoted[i] != '\\' {
			continue
		}
		if quoted[i+1] != 'u' {
			i++
			continue
		}
		first, err := strconv.ParseUint(string(quoted[i+2:i+6]), 16, 16)
		if err != nil || !utf16.IsSurrogate(rune(first)) {
			i += 5
			continue
		}
		if i+12 > len(quoted) || quoted[i+6] != '\\' || quoted[i+7] != 'u' {
			return true
		}
		second, err := strconv.ParseUint(string(quoted[i+8:i+12]), 16, 16)
		if err != nil || utf16.DecodeRune(rune(first), rune(second)) == utf8.RuneError {
			return true
		}
		i += 11
	}
	return false
}

func (c *canonicalizer) number() error {
	start := c.at
	for c.at < len(c.in) {
		switch b := c.in[c.at]; {
		case b >= '0' && b <= '9', b == '-', b == '+', b == '.', b == 'e', b == 'E':
			c.at++
			continue
		}
		break
	}
	raw := string(c.in[start:c.at])
	f, err := strconv.ParseFloat(raw, 64)
	if err != nil || math.IsInf(f, 0) {
		return Refuse("", raw, "the number does not fit a double")
	}
	if n, err := strconv.ParseInt(raw, 10, 64); err == nil && (n > 1<<53-1 || n < -(1<<53-1)) {
		return Refuse("", raw, "the whole number is beyond 2^53-1 and would be rounded")
	}
	c.out = append(c.out, formatNumber(f)...)
	return nil
}

// formatNumber writes f as ECMAScript's Number::toString does (ECMA-262
// section 6.1.6.1.20), which RFC 8785 section 3.2.2.3 asks for.
func formatNumber(f float64) string {
	if f == 0 {
		return "0" // also for -0
	}
	if a := math.Abs(f); a < 1e21 && a >= 1e-6 {
		return strconv.FormatFloat(f, 'f', -1, 64)
	}
	s := strconv.FormatFloat(f, 'e', -1, 64) // d.ddde±dd
	i := bytes.IndexByte([]byte(s), 'e')
	mantissa, sign, exponent := s[:i], s[i+1], s[i+2:]
	for len(exponent) > 1 && exponent[0] == '0' {
		exponent = exponent[1:]
	}
	return mantissa + "e" + string(sign) + exponent
}

func compareUTF16(a, b string) int {
	for a != "" && b != "" {
		ra, na := utf8.DecodeRuneInString(a)
		rb, nb := utf8.DecodeRuneInString(b)
		if ra != rb {
			return slices.Compare(utf16.Encode([]rune{ra}), utf16.Encode([]rune{rb}))
		}
		a, b = a[na:], b[nb:]
	}
	return len(a) - len(b)
}

const hexDigits = "0123456789abcdef"

// appendText writes s as a JSON string with the fewest escapes (RFC 8785
// section 3.2.2.2).
func appendText(out []byte, s string) []byte {
	out = append(out, '"')
	for i := range len(s) {
		switch b := s[i]; {
		case b == '"' || b == '\\':
			out = append(out, '\\', b)
		case b >= 0x20:
			out = append(out, b)
		case b == '\b':
			out = append(out, `\b`...)
		case b == '\t':
			out = append(out, `\t`...)
		case b == '\n':
			out = append(out, `\n`...)
		case b == '\f':
			out = append(out, `\f`...)
		case b == '\r':
			out = append(out, `\r`...)
		default:
			out = append(out, '\\', 'u', '0', '0', hexDigits[b>>4], hexDigits[b&15])
		}
	}
	return append(out, '"')
}
