package wording

import (
	"regexp"
	"strings"

	"daysheet/events"
)

// figured finds the numbers in a sentence of a report, in the one form that
// sentences have: a hyphen for minus, narrow spaces between groups of three digits,
// a point before decimals. A number that begins within a word is none, and neither
// is the number of a section.
var figured = regexp.MustCompile(`(^|[\s(])(-?)([0-9]+(?:\x{202f}[0-9]{3})*)((?:\.[0-9]+)*)`)

// Sentence puts the signs of the firm's locale into a sentence of a report.
func (f Format) Sentence(text string) string {
	said := figured.ReplaceAllStringFunc(text, func(found string) string {
		parts := figured.FindStringSubmatch(found)
		if strings.Count(parts[4], ".") > 1 {
			return found
		}
		sign := strings.Replace(parts[2], "-", Minus, 1)
		whole := strings.ReplaceAll(parts[3], "\u202f", f.group)
		return parts[1] + sign + whole + strings.Replace(parts[4], ".", f.decimal, 1)
	})
	return dated.ReplaceAllStringFunc(said, func(found string) string {
		parts := dated.FindStringSubmatch(found)
		return parts[1] + f.Dated(parts[2]) + parts[3]
	})
}

// dated finds days that stand for themselves, and not within a key.
var dated = regexp.MustCompile(`(^|[\s(])([0-9]{4}-[0-9]{2}-[0-9]{2})([\s.,:;)]|$)`)

// Dated writes the day that a text begins with as the firm does; other texts stay.
func (f Format) Dated(text string) string {
	const long = len("2006-01-02")
	if len(text) < long {
		return text
	}
	return f.Day(events.Day(text[:long])) + text[long:]
}

// Sentences does it for each of several.
func (f Format) Sentences(texts []string) []string {
	said := make([]string, len(texts))
	for i, text := range texts {
		said[i] = f.Sentence(text)
	}
	return said
}
