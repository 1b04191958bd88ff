package handover

import (
	"fmt"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// left says what material stays with the customer, to touch up with.
func (d *Dossier) left() Section {
	s := Section{Name: "left", Title: "Materials left with the customer"}
	t := reports.Table{Name: "left", Title: "Left", Columns: []reports.Column{
		{Key: "product", Title: "Product", Form: reports.FormText},
		{Key: "quantity_milli", Title: "Amount", Form: reports.FormQuantity},
		{Key: "colour_reference", Title: "Colours used of it", Form: reports.FormText},
		{Key: "batch", Title: "Batches used of it", Form: reports.FormText}, {Key: "day", Title: "Day",
			Form: reports.FormDay},
	}}
	for _, u := range of[*events.Usage](d) {
		if !u.what.Left {
			continue
		}
		var colours, batches []string
		for _, c := range of[*events.Coat](d) {
			if c.what.Product == u.what.Product {
				colours, batches = once(colours, c.what.Colour), once(batches, c.what.Batch)
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{text(d.product(u.what.Product)), quantity(u.what.QuantityMilli, u.what.Unit),
			text(strings.Join(colours, ", ")), text(strings.Join(batches, ", ")), day(u.day)})
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.miss("Material that was left, or that none was.")
	}
	return s
}

// once adds a word to a list that has it not yet.
func once(list []string, word string) []string {
	if word == "" || slices.Contains(list, word) {
		return list
	}
	return append(list, word)
}

// care says when the coatings are cured and how to look after them.
func (d *Dossier) care() Section {
	s := Section{Name: "care", Title: "Care and curing"}
	t := reports.Table{Name: "care", Title: "By the maker's data sheet", Columns: []reports.Column{
		{Key: "product", Title: "Product", Form: reports.FormText}, {Key: "last_coat", Title: "Last coat",
			Form: reports.FormDay},
		{Key: "cured", Title: "Cured from", Form: reports.FormDay}, {Key: "care", Title: "Care", Form: reports.FormText},
	}}
	var keys, uncured, uncared []string
	end := map[string]events.Day{}
	for _, c := range of[*events.Coat](d) {
		keys = once(keys, c.what.Product)
		end[c.what.Product] = c.day
	}
	for _, key := range keys {
		p := d.listed[key]
		var cured events.Day
		if p.CureDays > 0 {
			cured = end[key].Add(int(p.CureDays))
		} else {
			uncured = append(uncured, d.product(key))
		}
		if p.Care == "" {
			uncared = append(uncared, d.product(key))
		}
		t.Rows = append(t.Rows, []reports.Cell{text(d.product(key)), day(end[key]), day(cured), text(p.Care)})
	}
	if len(uncured) < len(keys) || len(uncared) < len(keys) {
		s.table(t)
	}
	if len(keys) > 0 {
		s.say("Until a coating is cured it is dry but soft: do not wash it, tape on it or let things stand against it, and " +
			"let air through the rooms (common practice, no source).")
	}
	if len(uncured) > 0 {
		s.miss("The days until it is cured, in the listing of: " + some(uncured) + ".")
	}
	if len(uncared) > 0 {
		s.miss("How to care for it, in the listing of: " + some(uncared) + ".")
	}
	return s
}

// warranty says the firm's own warranty in its own words.
func (d *Dossier) warranty() Section {
	s := Section{Name: "warranty", Title: "Warranty"}
	if d.settings == nil || d.settings.Warranty == "" {
		s.miss("The firm's own warranty, in its settings.")
		return s
	}
	s.Says = strings.FieldsFunc(d.settings.Warranty, func(r rune) bool { return r == '\n' })
	return s
}

// The lines that are filled in by hand where a paper is signed.
func signature(of string) []string { return []string{"Name", "Role", "Day", "Signature of " + of} }

// signOff says who took the work over, and what is open.
func (d *Dossier) signOff() Section {
	s := Section{Name: "sign-off", Title: "Sign-off"}
	t := reports.Table{Name: "sign_off", Title: "Signed off", Columns: []reports.Column{
		{Key: "day", Title: "Day", Form: reports.FormDay}, {Key: "what", Title: "What", Form: reports.FormText},
		{Key: "name", Title: "Name", Form: reports.FormText}, {Key: "role", Title: "As", Form: reports.FormText},
		{Key: "remarks", Title: "Remarks", Form: reports.FormText},
		{Key: "recorded_by", Title: "Recorded by", Form: reports.FormText},
	}}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.SignOff:
			t.Rows = append(t.Rows, []reports.Cell{day(r.day), text("signed off"), text(d.signer(&s, r, p)), text(p.Role),
				text(p.Remarks), text(r.by)})
			if n := len(p.Snags); n > 0 {
				s.say(fmt.Sprintf("Signed on %s with %s that were open and agreed on.", r.day, plural(n, "snag", "snags")))
			}
		case *events.Reopening:
			t.Rows = append(t.Rows, []reports.Cell{day(r.day), text("taken up again"), {}, text("us"), text(p.Reason),
				text(r.by)})
		}
	}
	s.table(t)
	if n := d.open(); n > 0 {
		s.say(fmt.Sprintf("Open at this position: %s of damage or snags, listed above.", plural(n, "point", "points")))
	}
	if !d.state.Finished() || len(of[*events.SignOff](d)) == 0 {
		s.miss("The customer's sign-off.")
		s.Sign = signature("the customer")
	}
	return s
}

// signer says who signed, and adds the signature. Where that cannot be read it says so.
func (d *Dossier) signer(s *Section, r record, p *events.SignOff) string {
	signer, known := d.signers[r.id]
	switch {
	case p.Sealed == nil:
		s.miss(fmt.Sprintf("Name and signature of who signed on %s: only the role was recorded, by %s.", r.day, r.by))
		return ""
	case !known:
		s.miss(fmt.Sprintf("Name and signature of who signed on %s: they are sealed, and the key is not here.", r.day))
		return ""
	case signer.Lost != "":
		s.say(fmt.Sprintf("Name and signature of who signed on %s cannot be read: %s.", r.day, signer.Lost))
		return ""
	}
	s.Signed = append(s.Signed, Signature{signer.Name, signer.Strokes, r.day})
	return signer.Name
}
