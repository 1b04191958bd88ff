package events

import (
	"crypto/sha256"
	"fmt"
)

// State says how far a job has come.
type State string

// The states of a job, in their usual order. A job that nobody opened is in the
// zero state.
const (
	Opened    State = "opened"     // known, not yet offered
	Estimated State = "estimated"  // an estimate was issued
	Accepted  State = "accepted"   // the customer said yes
	Running   State = "running"    // work was recorded
	SignedOff State = "signed-off" // the customer took the work over
	Closed    State = "closed"     // billed and done with
)

// States returns every state in the usual order.
func States() []State { return []State{Opened, Estimated, Accepted, Running, SignedOff, Closed} }

// Finished reports whether the work is over in state s.
func (s State) Finished() bool { return s == SignedOff || s == Closed }

// Digest identifies the content of an event: SHA-256 of its canonical form.
type Digest [sha256.Size]byte

// DigestOf returns the digest of e.
func DigestOf(e *Event) (Digest, error) {
	raw, err := e.MarshalJSON()
	if err != nil {
		return Digest{}, err
	}
	return sha256.Sum256(raw), nil
}

// Job is the fold of one job's commits: what must be remembered to decide
// whether the next event can be true, and whether it was recorded before. The
// firm's own events fold into a Job of their own with the key [FirmJob].
//
// A Job is made by [NewJob], changed by [Job.Apply] alone, and is not safe for
// concurrent use.
type Job struct {
	Firm    string
	Key     string
	Version uint64 // commits folded in
	Head    string // hash of the last commit; empty before the first

	base     *Job              // for a trial: the job it started from, which it must not change
	entries  map[string]*entry // by event id
	order    []string          // ids as recorded
	referers map[string]int    // live events that stand on the event with this id
	down     map[string]int64  // protection laid event -> thousandths still down
	erased   map[string]bool   // customers, of the firm's own events
	opened   bool
	offered  bool
	accepted string // id of the acceptance in force
	worked   int    // live events of work on site
	signed   bool
	closed   bool
}

// entry is what a job remembers of one of its events.
type entry struct {
	digest   Digest
	sequence uint64
	kind     Type
	refers   string // id of the event it stands on
	lifted   int64  // what a lifting took up
	voided   bool
	undo     undo // how it changed the job's state
}

// undo is the state before a sign-off, closing or reopening, for its void.
type undo struct{ signed, closed bool }

// NewJob returns the fold of a job that nothing was recorded on.
func NewJob(firm, key string) *Job {
	return &Job{Firm: firm, Key: key, entries: map[string]*entry{}, referers: map[string]int{},
		down: map[string]int64{}, erased: map[string]bool{}}
}

// State returns how far the job has come; the zero state if it was never opened.
func (j *Job) State() State {
	switch {
	case j.closed:
		return Closed
	case j.signed:
		return SignedOff
	case j.worked > 0:
		return Running
	case j.accepted != "":
		return Accepted
	case j.offered:
		return Estimated
	case j.opened:
		return Opened
	}
	return ""
}

// Recorded returns the sequence under which the event id was recorded.
func (j *Job) Recorded(id string) (sequence uint64, ok bool) {
	e := j.entry(id)
	if e == nil {
		return 0, false
	}
	return e.sequence, true
}

// Down returns the ids of protection laid events that are still down, in the
// order in which they were laid, with the thousandths of their unit that remain.
func (j *Job) Down() (ids []string, milli map[string]int64) {
	milli = map[string]int64{}
	for _, id := range j.order {
		if left := j.down[id]; left > 0 && !j.entries[id].voided {
			ids = append(ids, id)
			milli[id] = left
		}
	}
	return ids, milli
}

