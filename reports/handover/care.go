package handover

import (
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// left says what material stays with the customer, to touch up with.
func (d *Dossier) left() Section {
	s := Section{Name: "left", Title: d.says("paper.materials-left")}
	t := reports.Table{Name: "left", Title: d.says("paper.left"), Columns: []reports.Column{
		d.col("product", "paper.product", reports.FormText),
		d.col("quantity_milli", "paper.amount", reports.FormQuantity),
		d.col("colour_reference", "paper.colours", reports.FormText),
		d.col("batch", "paper.batches", reports.FormText), d.col("day", "paper.day", reports.FormDay),
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
		s.miss(d.says("paper.missing.left"))
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
	s := Section{Name: "care", Title: d.says("paper.care-and-curing")}
	t := reports.Table{Name: "care", Title: d.says("paper.by-data-sheet"), Columns: []reports.Column{
		d.col("product", "paper.product", reports.FormText), d.col("last_coat", "paper.last-coat", reports.FormDay),
		d.col("cured", "paper.cured-from", reports.FormDay), d.col("care", "paper.care", reports.FormText),
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
		s.say(d.says("paper.care.uncured"))
	}
	if len(uncured) > 0 {
		s.miss(d.says("paper.missing.cure", "products", d.some(uncured)))
	}
	if len(uncared) > 0 {
		s.miss(d.says("paper.missing.care", "products", d.some(uncared)))
	}
	return s
}

// warranty says the firm's own warranty in its own words.
func (d *Dossier) warranty() Section {
	s := Section{Name: "warranty", Title: d.says("paper.warranty")}
	if d.settings == nil || d.settings.Warranty == "" {
		s.miss(d.says("paper.missing.warranty"))
		return s
	}
	s.Says = strings.FieldsFunc(d.settings.Warranty, func(r rune) bool { return r == '\n' })
	return s
}

// signature returns the lines that are filled in by hand where a paper is signed. of is
// the key of whose signature it is.
func (d *Dossier) signature(of string) []string {
	return []string{d.says("paper.name"), d.says("paper.role"), d.says("paper.day"), d.says(of)}
}

// signOff says who took the work over, and what is open.
func (d *Dossier) signOff() Section {
	s := Section{Name: "sign-off", Title: d.says("paper.sign-off")}
	t := reports.Table{Name: "sign_off", Title: d.says("paper.signed-off"), Columns: []reports.Column{
		d.col("day", "paper.day", reports.FormDay), d.col("what", "paper.what", reports.FormText),
		d.col("name", "paper.name", reports.FormText), d.col("role", "paper.as", reports.FormText),
		d.col("remarks", "paper.remarks", reports.FormText),
		d.col("recorded_by", "paper.recorded-by", reports.FormText),
	}}
	for _, r := range d.records {
		switch p := r.payload.(type) {
		case *events.SignOff:
			t.Rows = append(t.Rows, []reports.Cell{day(r.day), text(d.says("paper.event.signed-off")), text(d.signer(&s, r,
				p)), text(p.Role),
				text(p.Remarks), text(r.by)})
			if n := len(p.Snags); n > 0 {
				s.say(d.counted(n, "paper.signed-with.one", "paper.signed-with.many",
					"day", d.words.Day(r.day)))
			}
		case *events.Reopening:
			t.Rows = append(t.Rows, []reports.Cell{day(r.day), text(d.says("paper.event.reopened")), {},
				text(d.says("paper.us")), text(p.Reason),
				text(r.by)})
		}
	}
	s.table(t)
	if n := d.open(); n > 0 {
		s.say(d.counted(n, "paper.open.one", "paper.open.many"))
	}
	if !d.state.Finished() || len(of[*events.SignOff](d)) == 0 {
		s.miss(d.says("paper.missing.sign-off"))
		s.Sign = d.signature("paper.signature.customer")
	}
	return s
}

// signer says who signed, and adds the signature. Where that cannot be read it says so.
func (d *Dossier) signer(s *Section, r record, p *events.SignOff) string {
	signer, known := d.signers[r.id]
	switch {
	case p.Sealed == nil:
		s.miss(d.says("paper.missing.signer", "day", d.words.Day(r.day), "by", r.by))
		return ""
	case !known:
		s.miss(d.says("paper.missing.signer-sealed", "day", d.words.Day(r.day)))
		return ""
	case signer.Erased != "":
		s.say(d.says("paper.signer-erased",
			"day", d.words.Day(r.day), "erased", d.words.Day(signer.Erased)))
		return ""
	case signer.Lost:
		s.say(d.says("paper.signer-lost", "day", d.words.Day(r.day)))
		return ""
	}
	s.Signed = append(s.Signed, Signature{signer.Name, signer.Strokes, r.day})
	return signer.Name
}
