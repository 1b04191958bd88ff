package office

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/texts"
	"daysheet/services/typed"
	"daysheet/services/wording"
)

// rowsMost bounds the rows of a list that one form can send.
const rowsMost = 500

// filled is a form as it was sent: what was typed, and what is wrong with it.
type filled struct {
	values   url.Values
	names    reports.Names
	format   wording.Format
	say      *texts.Speaker
	problems map[string]string // by the name of the control
	foreign  map[string]bool   // problems that are said in English
	places   map[string]string // control of each item of a list: the n-th kept one may be a later row
	whole    string            // what is wrong with no field in particular
	strange  bool              // and is said in English
}

func newFilled(values url.Values, names reports.Names, say *texts.Speaker) *filled {
	return &filled{values: values, names: names, format: wording.NewFormat(names), say: say,
		problems: map[string]string{}, foreign: map[string]bool{}, places: map[string]string{}}
}

// wrong reports whether anything is.
func (f *filled) wrong() bool { return len(f.problems) > 0 || f.whole != "" }

// refuse says what is wrong with a control, in the language of the page.
func (f *filled) refuse(control, sentence string) {
	if f.problems[control] == "" {
		f.problems[control] = sentence
	}
}

// against refuses by a rule that the ledger says in English.
func (f *filled) against(control, rule string) {
	if f.problems[control] != "" {
		return
	}
	said, ok := f.say.Rule(rule)
	f.problems[control], f.foreign[control] = httpd.Sentence(said), !ok
}

func (f *filled) text(control string) string { return strings.TrimSpace(f.values.Get(control)) }

// read turns the controls below prefix into the members of a payload. Members that
// were left empty are left out.
func (f *filled) read(fields []field, prefix, place string) map[string]any {
	members := map[string]any{}
	for _, d := range fields {
		control := prefix + d.name
		f.places[place+d.name] = control
		if value := f.value(d, control, place+d.name); value != nil {
			members[d.name] = value
		} else if d.kind == kindKey && d.keyFrom != "" {
			if key := typed.Key(f.text(prefix + d.keyFrom)); key != "" {
				members[d.name] = key
			}
		}
	}
	f.fillUnits(fields, prefix, members)
	for _, d := range fields {
		if _, given := members[d.name]; d.required && !given && f.problems[prefix+d.name] == "" {
			f.missing(d, prefix+d.name)
		}
	}
	return members
}

// missing says that a member must be given.
func (f *filled) missing(d field, control string) {
	switch d.kind {
	case kindRows:
		f.refuse(control, f.say.Say("office.one-row"))
	case kindGroup, kindUntyped:
	case kindChoice:
		f.refuse(control, f.say.Say("office.choose-one"))
	default:
		f.refuse(control, f.say.Say("office.must"))
	}
}

// value reads one member; nil where it was left empty or cannot be read.
func (f *filled) value(d field, control, place string) any {
	text := f.text(control)
	switch d.kind {
	case kindTick:
		if text != "" || d.always {
			return text != ""
		}
		return nil
	case kindRows:
		return f.rows(d, control, place)
	case kindGroup:
		if !f.anything(d.inner, control+".") {
			return nil
		}
		return f.read(d.inner, control+".", place+".")
	case kindSeveral:
		if chosen := f.values[control]; len(chosen) > 0 && chosen[0] != "" {
			return chosen
		}
		return nil
	case kindUntyped:
		return nil
	}
	if text == "" {
		return nil
	}
	switch d.kind {
	case kindNumber, kindHours:
		return f.number(d, control, text)
	case kindNumbers:
		return f.numbers(d, control, text)
	case kindKey:
		if key := typed.Key(text); events.ValidToken(key) {
			return key
		}
		f.refuse(control, f.say.Say("office.key-rule"))
		return nil
	}
	return text
}

// number reads an amount exactly and holds it against its bounds.
func (f *filled) number(d field, control, text string) any {
	var n int64
	var rule string
	bound := func(n int64) string { return f.format.Fixed(n, d.scale, f.decimals(n, d.scale)) }
	if d.kind == kindHours {
		n, rule = typed.ExactHours(text)
		bound = f.format.Hours
	} else {
		n, rule = typed.Number(text, d.scale, typed.Decimal(f.format.Mark()))
	}
	if rule == "" && d.most != 0 && (n < d.least || n > d.most) {
		f.refuse(control, f.say.Say("office.bounds", "least", bound(d.least), "most", bound(d.most)))
		return nil
	}
	if rule != "" {
		f.against(control, rule)
		return nil
	}
	return n
}

