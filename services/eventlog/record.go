package eventlog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strconv"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Record adds the events of one submission to a job as one commit, and says per
// event where it stands. Events that were recorded before are not added again;
// their receipts say so. Either all new events are on disk when it returns, or
// none was added by it:
//
//	Invalid      an event breaks a rule, or cannot be true on this job
//	Conflict     an id was recorded before with other content
//	NotFound     the job was never opened
//	Unavailable  the log cannot answer now; the events may or may not have been
//	             recorded, and sending the same events again is safe
//	Internal     the job's chain in the log is damaged; the text names the sequence
//
// Submissions to one job are taken one after the other, those to different jobs at
// the same time. by is the credential that sent the events.
func (l *Log) Record(
	ctx context.Context, firm, job, by string, submitted []events.Event,
) ([]events.Receipt, error) {
	if err := checkSubmission(firm, job, submitted); err != nil {
		return nil, err
	}
	end, err := l.begin()
	if err != nil {
		return nil, err
	}
	defer end()
	if err := l.halted.Load(); err != nil {
		return nil, err
	}
	held, err := l.folds.hold(ctx, firm, job)
	if err != nil {
		return nil, unavailable(err)
	}
	defer l.folds.release(held)
	r := &recording{log: l, fold: held, firm: firm, job: job, by: by, submitted: submitted, unsure: map[string]bool{}}
	if err := patiently(ctx, func() error { return r.attempt(ctx) }); err != nil {
		return nil, fmt.Errorf("record on %s/%s: %w", firm, job, err)
	}
	return r.receipts, nil
}

// checkSubmission refuses what must never reach the log, whoever sends it: the
// log is for ever, and an event that cannot be read stops the firm's partition.
func checkSubmission(firm, job string, submitted []events.Event) error {
	if err := checkTokens(firm, job); err != nil {
		return err
	}
	if n := len(submitted); n < 1 || n > events.BatchMax {
		return events.Refuse("events", n, "send 1 to %d events at once", events.BatchMax)
	}
	for i := range submitted {
		e := &submitted[i]
		if e.Subject != job {
			refusal := events.Refuse("subject", e.Subject, "all events of one commit belong to one job, here %q", job)
			refusal.EventID = e.ID
			return refusal
		}
		if err := e.Validate(); err != nil {
			return err
		}
	}
	return nil
}

// recording is one submission on its way into the log.
type recording struct {
	log           *Log
	fold          *fold
	firm, job, by string
	submitted     []events.Event
	behind        bool            // the fold must be brought up to date before anything is decided
	unsure        map[string]bool // attempts that were sent and not answered
	alone         bool            // the commit was refused together with others
	ours          uint64          // sequence of the one that turned out to be stored; 0 if none did
	receipts      []events.Receipt
}

// attempt decides on the submission and stores what is new. An unsettled error
// means that it must be decided again.
func (r *recording) attempt(ctx context.Context) error {
	current := false
	if r.behind || r.fold.job == nil {
		if err := r.refold(ctx); err != nil {
			return err
		}
		current = true
	}
	fresh, receipts, err := r.fold.job.Plan(r.submitted)
	if err != nil && !current {
		// Another process may have recorded what makes these events true.
		if err := r.refold(ctx); err != nil {
			return err
		}
		fresh, receipts, err = r.fold.job.Plan(r.submitted)
	}
	var doubt error
	if err != nil {
		// What is recorded is checked by the server's lock; a refusal is final.
		_, doubt = r.log.ask(ctx, Partition(r.firm))
	}
	// Until it is started anew, the server shows what it could not bring to disk, or not
	// what it has there. Whoever sends such an event again must not read that it was recorded
	// before, nor that there is no such job.
	if broken := r.log.inside.failed(); broken != nil || doubt != nil || err != nil {
		return cmp.Or(broken, doubt, err)
	}
	r.receipts = receipts
	if len(fresh) > 0 {
		return r.store(ctx, fresh)
	}
	r.claim()
	return nil
}

// claim marks as new what this submission stored itself, in an attempt that was
// not answered.
func (r *recording) claim() {
	claimed := map[string]bool{}
	for i := range r.receipts {
		receipt := &r.receipts[i]
		if r.ours != 0 && receipt.Sequence == r.ours && !claimed[receipt.ID] {
			receipt.Duplicate = false
			claimed[receipt.ID] = true
		}
	}
}

