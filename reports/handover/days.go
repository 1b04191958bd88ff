package handover

import (
	"daysheet/events"
)

// Strip is one row of the chart of days: on which days of a span something was recorded.
type Strip struct {
	Title     string
	From, End events.Day   // of the span, which all strips of a paper share
	Days      []events.Day // on which there is something, in ascending order
}

// daysMost is the longest span that is drawn: beyond it a day is too narrow to see.
const daysMost = 180

// days shows which kind of work was recorded on which day, where work took more than one.
func (d *Dossier) days() Section {
	s := Section{Name: "days", Title: d.says("paper.days-on-site")}
	first, end := d.worked()
	if first == end {
		return s
	}
	of := map[string]map[events.Day]bool{}
	for _, r := range d.records {
		title := stripOf(r.payload)
		if title == "" {
			continue
		}
		if of[title] == nil {
			of[title] = map[events.Day]bool{}
		}
		of[title][r.day] = true
		first, end = min(first, r.day), max(end, r.day)
	}
	span := 1
	for day := first; day < end && span <= daysMost; day = day.Add(1) {
		span++
	}
	if span > daysMost {
		return s
	}
	for _, title := range []string{stripProtection, stripPreparation, stripCoats, stripRight} {
		strip := Strip{Title: d.says(title), From: first, End: end}
		for day := first; day <= end; day = day.Add(1) {
			if of[title][day] {
				strip.Days = append(strip.Days, day)
			}
		}
		if len(strip.Days) > 0 {
			s.Strips = append(s.Strips, strip)
		}
	}
	if len(s.Strips) > 0 {
		s.say(d.says("paper.strip.about", "first", d.words.Day(first), "last", d.words.Day(end)))
	}
	return s
}

// The keys of the rows of the chart of days, in the order in which work goes.
const (
	stripProtection  = "paper.strip.protection"
	stripPreparation = "paper.preparation"
	stripCoats       = "paper.coats"
	stripRight       = "paper.strip.right"
)

// stripOf returns the row that a record belongs to; empty for none.
func stripOf(payload events.Payload) string {
	switch payload.(type) {
	case *events.Protection, *events.ProtectionCheck, *events.Lifting:
		return stripProtection
	case *events.Preparation:
		return stripPreparation
	case *events.Coat:
		return stripCoats
	case *events.MakingGood, *events.SnagClearance:
		return stripRight
	}
	return ""
}
