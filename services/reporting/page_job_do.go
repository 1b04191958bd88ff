package reporting

import (
	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

// doGroup is forms that are offered together on the page of a job.
type doGroup struct {
	Title string
	Links []link
}

// doable lists the forms that fit how far a job has come: what comes next first, and
// nothing that would be refused.
func (w teller) doable(row reports.JobRow, h *wording.History) []doGroup {
	at := func(t events.Type, key string) link {
		return link{Text: w.Say(key), Address: pages.RecordAt(t, row.Job)}
	}
	var next []link
	switch row.State {
	case events.Opened:
		next = []link{{Text: w.Say("job.do.take-off"), Address: quoteAt(row)}, at(events.EstimateIssued, "job.do.estimate")}
	case events.Estimated:
		next = []link{at(events.EstimateAccepted, "job.do.accept"), {Text: w.Say("job.do.again"), Address: quoteAt(row)}}
	case events.Accepted, events.Running:
		next = []link{at(events.VariationAgreed, "job.do.variation"), at(events.JobSignedOff, "job.do.sign-off"),
			at(events.JobClosed, "job.do.close")}
	case events.SignedOff:
		next = []link{at(events.JobClosed, "job.do.close"), at(events.JobReopened, "job.do.reopen")}
	case events.Closed:
		next = []link{at(events.JobReopened, "job.do.reopen")}
	}
	groups := []doGroup{{w.Say("job.do.job"), append(next, at(events.JobOpened, "job.do.change"))},
		{w.Say("job.do.work"), []link{
			{Text: w.Say("job.do.day-sheet"), Address: "/office/record/day-sheet?job=" + row.Job},
			at(events.SurfacePrepared, "job.do.prepared"), at(events.CoatApplied, "job.do.coat"),
			at(events.MaterialUsed, "job.do.used"), at(events.MaterialReturned, "job.do.returned"),
		}}, {w.Say("job.do.protection"), []link{at(events.ProtectionLaid, "job.do.laid")}}, {w.Say("job.do.found"), []link{
			at(events.ConditionRecorded, "job.do.condition"), at(events.DamageFound, "job.do.damage"),
			at(events.SnagRaised, "job.do.snag"), at(events.NoteAdded, "job.do.note"),
		}}}
	protection, found := &groups[2], &groups[3]
	if len(h.Down) > 0 {
		protection.Links = append(protection.Links, at(events.ProtectionLifted, "job.do.lifted"),
			at(events.ProtectionChecked, "job.do.checked"))
	}
	if len(h.Damage) > 0 {
		found.Links = append(found.Links, at(events.DamageMadeGood, "job.do.made-good"))
	}
	if len(h.Snags) > 0 {
		found.Links = append(found.Links, at(events.SnagCleared, "job.do.cleared"))
	}
	return groups
}

// quoteAt leads to the take-off of a job.
func quoteAt(row reports.JobRow) string {
	return "/quotes?job=" + row.Job + "&job_type=" + row.JobType
}
