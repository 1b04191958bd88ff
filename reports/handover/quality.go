package handover

import (
	"daysheet/events"
	"daysheet/reports"
)

// damage says what was found damaged and how it was put right.
func (d *Dossier) damage() Section {
	s := Section{Name: "damage", Title: d.says("paper.damage-and-making-good")}
	t := reports.Table{Name: "damage", Title: d.says("paper.damage"), Columns: []reports.Column{
		d.col("day", "paper.found-on", reports.FormDay), d.col("location", "paper.where", reports.FormText),
		d.col("item", "paper.what", reports.FormText), d.col("finding", "paper.seen", reports.FormText),
		d.col("cause", "paper.cause", reports.FormText), d.col("made_good", "paper.made-good", reports.FormDay),
		d.col("work", "paper.how", reports.FormText),
	}}
	for _, f := range of[*events.Damage](d) {
		var fixed events.Day
		work := ""
		d.photos(&s, f.record, d.says("paper.caption.found", "what", listed(f.what.Location, f.what.Item), "finding",
			f.what.Finding), f.what.Photos)
		for _, m := range of[*events.MakingGood](d) {
			if m.what.Damage == f.id {
				fixed, work = m.day, m.what.Work
				d.photos(&s, m.record, d.says("paper.caption.made-good", "what", listed(f.what.Location, f.what.Item), "work",
					work), m.what.Photos)
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{day(f.day), text(f.what.Location), text(f.what.Item), text(f.what.Finding),
			text(d.cause(f.what.Cause)), day(fixed), text(work)})
		if fixed == "" {
			s.miss(d.says("paper.missing.making-good",
				"what", listed(f.what.Item, f.what.Location), "day", d.words.Day(f.day)))
		}
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.say(d.says("paper.no-damage"))
	}
	return s
}

// snags says what was not right and was cleared.
func (d *Dossier) snags() Section {
	s := Section{Name: "snags", Title: d.says("paper.snags")}
	t := reports.Table{Name: "snags", Title: d.says("paper.snags-raised-and-cleared"), Columns: []reports.Column{
		d.col("day", "paper.raised", reports.FormDay), d.col("location", "paper.where", reports.FormText),
		d.col("finding", "paper.what", reports.FormText), d.col("raised_by", "paper.by", reports.FormText),
		d.col("cleared", "paper.cleared", reports.FormDay), d.col("work", "paper.how", reports.FormText),
	}}
	for _, r := range of[*events.Snag](d) {
		var cleared events.Day
		work := ""
		d.photos(&s, r.record, d.says("paper.caption.raised", "place", r.what.Location, "finding", r.what.Finding),
			r.what.Photos)
		for _, c := range of[*events.SnagClearance](d) {
			if c.what.Snag == r.id {
				cleared, work = c.day, c.what.Work
				d.photos(&s, c.record, d.says("paper.caption.cleared", "place", r.what.Location, "finding", r.what.Finding),
					c.what.Photos)
			}
		}
		t.Rows = append(t.Rows, []reports.Cell{day(r.day), text(r.what.Location), text(r.what.Finding),
			text(d.raisedBy(r.what.RaisedBy)), day(cleared), text(work)})
		if cleared == "" {
			s.miss(d.says("paper.missing.clearing",
				"finding", r.what.Finding, "place", r.what.Location, "day", d.words.Day(r.day)))
		}
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.say(d.says("paper.no-snag"))
	}
	return s
}

// open returns how many snags and how much damage wait to be put right.
func (d *Dossier) open() int { return len(d.damage().Missing) + len(d.snags().Missing) }
