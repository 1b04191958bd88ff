package office

import (
	"reflect"

	"daysheet/events"
	"daysheet/services/pages"
)

// form is what can be recorded through one page. What it says stands in package texts,
// under the end of its address.
type form struct {
	path   string // address
	kind   events.Type
	group  string // key of what it is listed under
	again  bool   // several are often recorded one after the other
	fields []field
}

// The groups of forms, in the order in which the office lists them.
const (
	groupJob   = "office.group-job"
	groupSite  = "office.group-site"
	groupFound = "office.group-found"
	groupStock = "office.group-stock"
	groupFirm  = "office.group-firm"
)

// newForms describes the form of every type of event but the firm's settings and its
// customers, which have pages of their own, and changes of access, which nobody fills in.
func newForms() []form {
	all := []form{
		{kind: events.JobOpened, group: groupJob},
		{kind: events.EstimateIssued, group: groupJob},
		{kind: events.EstimateAccepted, group: groupJob},
		{kind: events.VariationAgreed, group: groupJob},
		{kind: events.JobSignedOff, group: groupJob},
		{kind: events.JobClosed, group: groupJob},
		{kind: events.JobReopened, group: groupJob},
		{kind: events.EventVoided, group: groupJob},

		{kind: events.HoursBooked, group: groupSite, again: true},
		{kind: events.ProtectionLaid, group: groupSite, again: true},
		{kind: events.ProtectionChecked, group: groupSite},
		{kind: events.ProtectionLifted, group: groupSite, again: true},
		{kind: events.SurfacePrepared, group: groupSite, again: true},
		{kind: events.CoatApplied, group: groupSite, again: true},
		{kind: events.MaterialUsed, group: groupSite, again: true},
		{kind: events.MaterialReturned, group: groupSite, again: true},

		{kind: events.ConditionRecorded, group: groupFound, again: true},
		{kind: events.DamageFound, group: groupFound},
		{kind: events.DamageMadeGood, group: groupFound},
		{kind: events.SnagRaised, group: groupFound, again: true},
		{kind: events.SnagCleared, group: groupFound, again: true},
		{kind: events.PhotoAttached, group: groupFound},
		{kind: events.NoteAdded, group: groupFound, again: true},

		{kind: events.ProductListed, group: groupStock, again: true},
		{kind: events.MaterialPurchased, group: groupStock, again: true},
		{kind: events.MaterialMoved, group: groupStock, again: true},
		{kind: events.MaterialCounted, group: groupStock, again: true},

		{kind: events.RateBookRevised, group: groupFirm},
		{kind: events.RateRejected, group: groupFirm},
	}
	for i := range all {
		f := &all[i]
		f.path = pages.RecordPath(f.kind)
		f.fields = shapeOf(reflect.TypeOf(events.NewPayload(f.kind)).Elem())
	}
	return all
}
