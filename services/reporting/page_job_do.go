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
func doable(row reports.JobRow, h *wording.History) []doGroup {
	at := func(t events.Type, text string) link { return link{Text: text, Address: pages.RecordAt(t, row.Job)} }
	var next []link
	switch row.State {
	case events.Opened:
		next = []link{{Text: "Take off and quote", Address: quoteAt(row)}, at(events.EstimateIssued, "Issue an estimate "+
			"by hand")}
	case events.Estimated:
		next = []link{at(events.EstimateAccepted, "Estimate accepted"), {Text: "Quote again", Address: quoteAt(row)}}
	case events.Accepted, events.Running:
		next = []link{at(events.VariationAgreed, "Agree a variation"), at(events.JobSignedOff, "Sign off"),
			at(events.JobClosed, "Close with what was billed")}
	case events.SignedOff:
		next = []link{at(events.JobClosed, "Close with what was billed"), at(events.JobReopened, "Reopen")}
	case events.Closed:
		next = []link{at(events.JobReopened, "Reopen")}
	}
	groups := []doGroup{{"The job", append(next, at(events.JobOpened, "Change what the job is"))}, {"Work", []link{
		{Text: "Day sheet", Address: "/office/record/day-sheet?job=" + row.Job}, at(events.SurfacePrepared, "Surface "+
			"prepared"),
		at(events.CoatApplied, "Coat applied"), at(events.MaterialUsed, "Material used"),
		at(events.MaterialReturned, "Material returned"),
	}}, {"Protection", []link{at(events.ProtectionLaid, "Laid")}}, {"Found", []link{
		at(events.ConditionRecorded, "Condition before the work"), at(events.DamageFound, "Damage"),
		at(events.SnagRaised, "Snag"), at(events.NoteAdded, "Note"),
	}}}
	protection, found := &groups[2], &groups[3]
	if len(h.Down) > 0 {
		protection.Links = append(protection.Links, at(events.ProtectionLifted, "Lifted"),
			at(events.ProtectionChecked, "Checked"))
	}
	if len(h.Damage) > 0 {
		found.Links = append(found.Links, at(events.DamageMadeGood, "Damage made good"))
	}
	if len(h.Snags) > 0 {
		found.Links = append(found.Links, at(events.SnagCleared, "Snag cleared"))
	}
	return groups
}

// quoteAt leads to the take-off of a job.
func quoteAt(row reports.JobRow) string {
	return "/quotes?job=" + row.Job + "&job_type=" + row.JobType
}
