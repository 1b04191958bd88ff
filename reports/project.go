package reports

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"daysheet/events"
)

// JobProjection makes the facts of one job, commit by commit. It is a pure
// function of the job's commits and of the firm's history up to each of them.
// It remembers the facts that hold, so that a void, a revised estimate or a
// restated job type can cancel exactly what was counted.
//
// A JobProjection is made by [NewJobProjection], changed by
// [JobProjection.Apply] alone, and is not safe for concurrent use.
type JobProjection struct {
	firm *events.Firm
	job  JobRow
	head string
	// version is the number of commits folded in.
	version uint64

	live  map[string][]Fact // facts that hold, by event id or slot
	held  int               // facts in live
	order []string          // event ids and slots that ever made facts

	offers map[string][]Fact // estimates by event id
	issued []string          // estimates as issued
	inUse  string            // the estimate whose facts hold
	bills  map[string]Fact   // prices charged, by closing
	billed string            // the closing whose price holds

	opening     string // the last opening
	acceptances []acceptance
	turnings    []turning // sign-offs, closings and reopenings that hold
	snags       map[string]bool
	damages     map[string]damage
	settled     map[string]string // clearance or making good -> the snag or damage it settled
	down        map[string]int64  // protection laid -> thousandths still down
	lifted      map[string]lifting
	covers      map[string]Fact // protection laid -> the fact of what is down
	counts      []stockCount    // of the firm's stock, in order
	coats       []coated        // that hold, in order

	worked map[string]bool // events of site work that hold
	// history is true where the job itself was opened late: then it was taken in
	// from elsewhere, and that each of its events is late says nothing.
	history bool
	out     *Projected // what the commit at hand has made so far
}

type acceptance struct {
	event, estimate string
	day             events.Day
}

// turning is an event that ends a job or takes it up again.
type turning struct {
	event string
	kind  events.Type
	day   events.Day
}

type damage struct {
	costE4 int64
	counts bool // the firm bears it
}

type lifting struct {
	laid  string
	milli int64
}

// Projected is what one commit adds to a store.
type Projected struct {
	Facts []Fact
	Job   *JobRow // the job after the commit; nil for the firm's own events
}

// NewJobProjection returns the projection of a job that nothing was recorded
// on. It reads firm's history and never changes it.
func NewJobProjection(firm *events.Firm, firmKey, job string, partition uint8) *JobProjection {
	return &JobProjection{
		firm: firm,
		job:  JobRow{Firm: firmKey, Job: job, Partition: partition},
		live: map[string][]Fact{}, offers: map[string][]Fact{}, bills: map[string]Fact{},
		snags: map[string]bool{}, damages: map[string]damage{}, settled: map[string]string{},
		down: map[string]int64{}, lifted: map[string]lifting{}, covers: map[string]Fact{},
		worked: map[string]bool{},
	}
}

// Held returns how many facts hold, by which the memory of a projection is weighed.
func (p *JobProjection) Held() int { return p.held }

// Version returns the number of commits folded in.
func (p *JobProjection) Version() uint64 { return p.version }

// Apply projects the job's next commit. It fails where the commit does not
// follow the one before, or cannot be read: the log is then damaged and must not
// be read on. The facts of a commit are numbered from line 0.
func (p *JobProjection) Apply(stored events.Stored, c *events.Commit) (Projected, error) {
	if c.Version != p.version+1 || c.Previous != p.head {
		return Projected{}, fmt.Errorf("sequence %d: commit %d of job %s/%s does not follow commit %d: the chain is broken",
			stored.Sequence, c.Version, c.Firm, c.Job, p.version)
	}
	p.out = &Projected{Facts: make([]Fact, 0, 2*len(c.Events))} // as many as hours and their overhead
	defer func() { p.out = nil }()
	for i := range c.Events {
		e := &c.Events[i]
		payload, err := e.Payload()
		if err != nil {
			return Projected{}, fmt.Errorf("sequence %d: event %s: %w", stored.Sequence, e.ID, err)
		}
		p.project(&occasion{p: p, c: c, e: e, sequence: stored.Sequence, day: e.Day()}, payload)
	}
	p.version, p.head = c.Version, events.Hash(stored.Raw)
	if c.Job != events.FirmJob {
		p.job.Sequence = stored.Sequence
		p.job.State = p.state()
		row := p.job
		p.out.Job = &row
	}
	for i := range p.out.Facts {
		p.out.Facts[i].Line = uint32(i)
	}
	return *p.out, nil
}

// occasion is one event being projected: where and when it stands.
type occasion struct {
	p        *JobProjection
	c        *events.Commit
	e        *events.Event
	sequence uint64
	day      events.Day
}

