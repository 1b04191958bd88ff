package events

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf16"
	"unicode/utf8"
)

// reader walks one JSON text (RFC 8259) from left to right. It is stricter than
// encoding/json where a ledger must not guess: names are taken exactly as
// written, half a surrogate pair is refused, and nesting is bounded. Every read
// starts at the cursor, skips white space before it, and ends behind what it read.
type reader struct {
	in    []byte // valid UTF-8, see newReader
	at    int
	depth int
}

// depthMax bounds nesting, so that a hostile document cannot exhaust the stack.
const depthMax = 32

// newReader returns a reader of raw, which must be UTF-8.
func newReader(raw []byte) (reader, error) {
	if !utf8.Valid(raw) {
		return reader{}, &Error{Code: Invalid, Rule: "not valid JSON: the text is not UTF-8"}
	}
	return reader{in: raw}, nil
}

// fail says what the grammar asks for at the cursor.
func (r *reader) fail(want string) error {
	if r.at >= len(r.in) {
		return &Error{Code: Invalid, Rule: "not valid JSON: the text ends where " + want + " is needed"}
	}
	return &Error{Code: Invalid, Rule: fmt.Sprintf("not valid JSON: %s is needed at byte %d", want, r.at)}
}

// next skips white space and returns the byte at the cursor; 0 at the end,
// where no value can start.
func (r *reader) next() byte {
	for r.at < len(r.in) {
		switch b := r.in[r.at]; b {
		case ' ', '\n', '\t', '\r':
			r.at++
		default:
			return b
		}
	}
	return 0
}

// end requires that nothing but white space is left.
func (r *reader) end() error {
	if r.next(); r.at < len(r.in) {
		return r.fail("the end")
	}
	return nil
}

// object calls visit with the name of each member. visit must read its value.
func (r *reader) object(visit func(name []byte) error) error {
	return r.list('{', '}', "an object", func() error {
		name, err := r.text()
		if err != nil {
			return err
		}
		if r.next() != ':' {
			return r.fail("a colon")
		}
		r.at++
		return visit(name)
	})
}

// array calls visit with the index of each item. visit must read the item.
func (r *reader) array(visit func(i int) error) error {
	n := -1
	return r.list('[', ']', "a list", func() error {
		n++
		return visit(n)
	})
}

// list calls item for each of the items, separated by commas, between two marks.
func (r *reader) list(open, end byte, what string, item func() error) error {
	if r.next() != open {
		return r.fail(what)
	}
	if r.depth == depthMax {
		return &Error{Code: Invalid, Rule: fmt.Sprintf("nested deeper than %d", depthMax)}
	}
	r.depth++
	r.at++
	if r.next() != end {
		for {
			if err := item(); err != nil {
				return err
			}
			if r.next() != ',' {
				break
			}
			r.at++
		}
		if r.next() != end {
			return r.fail("a comma or the end of " + what)
		}
	}
	r.at++
	r.depth--
	return nil
}

// text reads a string. The result is part of the input where nothing in it is
// escaped, so it must be copied to be kept.
func (r *reader) text() ([]byte, error) {
	if r.next() != '"' {
		return nil, r.fail("a text in quotes")
	}
	r.at++
	start := r.at
	for ; r.at < len(r.in); r.at++ {
		switch b := r.in[r.at]; {
		case b == '"':
			r.at++
			return r.in[start : r.at-1], nil
		case b == '\\':
			return r.escaped(slices.Clone(r.in[start:r.at]))
		case b < 0x20:
			return nil, r.fail("an escape for a control character")
		}
	}
	return nil, r.fail("a closing quote")
}

// escaped reads the rest of a string that has escapes behind what is in s.
func (r *reader) escaped(s []byte) ([]byte, error) {
	for r.at < len(r.in) {
		b := r.in[r.at]
		switch {
		case b == '"':
			r.at++
			return s, nil
		case b < 0x20:
			return nil, r.fail("an escape for a control character")
		case b != '\\':
			s = append(s, b)
			r.at++
			continue
		}
		c, err := r.escape()
		if err != nil {
			return nil, err
		}
		s = utf8.AppendRune(s, c)
	}
	return nil, r.fail("a closing quote")
}