// decimals returns how many of the decimals of n say anything.
func (f *filled) decimals(n int64, scale int) int {
	for ; scale > 0 && n%10 == 0; n /= 10 {
		scale--
	}
	return scale
}

func (f *filled) numbers(d field, control, text string) any {
	var all []int64
	for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == ';' }) {
		n, rule := typed.Number(part, 0, "")
		if rule != "" || n < 1 {
			f.refuse(control, f.say.Say("office.whole-numbers"))
			return nil
		}
		all = append(all, n)
	}
	return all
}

// rows reads the groups of a list and leaves out those in which nothing was typed.
func (f *filled) rows(d field, control, place string) any {
	var all []any
	for i := range f.rowCount(control) {
		prefix := control + "." + strconv.Itoa(i) + "."
		if f.anything(d.inner, prefix) {
			all = append(all, f.read(d.inner, prefix, fmt.Sprintf("%s[%d].", place, len(all))))
		}
	}
	if all == nil {
		return nil
	}
	return all
}

// rowCount returns how many rows of a list the form has.
func (f *filled) rowCount(control string) int {
	n := 0
	for name := range f.values {
		rest, ok := strings.CutPrefix(name, control+".")
		if !ok {
			continue
		}
		at, _, _ := strings.Cut(rest, ".")
		if i, err := strconv.Atoi(at); err == nil && i >= n && i < rowsMost {
			n = i + 1
		}
	}
	return n
}

// anything reports whether something was typed or chosen in a group. Units and ticks
// alone say nothing.
func (f *filled) anything(fields []field, prefix string) bool {
	for _, d := range fields {
		switch control := prefix + d.name; {
		case d.kind == kindTick, d.source == ofUnits, d.quiet:
		case d.kind == kindRows:
			for i := range f.rowCount(control) {
				if f.anything(d.inner, control+"."+strconv.Itoa(i)+".") {
					return true
				}
			}
		case d.kind == kindGroup:
			if f.anything(d.inner, control+".") {
				return true
			}
		case f.text(control) != "":
			return true
		}
	}
	return false
}

// fillUnits gives amounts the unit of their task or product, where none was chosen.
func (f *filled) fillUnits(fields []field, prefix string, members map[string]any) {
	for _, d := range fields {
		if d.unitBy == "" || members[d.name] != nil || f.problems[prefix+d.name] != "" {
			continue
		}
		amount := strings.TrimSuffix(d.name, "unit") + "quantity_milli"
		if hasField(fields, amount) && members[amount] == nil {
			continue // an amount that was left empty needs none
		}
		var unit events.Unit
		if d.unitBy == ofTasks {
			task, _ := members["task"].(string)
			unit = f.names.UnitOf(task)
		} else {
			product, _ := members["product"].(string)
			unit = f.names.Listed[product].Unit
		}
		switch {
		case unit != "":
			members[d.name] = string(unit)
		case members["task"] != nil || members["product"] != nil: // else that is what is missing
			f.refuse(prefix+d.name, f.say.Say("office.no-unit"))
		}
	}
}

func hasField(fields []field, name string) bool {
	for _, d := range fields {
		if d.name == name {
			return true
		}
	}
	return false
}

// place puts a refusal of the ledger beside the control it is about. within is the
// place of the event in the form, where one form makes several.
func (f *filled) place(refusal *events.Error, within string) {
	name := within + strings.TrimPrefix(refusal.Field, "data.")
	if control, ok := f.places[name]; ok {
		f.against(control, refusal.Rule)
		return
	}
	if list, _, ok := strings.Cut(name, "["); ok {
		if control, ok := f.places[list]; ok {
			f.against(control, refusal.Rule)
			return
		}
	}
	said, ok := f.say.Rule(refusal.Rule)
	f.whole, f.strange = httpd.Sentence(said), !ok
	if name != "" && !strings.HasPrefix(refusal.Field, "data.") && name != "subject" && name != "type" {
		f.whole, f.strange = httpd.Problem(refusal).Explain(f.say)
	}
}
