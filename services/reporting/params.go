package reporting

import (
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// params reads the query of an address and keeps the first refusal, so that
// pages and API refuse the same things in the same words. Every parameter that
// is read counts as known; see [params.done].
type params struct {
	values url.Values
	known  []string
	err    error
}

func readParams(values url.Values) *params { return &params{values: values} }

func (p *params) refuse(field, value, rule string, args ...any) {
	if p.err == nil {
		p.err = events.Refuse(field, value, rule, args...)
	}
}

// text returns the value of a parameter that may be given once.
func (p *params) text(name string) string {
	given := p.list(name)
	if len(given) > 1 {
		p.refuse(name, given[1], "give it once")
	}
	if len(given) == 0 {
		return ""
	}
	return given[0]
}

// list returns every value of a parameter; nil where it is not given.
func (p *params) list(name string) []string {
	p.known = append(p.known, name)
	return p.values[name]
}

func (p *params) token(name string) string {
	value := p.text(name)
	if value != "" && !events.ValidToken(value) {
		p.refuse(name, value, events.TokenRule)
	}
	return value
}

func (p *params) day(name string) events.Day {
	d := events.Day(p.text(name))
	if d != "" && !d.Valid() {
		p.refuse(name, string(d), "a day as YYYY-MM-DD between 1970 and 2148")
	}
	return d
}

func (p *params) position(name string) uint64 {
	value := p.text(name)
	if value == "" {
		return 0
	}
	n, err := strconv.ParseUint(value, 10, 63)
	if err != nil {
		p.refuse(name, value, "a position in the log as a whole number, 0 for now")
	}
	return n
}

// limit returns how many items a page of an answer holds.
func (p *params) limit(usual, most int) int {
	value := p.text("limit")
	if value == "" {
		return usual
	}
	n, err := strconv.Atoi(value)
	if err != nil || n < 1 || n > most {
		p.refuse("limit", value, "a whole number from 1 to %d", most)
	}
	return n
}

func (p *params) oneOf(name string, allowed ...string) string {
	value := p.text(name)
	if value != "" && !slices.Contains(allowed, value) {
		p.refuse(name, value, "use one of %s", strings.Join(allowed, ", "))
	}
	return value
}

// done returns the first refusal, which may be a parameter that nobody read: a
// misspelt filter must not answer for everything.
func (p *params) done() error {
	if p.err != nil {
		return p.err
	}
	for _, name := range slices.Sorted(maps.Keys(p.values)) {
		if !slices.Contains(p.known, name) {
			p.refuse(name, strings.Join(p.values[name], ", "), "there is no such parameter here; use %s",
				strings.Join(p.known, ", "))
		}
	}
	return p.err
}

// filter reads what a reader of a report may choose.
func (p *params) filter(firm string) reports.Filter {
	f := reports.Filter{
		Firm: firm, Job: p.token("job"), JobType: p.token("job_type"),
		From: p.day("from"), To: p.day("to"), AsOf: p.position("as_of"),
	}
	if f.From != "" && f.To != "" && f.To < f.From {
		p.refuse("to", string(f.To), "not before from (%s)", f.From)
	}
	return f
}
