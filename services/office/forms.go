package office

import (
	"reflect"

	"daysheet/events"
	"daysheet/services/pages"
)

// form is what can be recorded through one page.
type form struct {
	path   string // address
	kind   events.Type
	group  string // what it is listed under
	title  string
	about  string // what it is for, in one or two sentences
	button string
	again  bool // several are often recorded one after the other
	fields []field
}

// The groups of forms, in the order in which the office lists them.
const (
	groupJob   = "A job, from first call to bill"
	groupSite  = "Work on site"
	groupFound = "Damage, snags and condition"
	groupStock = "Material bought and in stock"
	groupFirm  = "The firm"
)

// newForms describes the form of every type of event but the firm's settings, which
// have pages of their own.
func newForms() []form {
	var all []form
	for _, f := range formTexts() {
		f.path = pages.RecordPath(f.kind)
		f.fields = shapeOf(reflect.TypeOf(events.NewPayload(f.kind)).Elem())
		if f.button == "" {
			f.button = "Record"
		}
		all = append(all, f)
	}
	return all
}

func formTexts() []form {
	return []form{
		{kind: events.JobOpened, group: groupJob, title: "Open a job", button: "Open job",
			about: "A job is what everything else is recorded on. Keep names of customers out of it: a reference is enough."},
		{kind: events.EstimateIssued, group: groupJob, title: "Issue an estimate by hand", button: "Issue estimate",
			about: "For an estimate that was worked out elsewhere. The quote page prices a take-off from the firm's own " +
				"rates and " +
				"issues it in one step."},
		{kind: events.EstimateAccepted, group: groupJob, title: "Estimate accepted", button: "Accept",
			about: "The customer's yes. From now on hours and costs are compared with this estimate."},
		{kind: events.VariationAgreed, group: groupJob, title: "Agree a variation", button: "Agree",
			about: "A change of scope that was agreed: it adds to the estimate, and to the price."},
		{kind: events.JobSignedOff, group: groupJob, title: "Sign off", button: "Sign off",
			about: "The customer's side took the finished work over."},
		{kind: events.JobClosed, group: groupJob, title: "Close with what was billed", button: "Close job",
			about: "Ends the job in the books. The margin is told from what was billed."},
		{kind: events.JobReopened, group: groupJob, title: "Reopen", button: "Reopen",
			about: "Takes a job up again after it was signed off or closed."},
		{kind: events.EventVoided, group: groupJob, title: "Take a record back", button: "Take back",
			about: "For what was recorded by mistake. The record stays readable, struck through, and counts no more."},

		{kind: events.HoursBooked, group: groupSite, title: "Book hours", again: true,
			about: "Work of one person on one task. The day sheet takes a whole crew at once."},
		{kind: events.ProtectionLaid, group: groupSite, title: "Protection laid", again: true,
			about: "A covering or masking that was put up. It stays on the board until its lifting is recorded."},
		{kind: events.ProtectionChecked, group: groupSite, title: "Protection checked",
			about: "A look at protection that is down: whether it still protects, or what was mended."},
		{kind: events.ProtectionLifted, group: groupSite, title: "Protection lifted", again: true,
			about: "Protection that came up, all of it or a part."},
		{kind: events.SurfacePrepared, group: groupSite, title: "Surface prepared", again: true,
			about: "A surface made fit for its coat: washed, rubbed down, filled, primed."},
		{kind: events.CoatApplied, group: groupSite, title: "Coat applied", again: true,
			about: "One coat on one surface. Its paint counts as used: do not record it as material again."},
		{kind: events.MaterialUsed, group: groupSite, title: "Material used", again: true,
			about: "Material that no coat and no protection counts."},
		{kind: events.MaterialReturned, group: groupSite, title: "Material returned", again: true,
			about: "Material that was recorded as used and came back."},

		{kind: events.ConditionRecorded, group: groupFound, title: "Condition before the work", again: true,
			about: "How a place was found before work began there: the proof of damage that was there before."},
		{kind: events.DamageFound, group: groupFound, title: "Damage found",
			about: "Damage that came to light during the job."},
		{kind: events.DamageMadeGood, group: groupFound, title: "Damage made good",
			about: "Damage put right. Hours and material are booked as such and not repeated here."},
		{kind: events.SnagRaised, group: groupFound, title: "Snag raised", again: true,
			about: "A minor fault to be cleared before handover."},
		{kind: events.SnagCleared, group: groupFound, title: "Snag cleared", again: true, about: "A snag put right."},
		{kind: events.PhotoAttached, group: groupFound, title: "Attach a photo that is stored",
			about: "Ties a photo that the ledger holds to a job, or to one of its records. Phones do it by themselves."},
		{kind: events.NoteAdded, group: groupFound, title: "Note", again: true, button: "Record the note",
			about: "About a job or one of its records. Papers show only notes for the customer; the others stay in the firm."},

		{kind: events.ProductListed, group: groupStock, title: "List a product", again: true, button: "List product",
			about: "A material that the firm buys and uses, with its price. Listing it again changes price and name from now " +
				"on."},
		{kind: events.MaterialPurchased, group: groupStock, title: "Purchase", again: true,
			about: "Material bought. What is used after it is costed at its price."},
		{kind: events.MaterialMoved, group: groupStock, title: "Stock moved", again: true,
			about: "Material that went from the store to a van, or from one van to another."},
		{kind: events.MaterialCounted, group: groupStock, title: "Stock counted", again: true,
			about: "What was found of a product when somebody looked. It holds from the end of that day on."},

		{kind: events.RateBookRevised, group: groupFirm, title: "Revise the rate book", button: "Record the revision",
			about: "A whole revision of the rates that quotes are made from. Rates from the firm's own jobs are taken over " +
				"on the " +
				"page of proposed rates."},
		{kind: events.RateRejected, group: groupFirm, title: "Turn a proposed rate down",
			about: "So that it is not proposed again on the same evidence. The page of proposed rates does it with one press."},
	}
}
