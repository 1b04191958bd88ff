package handover

import (
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// condition says how everything was found before the work began.
func (d *Dossier) condition() Section {
	s := Section{Name: "condition", Title: "Condition before start"}
	t := reports.Table{Name: "condition", Title: "As found", Columns: []reports.Column{
		{Key: "day", Title: "Day", Form: reports.FormDay}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "item", Title: "What", Form: reports.FormText}, {Key: "finding", Title: "Found", Form: reports.FormText},
		{Key: "damaged", Title: "Damaged before", Form: reports.FormText},
	}}
	var late, unproved, seen []string
	begun := d.begun()
	for _, c := range of[*events.Condition](d) {
		n := c.what
		damaged := ""
		if n.Damaged {
			damaged = "yes"
			if len(n.Photos) == 0 && !d.pictured(c.id) {
				unproved = append(unproved, listed(n.Location, n.Item))
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{day(c.day), text(n.Location), text(n.Item), text(n.Finding), text(damaged)})
		d.photos(&s, c.record, listed(n.Location, n.Item)+": "+n.Finding, n.Photos)
		seen = append(seen, n.Location)
		if first, ok := begun[n.Location]; ok && first < c.day {
			late = append(late, fmt.Sprintf("%s (looked at on %s, work there from %s)", n.Location, c.day, first))
		}
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.miss("The condition before the work began.")
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
		s.miss("The condition before the work began of: " + some(unseen) + ".")
	}
	if len(late) > 0 {
		s.miss("A look before the work began; it came after: " + some(late) + ".")
	}
	if len(unproved) > 0 {
		s.miss("A photo of damage that was there before: " + some(unproved) + ".")
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
	s := Section{Name: "photos", Title: "Photos of the work"}
	for _, p := range of[*events.Photo](d) {
		switch d.kinds[p.what.Of] {
		case events.ConditionRecorded, events.ProtectionLaid, events.DamageFound, events.DamageMadeGood,
			events.SnagRaised, events.SnagCleared:
			continue
		}
		s.Photos = append(s.Photos, Photo{p.what.Photo, orElse(p.what.Caption, "Without a caption"), p.day})
	}
	return s
}

// notes shows what was noted for the customer. All other notes are the firm's own.
func (d *Dossier) notes() Section {
	s := Section{Name: "notes", Title: "Notes"}
	for _, n := range of[*events.Note](d) {
		if n.what.ForCustomer {
			s.say(listed(string(n.day), n.what.Location) + ": " + n.what.Text)
		}
	}
	return s
}