// Plan sorts a submission's events for this job into those that are new, in
// their order, and the receipts of those that were recorded before. It refuses
// the whole submission if one event cannot be true on this job: nothing is
// recorded then. The receipt of what stands twice in one submission is a
// duplicate without a sequence: it is not known yet. The events must have passed
// [Event.Validate].
func (j *Job) Plan(submitted []Event) (fresh []Event, receipts []Receipt, err error) {
	trial := j.trial()
	receipts = make([]Receipt, len(submitted))
	for i := range submitted {
		e := &submitted[i]
		digest, err := DigestOf(e)
		if err != nil {
			return nil, nil, &Error{Code: Invalid, EventID: e.ID, Rule: err.Error()}
		}
		receipts[i] = Receipt{ID: e.ID, Job: j.Key}
		if known := trial.entry(e.ID); known != nil {
			if known.digest != digest {
				return nil, nil, &Error{Code: Conflict, EventID: e.ID, Field: "id", Value: show(e.ID),
					Rule: "an event with this id and other content was recorded before; a new action needs a new id"}
			}
			receipts[i].Duplicate, receipts[i].Sequence = true, known.sequence
			continue
		}
		if err := trial.add(e, digest, 0); err != nil {
			err.EventID = e.ID
			return nil, nil, err
		}
		fresh = append(fresh, *e)
	}
	return fresh, receipts, nil
}

// trial returns a job that starts as j and can be changed without changing j.
// It copies nothing: a firm's own job may hold thousands of purchases.
func (j *Job) trial() *Job {
	t := *j
	t.base = j
	t.entries, t.order, t.referers, t.down = map[string]*entry{}, nil, map[string]int{}, map[string]int64{}
	t.erased = map[string]bool{}
	return &t
}

// entry returns what is remembered of the event id; nil if it is not known.
func (j *Job) entry(id string) *entry {
	if e, ok := j.entries[id]; ok || j.base == nil {
		return e
	}
	return j.base.entry(id)
}

// own returns the entry of id for changing: a trial copies it first.
func (j *Job) own(id string) *entry {
	if e, ok := j.entries[id]; ok || j.base == nil {
		return e
	}
	copied := *j.base.entry(id)
	j.entries[id] = &copied
	return &copied
}

// stillDown returns the thousandths of a protection laid event that are down.
func (j *Job) stillDown(id string) int64 {
	if left, ok := j.down[id]; ok || j.base == nil {
		return left
	}
	return j.base.stillDown(id)
}

// standing returns how many live events stand on the event id.
func (j *Job) standing(id string) int {
	if n, ok := j.referers[id]; ok || j.base == nil {
		return n
	}
	return j.base.standing(id)
}

// backwards calls visit with each event from the last to the first until visit
// returns false, and reports whether it came to the end.
func (j *Job) backwards(visit func(id string, e *entry) bool) bool {
	for i := len(j.order) - 1; i >= 0; i-- {
		if !visit(j.order[i], j.entry(j.order[i])) {
			return false
		}
	}
	if j.base == nil {
		return true
	}
	return j.base.backwards(func(id string, _ *entry) bool { return visit(id, j.entry(id)) })
}

// Apply folds one stored commit in. It fails if the commit is not the next of
// this job's chain or holds an event that could not have been accepted: the log
// is then damaged and must not be read on, and neither may the job. Its errors
// have the code [Internal]: what is in the log is not the fault of who reads it.
func (j *Job) Apply(c *Commit, sequence uint64, raw []byte) error {
	if c.Firm != j.Firm || c.Job != j.Key {
		return fmt.Errorf("commit of %s/%s applied to %s/%s", c.Firm, c.Job, j.Firm, j.Key)
	}
	if c.Version != j.Version+1 || c.Previous != j.Head {
		return fmt.Errorf("sequence %d: commit %d of job %s does not follow commit %d: the chain is broken",
			sequence, c.Version, j.Key, j.Version)
	}
	for i := range c.Events {
		e := &c.Events[i]
		if err := j.applyEvent(e, sequence); err != nil {
			return fmt.Errorf("sequence %d: event %s: %v", sequence, e.ID, err)
		}
	}
	j.Version, j.Head = c.Version, Hash(raw)
	return nil
}

func (j *Job) applyEvent(e *Event, sequence uint64) error {
	switch {
	case !e.Type.Known():
		return fmt.Errorf("unknown type %q: a newer version wrote it, or the log is damaged", e.Type)
	case j.entries[e.ID] != nil:
		return fmt.Errorf("it was recorded before, in sequence %d", j.entries[e.ID].sequence)
	}
	digest, err := DigestOf(e)
	if err != nil {
		return err
	}
	if refusal := j.add(e, digest, sequence); refusal != nil {
		return refusal
	}
	return nil
}

