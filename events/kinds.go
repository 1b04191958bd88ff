package events

import (
	"maps"
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
	RateBookRevised     Type = "daysheet.rate-book.revised.v1"

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

	EventVoided Type = "daysheet.event.voided.v1"
)

// kind ties a type to its payload. firm is true where the event belongs to the
// firm and not to one job.
type kind struct {
	make func() Payload
	firm bool
}

// kinds is the one table of what can happen. A new event is added here, with
// its struct and its golden file.
var kinds = map[Type]kind{
	FirmSettingsChanged: {func() Payload { return new(Settings) }, true},
	ProductListed:       {func() Payload { return new(Product) }, true},
	MaterialPurchased:   {func() Payload { return new(Purchase) }, true},
	RateBookRevised:     {func() Payload { return new(RateBook) }, true},

	JobOpened:        {func() Payload { return new(Opening) }, false},
	EstimateIssued:   {func() Payload { return new(Estimate) }, false},
	EstimateAccepted: {func() Payload { return new(Acceptance) }, false},
	VariationAgreed:  {func() Payload { return new(Variation) }, false},
	JobSignedOff:     {func() Payload { return new(SignOff) }, false},
	JobClosed:        {func() Payload { return new(Closing) }, false},
	JobReopened:      {func() Payload { return new(Reopening) }, false},

	ConditionRecorded: {func() Payload { return new(Condition) }, false},
	HoursBooked:       {func() Payload { return new(Hours) }, false},
	ProtectionLaid:    {func() Payload { return new(Protection) }, false},
	ProtectionChecked: {func() Payload { return new(ProtectionCheck) }, false},
	ProtectionLifted:  {func() Payload { return new(Lifting) }, false},
	SurfacePrepared:   {func() Payload { return new(Preparation) }, false},
	CoatApplied:       {func() Payload { return new(Coat) }, false},
	MaterialUsed:      {func() Payload { return new(Usage) }, false},
	MaterialReturned:  {func() Payload { return new(Return) }, false},

	DamageFound:    {func() Payload { return new(Damage) }, false},
	DamageMadeGood: {func() Payload { return new(MakingGood) }, false},
	SnagRaised:     {func() Payload { return new(Snag) }, false},
	SnagCleared:    {func() Payload { return new(SnagClearance) }, false},
	PhotoAttached:  {func() Payload { return new(Photo) }, false},

	EventVoided: {func() Payload { return new(Void) }, false},
}

// Types returns every event type in alphabetical order.
func Types() []Type { return slices.Sorted(maps.Keys(kinds)) }

// Known reports whether t is one of [Types].
func (t Type) Known() bool { _, ok := kinds[t]; return ok }

// OfFirm reports whether events of type t belong to the firm and not to a job.
// [EventVoided] can belong to either: it stands where the event stands that it
// voids.
func (t Type) OfFirm() bool { return kinds[t].firm }

// NewPayload returns a new zero payload of type t; nil if t is not known. The
// schema of each event is made from it.
func NewPayload(t Type) Payload {
	k, ok := kinds[t]
	if !ok {
		return nil
	}
	return k.make()
}
