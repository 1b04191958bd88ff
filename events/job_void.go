package events

// void takes an event back and restores what it changed.
func (j *Job) void(n *entry, p *Void) *Error {
	target := j.entry(p.Event)
	switch {
	case target == nil:
		return Refuse("data.event", p.Event, "no event with this id was recorded on this job")
	case target.kind == EventVoided:
		return Refuse("data.event", p.Event,
			"what took an event back cannot be taken back: record the event again with a new id")
	case target.voided:
		return Refuse("data.event", p.Event, "it was taken back before")
	case j.standing(p.Event) > 0:
		return Refuse("data.event", p.Event, "another event stands on it: take that one back first")
	case target.kind == CustomerErased:
		return Refuse("data.event", p.Event, "an erasure cannot be taken back: the key of the customer is destroyed")
	case target.kind == AccessChanged:
		return Refuse("data.event", p.Event, "what was recorded of access cannot be taken back")
	case target.kind.Restated():
		return Refuse("data.event", p.Event, "%s cannot be taken back: record it again as it should be", target.kind)
	case turns(target.kind) && !j.lastTurn(p.Event):
		return Refuse("data.event", p.Event, "the job was signed off, closed or reopened after it: take that back first")
	}
	target = j.own(p.Event)
	target.voided = true
	n.refers = p.Event
	if stands(target.kind) {
		j.referers[target.refers] = j.standing(target.refers) - 1
	}
	if works(target.kind) {
		j.worked--
	}
	switch target.kind {
	case ProtectionLifted:
		j.down[target.refers] = j.stillDown(target.refers) + target.lifted
	case JobSignedOff, JobClosed, JobReopened:
		j.signed, j.closed = target.undo.signed, target.undo.closed
	case EstimateAccepted:
		j.accepted = j.lastLive(EstimateAccepted)
	case EstimateIssued:
		j.offered = j.lastLive(EstimateIssued) != ""
	}
	return nil
}

// turns reports whether events of type t change that a job is finished.
func turns(t Type) bool { return t == JobSignedOff || t == JobClosed || t == JobReopened }

// lastTurn reports whether no live turn was recorded after the event id.
func (j *Job) lastTurn(id string) bool {
	last := true
	j.backwards(func(later string, e *entry) bool {
		if later == id {
			return false
		}
		last = last && (e.voided || !turns(e.kind))
		return last
	})
	return last
}

// lastLive returns the id of the last event of type t that was not voided.
func (j *Job) lastLive(t Type) (id string) {
	j.backwards(func(found string, e *entry) bool {
		if e.kind == t && !e.voided {
			id = found
			return false
		}
		return true
	})
	return id
}

// Restated reports whether what an event of type t said is put right by saying it
// again, and not by voiding it: each states the whole of something.
func (t Type) Restated() bool {
	switch t {
	case FirmSettingsChanged, ProductListed, RateBookRevised, CustomerRecorded, JobOpened:
		return true
	}
	return false
}
