package reports

import (
	"fmt"
	"strings"
)

// Phrase is what a report says in English, with places for values, so that pages can say
// it in other languages. The zero value says nothing.
type Phrase struct {
	Format string // as package fmt reads it; the words themselves where there are no values
	Values []any  // phrases, and numbers and names that are the same in every language
}

func phrase(format string, values ...any) Phrase { return Phrase{format, values} }

// String says the phrase in English.
func (p Phrase) String() string { return p.In(func(english string) string { return english }) }

// In says the phrase with the formats that translate returns for the English ones.
func (p Phrase) In(translate func(english string) string) string {
	if p.Format == "" {
		return ""
	}
	if len(p.Values) == 0 {
		return translate(p.Format)
	}
	format, values := translate(p.Format), make([]any, len(p.Values))
	for i, v := range p.Values {
		switch said := v.(type) {
		case Phrase:
			v = said.In(translate)
		case inside:
			if format == p.Format {
				v = lowerFirst(string(said))
			}
		}
		values[i] = v
	}
	return fmt.Sprintf(format, values...)
}

// inside is a name within a sentence, which begins small in English.
type inside string

// lowerFirst writes a title inside a sentence.
func lowerFirst(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// phrases are sentences without values.
func phrases(sentences ...string) []Phrase {
	said := make([]Phrase, len(sentences))
	for i, s := range sentences {
		said[i] = phrase(s)
	}
	return said
}

// joined puts phrases behind each other, without what says nothing.
func joined(separator string, parts ...Phrase) Phrase {
	var all Phrase
	for _, p := range parts {
		switch {
		case p.Format == "":
		case all.Format == "":
			all = p
		default:
			all = phrase("%s"+separator+"%s", all, p)
		}
	}
	return all
}

// wordCell is a word of the report's own, or a remark, and not a name that the firm gave.
func wordCell(s string) Cell { return phraseCell(phrase(s)) }

func phraseCell(p Phrase) Cell {
	if p.Format == "" {
		return Cell{}
	}
	return Cell{Text: p.String(), Says: &p}
}

// said makes the report's own words of the name in a cell.
func (c *Cell) said(p Phrase) { c.Text, c.Says = p.String(), &p }
