package events

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
)

// Code says what kind of refusal an error is, so that every edge (HTTP, the
// command line) can answer in its own way without reading the text.
type Code string

// The codes, from the sender's fault to ours.
const (
	Invalid     Code = "invalid"     // the content breaks a rule
	Conflict    Code = "conflict"    // the same id was recorded with other content, or the job moved on
	NotFound    Code = "not_found"   // the job or event that is named does not exist
	Unavailable Code = "unavailable" // the log cannot answer now; sending again is safe
	Internal    Code = "internal"    // a fault of this program
)

// Error is a refusal. Field, Value and Rule name what was refused and why, in
// words that a person on site can act on. The zero value is not useful.
type Error struct {
	Code    Code
	EventID string // empty where the refusal is not about one event
	Field   string // JSON path from the event's root, for example "data.minutes"
	Value   string // the value as received, shortened
	Rule    string // what would have been accepted
}

// Error puts field, value and rule into one sentence.
func (e *Error) Error() string {
	var b strings.Builder
	if e.EventID != "" {
		fmt.Fprintf(&b, "event %s: ", e.EventID)
	}
	switch {
	case e.Field != "" && e.Value != "":
		fmt.Fprintf(&b, "%s is %s: ", e.Field, e.Value)
	case e.Field != "" || e.Value != "":
		b.WriteString(e.Field + e.Value + ": ")
	}
	b.WriteString(e.Rule)
	return b.String()
}

// CodeOf returns the code of the first [Error] in err's chain, and [Internal]
// where there is none. The code of nil is empty.
func CodeOf(err error) Code {
	if err == nil {
		return ""
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Code
	}
	return Internal
}

// Refuse builds an [Error] with code [Invalid].
func Refuse(field string, value any, rule string, args ...any) *Error {
	return &Error{Code: Invalid, Field: field, Value: show(value), Rule: fmt.Sprintf(rule, args...)}
}

// show renders a received value for a message: text in quotes, JSON as it was
// written.
func show(value any) string {
	switch v := value.(type) {
	case nil:
		return ""
	case string:
		return cut(fmt.Sprintf("%q", v))
	case json.RawMessage:
		return cut(string(v))
	default:
		return cut(fmt.Sprint(v))
	}
}

// fieldName renders the name of a member as it was received: as it is, if that
// cannot do harm.
func fieldName[T string | []byte](name T) string {
	if s := string(name); printable(s, "") {
		return cut(s)
	}
	return cut(fmt.Sprintf("%q", name))
}

// cut shortens a received value, so that a hostile one cannot flood a log line.
func cut(s string) string {
	const most = 80
	if len(s) > most {
		return strings.ToValidUTF8(s[:most], "") + "…"
	}
	return s
}
