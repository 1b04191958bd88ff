package reporting

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/httpd"
	"daysheet/services/projector"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// pin returns the position to answer for: the one that was asked for, or the one
// that the store stands at. Pinning it makes the figures, the facts behind them
// and the ETag agree even while new records come in.
func (s *site) pin(firm string, asked uint64) (uint64, error) {
	if asked > 0 && asked <= s.deps.Reached(firm) {
		return asked, nil // as of then, without a wait for what came after
	}
	now := s.deps.Position(firm)
	if asked > now {
		return 0, events.Refuse("as_of", asked, "reports stand at position %d; ask for that or an earlier one", now)
	}
	if asked > 0 {
		return asked, nil
	}
	return now, nil
}

// forTheOffice refuses callers who may only read: what is gathered about people is for the
// owner and the office. Single records name who worked to everybody who may read them.
func forTheOffice(ctx context.Context) error {
	if caller, _ := httpd.CallerFrom(ctx); !caller.May(httpd.Office) {
		return httpd.NewProblem(http.StatusForbidden, "this is about people: it is for the owner and the office")
	}
	return nil
}

// run makes a report with the names of standard tasks in a language. The filter's AsOf
// comes back as the position the answer is valid for.
func (s *site) run(ctx context.Context, d reports.Definition, f reports.Filter, said *texts.Texts,
) (reports.Report, error) {
	if d.Personal {
		if err := forTheOffice(ctx); err != nil {
			return reports.Report{}, err
		}
	}
	if d.NeedsJob && f.Job == "" {
		return reports.Report{}, events.Refuse("job", f.Job, "this report is about one job: name it")
	}
	if d.WholeFirm && (f.Job != "" || f.JobType != "" || f.From != "" || f.To != "") {
		return reports.Report{}, events.Refuse("filter", filterValues(f).Encode(),
			"this report is about the whole firm: ask for it without job, type and days")
	}
	position, err := s.pin(f.Firm, f.AsOf)
	if err != nil {
		return reports.Report{}, err
	}
	f.AsOf = position
	// Before the names, which may then be newer and never older.
	key := reportKey{d.Name, said.Language(), f, s.deps.Reached(f.Firm)}
	names, err := s.deps.Names(ctx, f.Firm)
	if err != nil {
		return reports.Report{}, fmt.Errorf("make report %s: %w", d.Name, err)
	}
	if names, err = wording.InLanguage(names, said); err != nil {
		return reports.Report{}, err
	}
	if d.Dated {
		key.filter.Today = s.today(names)
	}
	if made, ok := s.made.Get(key); ok {
		return ofOnesOwn(made), nil
	}
	var job *projector.Job
	if f.Job != "" {
		read, err := s.job(ctx, f.Firm, f.Job, f.AsOf)
		if err != nil {
			return reports.Report{}, err
		}
		job = &read
	}
	report, err := s.make(ctx, d, f, names, job)
	if err != nil {
		return reports.Report{}, err
	}
	s.made.PutHeavy(key, report, weigh(report))
	return ofOnesOwn(report), nil
}

// make makes a report at the filter's position. job is the one that the filter names, as of
// that position; nil where it names none.
func (s *site) make(
	ctx context.Context, d reports.Definition, f reports.Filter, names reports.Names, job *projector.Job,
) (reports.Report, error) {
	if d.Dated {
		f.Today = s.today(names)
	}
	answer, err := s.answer(ctx, d.Ask(f), job)
	if err != nil {
		return reports.Report{}, fmt.Errorf("make report %s: %w", d.Name, err)
	}
	answer.Names = names
	report := d.Make(f, answer)
	report.Filter = f
	return report, nil
}

// today returns the calendar day where the firm works: by its own time zone, or by
// that of the clock before the firm has settings.
func (s *site) today(names reports.Names) events.Day {
	return events.DayOf(names.Local(s.deps.Clock()))
}

// answer asks the store. What is asked about the one job of a report is answered by what
// was read of it.
func (s *site) answer(ctx context.Context, q reports.Question, job *projector.Job) (reports.Answer, error) {
	if job == nil {
		return facts.Ask(ctx, s.deps.Store, q)
	}
	answer, err := facts.Ask(ctx, jobReader{job, s.deps.Store}, q)
	if q.Log {
		answer.Log = job.Commits
	}
	return answer, err
}

// jobReader answers questions about one job by its own facts, and others by the store.
type jobReader struct {
	job   *projector.Job
	store Store
}

// Sum implements [facts.Reader].
func (r jobReader) Sum(ctx context.Context, q reports.Query) ([]reports.Total, error) {
	if totals, ok := r.job.Sum(q); ok {
		return totals, nil
	}
	return r.store.Sum(ctx, q)
}

// Jobs implements [facts.Reader].
func (r jobReader) Jobs(ctx context.Context, q reports.JobQuery) ([]reports.JobRow, error) {
	if rows, ok := r.job.Jobs(q); ok {
		return rows, nil
	}
	return r.store.Jobs(ctx, q)
}

// job reads a job as it stood at a position, or stands where that is 0. A job that the
// firm does not have is refused as not found, whether or not another firm has it.
func (s *site) job(ctx context.Context, firm, job string, asOf uint64) (projector.Job, error) {
	missing := &events.Error{Code: events.NotFound, Field: "job", Value: fmt.Sprintf("%q", job),
		Rule: "no such job was recorded"}
	if !events.ValidToken(job) {
		return projector.Job{}, missing
	}
	read, err := s.deps.Job(ctx, firm, job, asOf)
	if err != nil {
		return projector.Job{}, fmt.Errorf("read job %s: %w", job, err)
	}
	if read.Row.Job == "" {
		return projector.Job{}, missing
	}
	return read, nil
}

// titleOf returns how a job is called; empty where there is none of that key.
func (s *site) titleOf(v visit, job string) (string, error) {
	read, err := s.job(v, v.Firm, job, 0)
	if events.CodeOf(err) == events.NotFound {
		return "", nil
	}
	return cmp.Or(read.Row.Title, job), err
}

// readHistory reads the log of a job that was read.
func readHistory(ctx context.Context, j projector.Job) (*wording.History, error) {
	return wording.ReadHistory(ctx, func(context.Context, string, string, uint64) ([]events.Stored, error) {
		return j.Commits, nil
	}, j.Row.Firm, j.Row.Job, j.Row.Sequence)
}

// entityTag names one answer by its bytes: those of a position change too where a name
// does that the firm gives to its things.
func entityTag(body []byte) string {
	sum := sha256.Sum256(body)
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}
