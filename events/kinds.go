package events

import (
	"maps"
	"reflect"
	"slices"
)

// Type names a kind of event: daysheet.<noun>.<past-participle>.v1. A type is
// for ever: logs written today must be read in ten years.
type Type string

// The types of events, in the order in which a job meets them.
const (
	FirmSettingsChanged Type = "daysheet.firm.settings-changed.v1"
	ProductListed       Type = "daysheet.product.listed.v1"
	MaterialPurchased   Type = "daysheet.material.purchased.v1"
	MaterialMoved       Type = "daysheet.material.moved.v1"
	MaterialCounted     Type = "daysheet.material.counted.v1"
	RateBookRevised     Type = "daysheet.rate-book.revised.v1"
	RateRejected        Type = "daysheet.rate.rejected.v1"
	CustomerRecorded    Type = "daysheet.customer.recorded.v1"
	CustomerErased      Type = "daysheet.customer.erased.v1"
	AccessChanged       Type = "daysheet.access.changed.v1"

	JobOpened        Type = "daysheet.job.opened.v1"
	EstimateIssued   Type = "daysheet.estimate.issued.v1"
	EstimateAccepted Type = "daysheet.estimate.accepted.v1"
	VariationAgreed  Type = "daysheet.variation.agreed.v1"
	JobSignedOff     Type = "daysheet.job.signed-off.v1"
	JobClosed        Type = "daysheet.job.closed.v1"
	JobReopened      Type = "daysheet.job.reopened.v1"

	ConditionRecorded Type = "daysheet.condition.recorded.v1"
	HoursBooked       Type = "daysheet.hours.booked.v1"
	ProtectionLaid    Type = "daysheet.protection.laid.v1"
	ProtectionChecked Type = "daysheet.protection.checked.v1"
	ProtectionLifted  Type = "daysheet.protection.lifted.v1"
	SurfacePrepared   Type = "daysheet.surface.prepared.v1"
	CoatApplied       Type = "daysheet.coat.applied.v1"
	MaterialUsed      Type = "daysheet.material.used.v1"
	MaterialReturned  Type = "daysheet.material.returned.v1"

	DamageFound    Type = "daysheet.damage.found.v1"
	DamageMadeGood Type = "daysheet.damage.made-good.v1"
	SnagRaised     Type = "daysheet.snag.raised.v1"
	SnagCleared    Type = "daysheet.snag.cleared.v1"
	PhotoAttached  Type = "daysheet.photo.attached.v1"
	NoteAdded      Type = "daysheet.note.added.v1"

	EventVoided Type = "daysheet.event.voided.v1"
)

// kind ties a type to its payload. firm is true where the event belongs to the
// firm and not to one job.
type kind struct {
	make  func() Payload
	shape field
	firm  bool
}

// content is a pointer to a payload struct.
type content[T any] interface {
	*T
	Payload
}

// ofJob is the kind of an event of a job with the payload T.
func ofJob[T any, P content[T]]() kind {
	return kind{make: func() Payload { return P(new(T)) }, shape: fieldOf(reflect.TypeFor[T]())}
}

// ofFirm is the kind of an event of the firm with the payload T.
func ofFirm[T any, P content[T]]() kind {
	k := ofJob[T, P]()
	k.firm = true
	return k
}

// kinds is the one table of what can happen. A new event is added here, with
// its struct and its golden file.
var kinds = map[Type]kind{
	FirmSettingsChanged: ofFirm[Settings](),
	ProductListed:       ofFirm[Product](),
	MaterialPurchased:   ofFirm[Purchase](),
	MaterialMoved:       ofFirm[Move](),
	MaterialCounted:     ofFirm[Count](),
	RateBookRevised:     ofFirm[RateBook](),
	RateRejected:        ofFirm[RateRejection](),
	CustomerRecorded:    ofFirm[CustomerRecord](),
	CustomerErased:      ofFirm[CustomerErasure](),
	AccessChanged:       ofFirm[AccessChange](),

	JobOpened:        ofJob[Opening](),
	EstimateIssued:   ofJob[Estimate](),
	EstimateAccepted: ofJob[Acceptance](),
	VariationAgreed:  ofJob[Variation](),
	JobSignedOff:     ofJob[SignOff](),
	JobClosed:        ofJob[Closing](),
	JobReopened:      ofJob[Reopening](),

	ConditionRecorded: ofJob[Condition](),
	HoursBooked:       ofJob[Hours](),
	ProtectionLaid:    ofJob[Protection](),
	ProtectionChecked: ofJob[ProtectionCheck](),
	ProtectionLifted:  ofJob[Lifting](),
	SurfacePrepared:   ofJob[Preparation](),
	CoatApplied:       ofJob[Coat](),
	MaterialUsed:      ofJob[Usage](),
	MaterialReturned:  ofJob[Return](),

	DamageFound:    ofJob[Damage](),
	DamageMadeGood: ofJob[MakingGood](),
	SnagRaised:     ofJob[Snag](),
	SnagCleared:    ofJob[SnagClearance](),
	PhotoAttached:  ofJob[Photo](),
	NoteAdded:      ofJob[Note](),

	EventVoided: ofJob[Void](),
}

// Types returns every event type in alphabetical order.
func Types() []Type { return slices.Sorted(maps.Keys(kinds)) }

// Known reports whether t is one of [Types].
func (t Type) Known() bool { _, ok := kinds[t]; return ok }

// OfFirm reports whether events of type t belong to the firm and not to a job.
// [EventVoided] can belong to either: it stands where the event stands that it
// voids.
func (t Type) OfFirm() bool { return kinds[t].firm }

// OfSite reports whether events of type t are recorded on site, by the crew: what was
// done, used and found. What is agreed with the customer, and when a job begins and
// ends, is the office's to record. [EventVoided] is the crew's where the event is that
// it voids.
func (t Type) OfSite() bool {
	switch t {
	case JobOpened, EstimateIssued, EstimateAccepted, VariationAgreed, JobSignedOff, JobClosed, JobReopened:
		return false
	}
	return t.Known() && !t.OfFirm()
}

// NewPayload returns a new zero payload of type t; nil if t is not known. The
// schema of each event is made from it.
func NewPayload(t Type) Payload {
	k, ok := kinds[t]
	if !ok {
		return nil
	}
	return k.make()
}
