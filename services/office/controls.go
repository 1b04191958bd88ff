package office

import (
	"slices"
	"strconv"
	"strings"

	"daysheet/services/pages"
	"daysheet/services/wording"
)

// control is a field as the template shows it.
type control struct {
	ID, Name, Label, Sign, Help, Problem, Value string

	Foreign bool // the problem is said in English, as the ledger said it

	Kind     kind
	Groups   []optionGroup // of a choice
	None     string        // of a choice: how it is said that nothing is chosen
	List     string        // id of the proposals
	Lacking  pages.Link    // of a choice without entries
	Required bool
	Checked  bool
	Focus    bool // the browser puts the cursor here
	Rows     []row
	Controls []control // of a group
}

// row is one entry of a list.
type row struct {
	Label    string
	Controls []control
}

// Rows of an empty list, and those beyond what is filled in.
const (
	rowsFirst = 4
	rowsSpare = 2
)

// shown turns fields with what was typed into controls.
type shown struct {
	*filled
	history *wording.History // of the job; nil for none
	focused bool
}

// controls returns the fields below prefix. Within rows nothing is explained: there
// is no room for it.
func (s *shown) controls(fields []field, prefix string, inRow bool) []control {
	var all []control
	for _, d := range fields {
		if d.kind == kindUntyped {
			continue
		}
		all = append(all, s.control(d, prefix, inRow))
	}
	return all
}

func (s *shown) control(d field, prefix string, inRow bool) control {
	name := prefix + d.name
	c := control{ID: "f-" + strings.ReplaceAll(name, ".", "-"), Name: name, Label: d.label(s.say), Sign: d.sign,
		Help:    d.help(s.say),
		Problem: s.problems[name], Foreign: s.foreign[name], Value: s.values.Get(name), Kind: d.kind, List: listID(d.source),
		Required: d.required && !inRow}
	if inRow {
		c.Help = ""
	}
	switch c.Sign {
	case signMoney:
		c.Sign = s.format.Currency
	case signDays:
		c.Sign = s.say.Say("office.days")
	}
	switch d.kind {
	case kindTick:
		c.Checked = c.Value != ""
	case kindChoice:
		s.choice(&c, d)
	case kindSeveral:
		c.Groups = ungrouped(enumOptions(s.say, d))
		for i := range c.Groups[0].Options {
			option := &c.Groups[0].Options[i]
			option.Chosen = slices.Contains(s.values[name], option.Key)
		}
	case kindGroup:
		c.Controls = s.controls(d.inner, name+".", false)
	case kindRows:
		s.rows(&c, d, inRow)
	}
	if c.Problem != "" && !s.focused && d.kind != kindRows && d.kind != kindGroup {
		s.focused, c.Focus = true, true
	}
	return c
}

func (s *shown) choice(c *control, d field) {
	c.Groups = s.optionsOf(d, c.Value)
	switch {
	case d.unitBy != "":
		c.None = s.say.Say("office.usual")
	case d.required:
		c.None = s.say.Say("office.choose")
	default:
		c.None = s.say.Say("office.none")
	}
	if len(c.Groups) == 0 {
		c.Lacking = lacking(s.say, d)
	}
}

func (s *shown) rows(c *control, d field, inRow bool) {
	n := rowsFirst
	if filled := s.rowCount(c.Name); filled > 0 {
		n = filled + rowsSpare
	}
	if inRow {
		n = s.rowCount(c.Name) + 1
	}
	for i := range min(n, rowsMost) {
		at := row{Label: s.say.Say("office.row", "list", c.Label, "n", strconv.Itoa(i+1))}
		at.Controls = s.controls(d.inner, c.Name+"."+strconv.Itoa(i)+".", true)
		c.Rows = append(c.Rows, at)
	}
}

// more parts fields into those that are shown at once and those behind "More".
func more(fields []field) (first, behind []field) {
	for _, d := range fields {
		if d.rare {
			behind = append(behind, d)
		} else {
			first = append(first, d)
		}
	}
	return first, behind
}

// wrongLinks leads to each control with a problem, in their order.
func wrongLinks(all []control) []pages.Link {
	var links []pages.Link
	for _, c := range all {
		if c.Problem != "" {
			links = append(links, pages.Link{Text: c.Label, Address: "#" + c.ID})
		}
		links = append(links, wrongLinks(c.Controls)...)
		for _, r := range c.Rows {
			links = append(links, wrongLinks(r.Controls)...)
		}
	}
	return links
}

// settled reports whether anything was typed into controls, or is wrong with them.
func settled(all []control) bool {
	for _, c := range all {
		if c.Value != "" || c.Problem != "" || settled(c.Controls) {
			return true
		}
	}
	return false
}
