package handover

import (
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// condition says how everything was found before the work began.
func (d *Dossier) condition() Section {
	s := Section{Name: "condition", Title: d.says("paper.condition")}
	t := reports.Table{Name: "condition", Title: d.says("paper.as-found"), Columns: []reports.Column{
		d.col("day", "paper.day", reports.FormDay), d.col("location", "paper.where", reports.FormText),
		d.col("item", "paper.what", reports.FormText), d.col("finding", "paper.found", reports.FormText),
		d.col("damaged", "paper.damaged-before", reports.FormText),
	}}
	var late, unproved, seen []string
	begun := d.begun()
	for _, c := range of[*events.Condition](d) {
		n := c.what
		damaged := ""
		if n.Damaged {
			damaged = d.says("paper.yes")
			if len(n.Photos) == 0 && !d.pictured(c.id) {
				unproved = append(unproved, listed(n.Location, n.Item))
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{day(c.day), text(n.Location), text(n.Item), text(n.Finding), text(damaged)})
		d.photos(&s, c.record, listed(n.Location, n.Item)+": "+n.Finding, n.Photos)
		seen = append(seen, n.Location)
		if first, ok := begun[n.Location]; ok && first < c.day {
			late = append(late, d.says("paper.looked-at-late",
				"place", n.Location, "day", d.words.Day(c.day), "first", d.words.Day(first)))
		}
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.miss(d.says("paper.missing.condition"))
		return s
	}
	var unseen []string
	for location := range begun {
		if !slices.Contains(seen, location) {
			unseen = append(unseen, location)
		}
	}
	slices.Sort(unseen)
	if len(unseen) > 0 {
		s.miss(d.says("paper.missing.condition-of", "places", d.some(unseen)))
	}
	if len(late) > 0 {
		s.miss(d.says("paper.missing.look-before", "places", d.some(late)))
	}
	if len(unproved) > 0 {
		s.miss(d.says("paper.missing.photo-before", "places", d.some(unproved)))
	}
	return s
}

// begun returns the first day of work by location, where a location is recorded.
func (d *Dossier) begun() map[string]events.Day {
	first := map[string]events.Day{}
	for _, r := range d.records {
		location := ""
		switch p := r.payload.(type) {
		case *events.Protection:
			location = p.Location
		case *events.Preparation:
			location = p.Location
		case *events.Coat:
			location = p.Location
		case *events.Hours:
			location = p.Location
		}
		if _, known := first[location]; location != "" && !known {
			first[location] = r.day
		}
	}
	return first
}

// photos adds the photos of a record: those that it names, and those that were
// attached to it later.
func (d *Dossier) photos(s *Section, r record, caption string, digests []string) {
	for _, digest := range digests {
		s.Photos = append(s.Photos, Photo{digest, caption, r.day})
	}
	for _, p := range of[*events.Photo](d) {
		if p.what.Of != r.id || slices.Contains(digests, p.what.Photo) {
			continue
		}
		s.Photos = append(s.Photos, Photo{p.what.Photo, orElse(p.what.Caption, caption), p.day})
	}
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// pictured reports whether a photo was attached to the event later.
func (d *Dossier) pictured(id string) bool {
	return slices.ContainsFunc(of[*events.Photo](d), func(p entry[*events.Photo]) bool { return p.what.Of == id })
}

// otherPhotos shows the photos that no other section shows.
func (d *Dossier) otherPhotos() Section {
	s := Section{Name: "photos", Title: d.says("paper.photos-of-work")}
	for _, p := range of[*events.Photo](d) {
		switch d.kinds[p.what.Of] {
		case events.ConditionRecorded, events.ProtectionLaid, events.DamageFound, events.DamageMadeGood,
			events.SnagRaised, events.SnagCleared:
			continue
		}
		s.Photos = append(s.Photos, Photo{p.what.Photo, orElse(p.what.Caption, d.says("paper.no-caption")), p.day})
	}
	return s
}

// notes shows what was noted for the customer. All other notes are the firm's own.
func (d *Dossier) notes() Section {
	s := Section{Name: "notes", Title: d.says("paper.notes")}
	for _, n := range of[*events.Note](d) {
		if n.what.ForCustomer {
			s.say(listed(d.words.Day(n.day), n.what.Location) + ": " + n.what.Text)
		}
	}
	return s
}
