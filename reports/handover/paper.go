package handover

import (
	"slices"
	"time"

	"daysheet/events"
	"daysheet/reports"
)

// Kind names a paper. Kinds stand in addresses and stamps and are for ever.
type Kind string

// The papers.
const (
	KindHandover  Kind = "handover"  // the whole report at the end of a job
	KindQuote     Kind = "quote"     // what is offered, to accept
	KindVariation Kind = "variation" // a change of scope, to sign
	KindDaySheet  Kind = "day"       // what was done on one day, to sign
	KindSnags     Kind = "snags"     // what is to be cleared, and what was
	KindCondition Kind = "condition" // how everything was found before start
)

// Paper is a finished paper. One value is shown as JSON, page and PDF.
type Paper struct {
	Kind     Kind
	Of       string // the variation's event or the day; empty for papers of the whole job
	Title    string
	Firm     string // its name as customers read it, else its key
	Stamp    Stamp
	Names    reports.Names
	Sections []Section
}

// Missing returns how many records the paper lists as missing.
func (p Paper) Missing() (n int) {
	for _, s := range p.Sections {
		n += len(s.Missing)
	}
	return n
}

// Photos returns the digests of the paper's photos in their order, each once.
func (p Paper) Photos() (digests []string) {
	seen := map[string]bool{}
	for _, s := range p.Sections {
		for _, photo := range s.Photos {
			if !seen[photo.Digest] {
				seen[photo.Digest] = true
				digests = append(digests, photo.Digest)
			}
		}
	}
	return digests
}

// Stamp ties a paper to the ledger: which records it was made of.
type Stamp struct {
	Firm       string    // key of the firm
	Job        string    // key of the job
	Position   uint64    // position in the log of the last commit that the paper is made of
	Commits    uint64    // commits of the job up to it
	Head       string    // hash of the job's last commit, in hexadecimal; it covers all before
	RecordedAt time.Time // when that commit was recorded, UTC
}

// Section is one part of a paper. Parts that are empty are left out of outputs.
type Section struct {
	Name    string // key in JSON and in addresses
	Title   string
	Facts   []Fact
	Says    []string // what the records say, in sentences
	Strips  []Strip  // the chart of days, a row each
	Tables  []reports.Table
	Photos  []Photo
	Signed  []Signature
	Missing []string // what should be recorded and is not, in sentences
	Sign    []string // what is to be filled in by hand; nil where nothing is
}

// Fact is a term with its value.
type Fact struct {
	Term string
	Form reports.Form
	Cell reports.Cell
}

// Photo is a photo of a section.
type Photo struct {
	Digest  string // SHA-256 of its bytes, in hexadecimal
	Caption string
	Day     events.Day
}

// Signature is what was signed on a screen.
type Signature struct {
	Name    string
	Strokes string // as drawn: M x y and L x y in a field of 600 by 200; empty where the typed name is the signature
	Day     events.Day
}

func (s *Section) say(sentence string)  { s.Says = append(s.Says, sentence) }
func (s *Section) miss(sentence string) { s.Missing = append(s.Missing, sentence) }

// fact adds a term with a text; it adds nothing where the text is empty.
func (s *Section) fact(term, text string) {
	if text != "" {
		s.Facts = append(s.Facts, Fact{term, reports.FormText, reports.Cell{Text: text}})
	}
}

func (s *Section) dayFact(term string, d events.Day) {
	if d != "" {
		s.Facts = append(s.Facts, Fact{term, reports.FormDay, reports.Cell{Text: string(d)}})
	}
}

func (s *Section) moneyFact(term string, e4 int64) {
	s.Facts = append(s.Facts, Fact{term, reports.FormMoney, reports.Cell{Number: e4}})
}

// table adds a table without the columns in which no row holds anything. It adds
// nothing where there are no rows.
func (s *Section) table(t reports.Table) {
	if len(t.Rows) == 0 {
		return
	}
	kept := reports.Table{Name: t.Name, Title: t.Title, Rows: make([][]reports.Cell, len(t.Rows))}
	for i, c := range t.Columns {
		filled := false
		for _, row := range t.Rows {
			filled = filled || !row[i].Blank && (isNumber(c.Form) || row[i].Text != "")
		}
		if !filled {
			continue
		}
		kept.Columns = append(kept.Columns, c)
		for r, row := range t.Rows {
			kept.Rows[r] = append(kept.Rows[r], row[i])
		}
	}
	s.Tables = append(s.Tables, kept)
}

func isNumber(f reports.Form) bool {
	return f != reports.FormText && f != reports.FormName && f != reports.FormDay
}

func text(s string) reports.Cell    { return reports.Cell{Text: s} }
func day(d events.Day) reports.Cell { return reports.Cell{Text: string(d)} }
func count(n int64) reports.Cell    { return reports.Cell{Number: n} }
func reading(n *int64) reports.Cell {
	if n == nil {
		return reports.Cell{Blank: true}
	}
	return reports.Cell{Number: *n}
}

func quantity(milli int64, unit events.Unit) reports.Cell {
	return reports.Cell{Number: milli, Unit: unit, Blank: milli == 0}
}

// Lacking returns the paper with photos that cannot be shown listed as missing:
// reasons says why, by digest.
func (p Paper) Lacking(w Words, reasons map[string]string) Paper {
	sections := make([]Section, len(p.Sections))
	for i, s := range p.Sections {
		s.Missing = slices.Clone(s.Missing)
		for _, photo := range s.Photos {
			if why := reasons[photo.Digest]; why != "" {
				s.miss(w.Say("paper.missing.photo", "day", w.Day(photo.Day), "caption", photo.Caption,
					"digest", photo.Digest[:12], "why", why))
			}
		}
		sections[i] = s
	}
	p.Sections = sections
	return p
}