// on sets the day of the work, where the payload names one.
func (o *occasion) on(d events.Day) { o.day = cmp.Or(d, o.day) }

// fact returns a fact about the event with everything filled in but its measure.
func (o *occasion) fact(side Side, kind Kind) Fact {
	return Fact{
		Firm: o.c.Firm, Job: o.c.Job, JobType: o.p.job.JobType, Partition: o.p.job.Partition,
		Sequence: o.sequence, EventID: o.e.ID, OccurredAt: o.e.OccurredAt().Unix(), Day: o.day,
		Side: side, Kind: kind, Sign: 1,
	}
}

// hold adds facts that count until the event is voided.
func (o *occasion) hold(facts ...Fact) { o.holdAs(o.e.ID, facts...) }

// holdAs adds facts that count until key is withdrawn: an event id, or a slot
// for facts that one event makes hold and another cancels. A slot's name has a
// space, which no event id has.
func (o *occasion) holdAs(key string, facts ...Fact) {
	if len(facts) == 0 {
		return
	}
	if _, known := o.p.live[key]; !known {
		o.p.order = append(o.p.order, key)
	}
	o.p.live[key] = append(o.p.live[key], facts...)
	o.p.held += len(facts)
	o.p.out.Facts = append(o.p.out.Facts, facts...)
}

// restore makes facts hold that were made earlier, as of now.
func (o *occasion) restore(key string, facts ...Fact) {
	now := slices.Clone(facts)
	for i := range now {
		now[i].Sequence, now[i].JobType = o.sequence, o.p.job.JobType
	}
	o.holdAs(key, now...)
}

// mark adds a mark for the office.
func (o *occasion) mark(m Mark) { o.hold(o.marked(SideActual, m)) }

// marked returns the fact of a mark.
func (o *occasion) marked(side Side, m Mark) Fact {
	f := o.fact(side, KindMark)
	f.Task, f.Unit, f.QuantityMilli = string(m), events.Each, 1000
	return f
}

// cancel adds rows that take back facts recorded earlier. Their day stays, so
// that every filter that let the fact in lets its cancellation in.
func (o *occasion) cancel(facts []Fact) {
	for _, f := range facts {
		f.Sequence, f.Sign = o.sequence, -f.Sign
		o.p.out.Facts = append(o.p.out.Facts, f)
	}
}

// withdraw cancels every fact that holds under key. The key stays known, so
// that its place in the order is kept where facts hold under it again.
func (o *occasion) withdraw(key string) {
	o.cancel(o.p.live[key])
	if held, known := o.p.live[key]; known {
		o.p.held -= len(held)
		o.p.live[key] = nil
	}
}

// retype moves every fact that holds to another job type.
func (o *occasion) retype(jobType string) {
	for _, id := range o.p.order {
		held := o.p.live[id]
		o.cancel(held)
		for i := range held {
			held[i].JobType = jobType
			moved := held[i]
			moved.Sequence = o.sequence
			o.p.out.Facts = append(o.p.out.Facts, moved)
		}
	}
}

// state derives how far the job has come.
func (p *JobProjection) state() events.State {
	if finish := p.sinceReopening(); len(finish) > 0 {
		if slices.ContainsFunc(finish, func(f turning) bool { return f.kind == events.JobClosed }) {
			return events.Closed
		}
		return events.SignedOff
	}
	switch {
	case len(p.worked) > 0:
		return events.Running
	case len(p.acceptances) > 0:
		return events.Accepted
	case len(p.issued) > 0:
		return events.Estimated
	}
	return events.Opened
}

// sinceReopening returns the sign-offs and closings since the last reopening.
func (p *JobProjection) sinceReopening() []turning {
	for i := len(p.turnings) - 1; i >= 0; i-- {
		if p.turnings[i].kind == events.JobReopened {
			return p.turnings[i+1:]
		}
	}
	return p.turnings
}

// finishedDay returns the day of the first sign-off or closing since the last
// reopening; empty while the job runs.
func (p *JobProjection) finishedDay() events.Day {
	if finish := p.sinceReopening(); len(finish) > 0 {
		return finish[0].day
	}
	return ""
}

// first returns the first fact of the kind that the event id made and that
// holds; the zero fact if there is none.
func (p *JobProjection) first(id string, kind Kind) Fact {
	for _, f := range p.live[id] {
		if f.Kind == kind {
			return f
		}
	}
	return Fact{}
}

// late and ahead bound the difference between when something happened and when
// the ledger learned of it, before the office is told.
const (
	late  = 7 * 24 * time.Hour
	ahead = 10 * time.Minute
)
