package handover

import (
	"fmt"

	"daysheet/events"
	"daysheet/reports"
)

// damage says what was found damaged and how it was put right.
func (d *Dossier) damage() Section {
	s := Section{Name: "damage", Title: "Damage found and made good"}
	t := reports.Table{Name: "damage", Title: "Damage", Columns: []reports.Column{
		{Key: "day", Title: "Found", Form: reports.FormDay}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "item", Title: "What", Form: reports.FormText}, {Key: "finding", Title: "Seen", Form: reports.FormText},
		{Key: "cause", Title: "Cause", Form: reports.FormText}, {Key: "made_good", Title: "Made good", Form: reports.FormDay},
		{Key: "work", Title: "How", Form: reports.FormText},
	}}
	for _, f := range of[*events.Damage](d) {
		var fixed events.Day
		work := ""
		d.photos(&s, f.record, "Found: "+listed(f.what.Location, f.what.Item)+": "+f.what.Finding, f.what.Photos)
		for _, m := range of[*events.MakingGood](d) {
			if m.what.Damage == f.id {
				fixed, work = m.day, m.what.Work
				d.photos(&s, m.record, "Made good: "+listed(f.what.Location, f.what.Item)+": "+work, m.what.Photos)
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{day(f.day), text(f.what.Location), text(f.what.Item), text(f.what.Finding),
			text(causeOf(f.what.Cause)), day(fixed), text(work)})
		if fixed == "" {
			s.miss(fmt.Sprintf("Making good of: %s, found on %s.", listed(f.what.Item, f.what.Location), f.day))
		}
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.say("No damage is recorded.")
	}
	return s
}

// snags says what was not right and was cleared.
func (d *Dossier) snags() Section {
	s := Section{Name: "snags", Title: "Snags"}
	t := reports.Table{Name: "snags", Title: "Snags raised and cleared", Columns: []reports.Column{
		{Key: "day", Title: "Raised", Form: reports.FormDay}, {Key: "location", Title: "Where", Form: reports.FormText},
		{Key: "finding", Title: "What", Form: reports.FormText}, {Key: "raised_by", Title: "By", Form: reports.FormText},
		{Key: "cleared", Title: "Cleared", Form: reports.FormDay}, {Key: "work", Title: "How", Form: reports.FormText},
	}}
	for _, r := range of[*events.Snag](d) {
		var cleared events.Day
		work := ""
		d.photos(&s, r.record, "Raised: "+r.what.Location+": "+r.what.Finding, r.what.Photos)
		for _, c := range of[*events.SnagClearance](d) {
			if c.what.Snag == r.id {
				cleared, work = c.day, c.what.Work
				d.photos(&s, c.record, "Cleared: "+r.what.Location+": "+r.what.Finding, c.what.Photos)
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{day(r.day), text(r.what.Location), text(r.what.Finding),
			text(raisedBy(r.what.RaisedBy)), day(cleared), text(work)})
		if cleared == "" {
			s.miss(fmt.Sprintf("Clearing of: %s, %s, raised on %s.", r.what.Finding, r.what.Location, r.day))
		}
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.say("No snag is recorded.")
	}
	return s
}

// open returns how many snags and how much damage wait to be put right.
func (d *Dossier) open() int { return len(d.damage().Missing) + len(d.snags().Missing) }