// refold brings the fold up to the job's last commit in the log.
func (r *recording) refold(ctx context.Context) error {
	head, ok, err := r.log.lastOf(ctx, r.firm, r.job)
	if err != nil {
		return err
	}
	k := r.fold
	if head.sequence < k.last {
		known := k.last
		k.forget()
		return r.log.gone(ctx, Partition(r.firm), known, fmt.Errorf(
			"the job's commit at sequence %d is gone: the log is damaged or an old copy was restored", known))
	}
	if k.job == nil {
		k.job = events.NewJob(r.firm, r.job)
	}
	if ok && head.sequence > k.last {
		links, err := r.log.chain(ctx, r.firm, r.job, head, k.last)
		if err != nil {
			k.forget()
			return err
		}
		for _, n := range links {
			if err := k.apply(n); err != nil {
				return err
			}
			if r.unsure[n.attempt] {
				r.ours = n.stored.Sequence
			}
		}
	}
	r.behind = false
	return nil
}

// store writes the new events as the job's next commit.
func (r *recording) store(ctx context.Context, fresh []events.Event) error {
	n, err := r.encode(fresh)
	if err != nil {
		return err
	}
	sequence, err := r.publish(ctx, n)
	if err != nil {
		return err
	}
	n.stored.Sequence = sequence
	if err := r.fold.apply(n); err != nil {
		return fmt.Errorf("fold in what was just recorded: %w", err)
	}
	for i := range r.receipts {
		if r.receipts[i].Sequence == 0 {
			r.receipts[i].Sequence = sequence
		}
	}
	return nil
}

// encode makes the commit, and reads it back before it is sent: what cannot be
// read must not be written.
func (r *recording) encode(fresh []events.Event) (link, error) {
	c := &events.Commit{
		Firm: r.firm, Job: r.job,
		Version: r.fold.job.Version + 1, Previous: r.fold.job.Head,
		RecordedAt: r.log.cfg.Now(), RecordedBy: r.by,
		Events: fresh,
	}
	raw, err := c.Encode()
	if err != nil {
		return link{}, err
	}
	if len(raw) > commitBytesMax {
		return link{}, events.Refuse("events", len(raw),
			"the events of one submission take at most %d bytes: send fewer at once", commitBytesMax)
	}
	read, err := events.DecodeCommit(raw)
	if err != nil {
		return link{}, fmt.Errorf("read back what was to be recorded: %w", err)
	}
	return link{events.Stored{Partition: Partition(r.firm), Raw: raw}, read, r.log.attempt(raw)}, nil
}

// attempt returns the id of the message that stores a commit. Two processes that are
// sent the same events at the same time make the same commit of them: the id says
// which of them stored it.
func (l *Log) attempt(raw []byte) string { return events.Hash(raw) + "-" + l.name }

// send stores a message: in the embedded log perhaps together with those of other jobs.
// A replicated log gathers by itself.
func (r *recording) send(ctx context.Context, partition uint8, m *nats.Msg) (*jetstream.PubAck, error) {
	if g := r.log.groups[partition]; g != nil && !r.alone {
		return g.send(ctx, m)
	}
	return r.log.js.PublishMsg(ctx, m, jetstream.WithRetryAttempts(0))
}

// publish sends the commit, to be taken only if it is still the job's next.
func (r *recording) publish(ctx context.Context, n link) (sequence uint64, err error) {
	if err := r.log.inside.failed(); err != nil {
		return 0, err
	}
	m := newMessage(n.commit, n.stored.Raw, r.fold.trail)
	ctx, cancel := context.WithTimeout(ctx, r.log.cfg.RequestTimeout)
	defer cancel()
	ctx, unwatch := r.log.link.denials.watch(ctx, only(m.Subject))
	defer unwatch()
	m.Header.Set(jetstream.MsgIDHeader, n.attempt)
	m.Header.Set(jetstream.ExpectedStreamHeader, streamName(n.stored.Partition))
	m.Header.Set(jetstream.ExpectedLastSubjSeqHeader, strconv.FormatUint(r.fold.last, 10))
	ack, err := r.send(ctx, n.stored.Partition, m)
	if err == nil && !ack.Duplicate {
		return ack.Sequence, nil
	}
	// From here on the fold is behind the log, or may be.
	r.behind = true
	if broken := r.log.inside.failed(); err != nil && broken != nil {
		return 0, broken
	}
	if errors.Is(err, errGroupRefused) {
		r.alone = true // the answer to it alone says what is wrong, if anything is
		return 0, &unsettled{err}
	}
	if errors.Is(err, errWithdrawn) {
		return 0, unavailable(err)
	}
	if err == nil {
		return 0, &unsettled{errors.New("the same commit was stored by an attempt before")}
	}
	if conflict(err) {
		return 0, &unsettled{fmt.Errorf("the job moved on: %w", err)}
	}
	if err = orDenied(ctx, err); errors.As(err, new(*DeniedError)) {
		return 0, err
	}
	if errorCode(err) == 0 {
		r.unsure[n.attempt] = true
		return 0, &unsettled{fmt.Errorf("it is not known whether the commit was stored: %w", err)}
	}
	if err := settle(err); errors.As(err, new(*unsettled)) {
		return 0, err
	}
	return 0, unavailable(err) // an answer that trying again will not change, such as a full log
}