// add takes one event in, or says why it cannot be true. It changes nothing
// where it refuses.
func (j *Job) add(e *Event, digest Digest, sequence uint64) *Error {
	if e.Subject != j.Key {
		return Refuse("subject", e.Subject, "the event belongs to another job than %s", j.Key)
	}
	if j.Key != FirmJob && !j.opened && e.Type != JobOpened {
		return &Error{Code: NotFound, Field: "subject", Value: show(e.Subject),
			Rule: "this job was never opened: record " + string(JobOpened) + " first"}
	}
	payload, err := e.Payload()
	if err != nil {
		return &Error{Code: CodeOf(err), Rule: err.Error()}
	}
	n := &entry{digest: digest, sequence: sequence, kind: e.Type, undo: undo{j.signed, j.closed}}
	if refusal := j.apply(e, payload, n); refusal != nil {
		return refusal
	}
	if n.refers != "" && stands(n.kind) {
		j.referers[n.refers] = j.standing(n.refers) + 1
	}
	if works(n.kind) {
		j.worked++
	}
	j.entries[e.ID] = n
	j.order = append(j.order, e.ID)
	return nil
}

// stands reports whether an event of this type stands on the event it refers
// to, so that the other cannot be taken back while this one holds.
func stands(t Type) bool {
	return t == EstimateAccepted || t == ProtectionLifted || t == DamageMadeGood || t == SnagCleared
}

// works reports whether events of type t are work on site, with which a job
// runs. Lifting needs no mention: it stands on protection that was laid.
func works(t Type) bool {
	return t == HoursBooked || t == ProtectionLaid || t == SurfacePrepared || t == CoatApplied || t == MaterialUsed
}

// apply changes the job's state by one event and notes in n how to undo it.
func (j *Job) apply(e *Event, payload Payload, n *entry) *Error {
	switch p := payload.(type) {
	case *Opening:
		j.opened = true
	case *Estimate:
		j.offered = true
	case *Acceptance:
		if err := j.refer(n, "estimate", p.Estimate, EstimateIssued); err != nil {
			return err
		}
		j.accepted = e.ID
	case *SignOff:
		j.signed = true
	case *Closing:
		j.closed = true
	case *Reopening:
		if !j.State().Finished() {
			return Refuse("type", string(e.Type),
				"the job is %s: only a job that was signed off or closed can be reopened", j.State())
		}
		j.signed, j.closed = false, false
	case *Protection:
		j.down[e.ID] = p.QuantityMilli
	case *ProtectionCheck:
		return j.refer(n, "laid", p.Laid, ProtectionLaid)
	case *Lifting:
		return j.lift(n, p)
	case *MakingGood:
		return j.refer(n, "damage", p.Damage, DamageFound)
	case *SnagClearance:
		return j.refer(n, "snag", p.Snag, SnagRaised)
	case *Photo:
		if p.Of != "" {
			return j.refer(n, "of", p.Of, "")
		}
	case *Note:
		if p.Of != "" {
			return j.refer(n, "of", p.Of, "")
		}
	case *CustomerRecord:
		return j.knowCustomer(p.Customer, false)
	case *CustomerErasure:
		return j.knowCustomer(p.Customer, true)
	case *Void:
		return j.void(n, p)
	}
	return nil
}

// refer requires that id names a live event of this job, of type t if t is given.
func (j *Job) refer(n *entry, field, id string, t Type) *Error {
	target := j.entry(id)
	switch {
	case target == nil:
		return Refuse("data."+field, id, "no event with this id was recorded on this job")
	case target.voided:
		return Refuse("data."+field, id, "the event it refers to was taken back")
	case t != "" && target.kind != t:
		return Refuse("data."+field, id, "it refers to an event of type %s; it must be a %s", target.kind, t)
	}
	n.refers = id
	return nil
}

func (j *Job) lift(n *entry, p *Lifting) *Error {
	if err := j.refer(n, "laid", p.Laid, ProtectionLaid); err != nil {
		return err
	}
	left := j.stillDown(p.Laid)
	if left == 0 {
		return Refuse("data.laid", p.Laid, "all of this protection was lifted before")
	}
	n.lifted = p.QuantityMilli
	if n.lifted == 0 {
		n.lifted = left
	}
	if n.lifted > left {
		return Refuse("data.quantity_milli", p.QuantityMilli, "only %d thousandths are still down", left)
	}
	j.down[p.Laid] = left - n.lifted
	return nil
}