// escape reads one escape, which stands for one character.
func (r *reader) escape() (rune, error) {
	r.at++
	if r.at >= len(r.in) {
		return 0, r.fail("an escape")
	}
	const letters, meaning = `"\/bfnrt`, "\"\\/\b\f\n\r\t"
	if i := strings.IndexByte(letters, r.in[r.at]); i >= 0 {
		r.at++
		return rune(meaning[i]), nil
	}
	first, err := r.unit()
	if err != nil || !utf16.IsSurrogate(first) {
		return first, err
	}
	if bytes.HasPrefix(r.in[r.at:], []byte(`\u`)) {
		r.at++
		second, err := r.unit()
		if err != nil {
			return 0, err
		}
		if c := utf16.DecodeRune(first, second); c != utf8.RuneError {
			return c, nil
		}
	}
	return 0, &Error{Code: Invalid, Rule: "a text holds half of a surrogate pair"}
}

// unit reads uXXXX behind a backslash: one unit of UTF-16.
func (r *reader) unit() (rune, error) {
	if r.at+5 > len(r.in) || r.in[r.at] != 'u' {
		return 0, r.fail("an escape of JSON")
	}
	var u rune
	for _, b := range r.in[r.at+1 : r.at+5] {
		switch {
		case b >= '0' && b <= '9':
			u = u<<4 | rune(b-'0')
		case b >= 'a' && b <= 'f':
			u = u<<4 | rune(b-'a'+10)
		case b >= 'A' && b <= 'F':
			u = u<<4 | rune(b-'A'+10)
		default:
			return 0, r.fail("an escape with four hexadecimal digits")
		}
	}
	r.at += 5
	return u, nil
}

// number reads a number as it is written.
func (r *reader) number() ([]byte, error) {
	r.next()
	start := r.at
	r.accept('-')
	if !r.accept('0') && !r.digits() {
		return nil, r.fail("a value")
	}
	if r.accept('.') && !r.digits() {
		return nil, r.fail("a digit")
	}
	if r.accept('e') || r.accept('E') {
		_ = r.accept('+') || r.accept('-')
		if !r.digits() {
			return nil, r.fail("a digit")
		}
	}
	return r.in[start:r.at], nil
}

// accept steps over b if it is at the cursor, and reports whether it was.
func (r *reader) accept(b byte) bool {
	if r.at < len(r.in) && r.in[r.at] == b {
		r.at++
		return true
	}
	return false
}

// digits steps over digits and reports whether there was one.
func (r *reader) digits() bool {
	start := r.at
	for r.at < len(r.in) && r.in[r.at] >= '0' && r.in[r.at] <= '9' {
		r.at++
	}
	return r.at > start
}

// word reads true, false or null.
func (r *reader) word() (string, error) {
	r.next()
	for _, w := range []string{"true", "false", "null"} {
		if len(r.in)-r.at >= len(w) && string(r.in[r.at:r.at+len(w)]) == w {
			r.at += len(w)
			return w, nil
		}
	}
	return "", r.fail("a value")
}

// raw reads any one value and returns it as it is written, as part of the input.
func (r *reader) raw() (json.RawMessage, error) {
	first := r.next()
	start := r.at
	var err error
	switch first {
	case '{':
		err = r.object(func([]byte) error { return r.skip() })
	case '[':
		err = r.array(func(int) error { return r.skip() })
	case '"':
		_, err = r.text()
	case 't', 'f', 'n':
		_, err = r.word()
	default:
		_, err = r.number()
	}
	return r.in[start:r.at], err
}

func (r *reader) skip() error {
	_, err := r.raw()
	return err
}
