package reporting

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/httpd"
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
	if caller, _ := httpd.CallerFrom(ctx); !caller.May(httpd.ScopeRecord) {
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
		f.Today = s.today(names)
		key.filter.Today = f.Today
	}
	if made, ok := s.made.Get(key); ok {
		return ofOnesOwn(made), nil
	}
	if f.Job != "" {
		if _, err := s.job(ctx, f.Firm, f.Job, position); err != nil {
			return reports.Report{}, err
		}
	}
	answer, err := s.answer(ctx, f, d.Ask(f))
	answer.Names = names
	if err != nil {
		return reports.Report{}, fmt.Errorf("make report %s: %w", d.Name, err)
	}
	report := d.Make(f, answer)
	report.Filter = f
	s.made.PutHeavy(key, report, weigh(report))
	return ofOnesOwn(report), nil
}

// today returns the calendar day where the firm works: by its own time zone, or by
// that of the clock before the firm has settings.
func (s *site) today(names reports.Names) events.Day {
	return events.DayOf(names.Local(s.deps.Clock()))
}

// answer asks the store, and reads the job's commits where the report wants them.
func (s *site) answer(ctx context.Context, f reports.Filter, q reports.Question) (reports.Answer, error) {
	answer, err := facts.Ask(ctx, s.deps.Store, q)
	if err == nil && q.Log && f.Job != "" {
		answer.Log, err = s.deps.Commits(ctx, f.Firm, f.Job, f.AsOf)
	}
	return answer, err
}

// job returns a job as it stood. A job that the firm does not have is refused
// as not found, whether or not another firm has it.
func (s *site) job(ctx context.Context, firm, job string, asOf uint64) (reports.JobRow, error) {
	missing := &events.Error{Code: events.NotFound, Field: "job", Value: fmt.Sprintf("%q", job),
		Rule: "no such job was recorded"}
	if !events.ValidToken(job) {
		return reports.JobRow{}, missing
	}
	at := jobAt{firm, job, asOf}
	if row, known := s.rows.Get(at); known {
		return row, nil
	}
	rows, err := s.deps.Store.Jobs(ctx, reports.JobQuery{Firm: firm, Jobs: []string{job}, AsOf: asOf})
	if err != nil {
		return reports.JobRow{}, fmt.Errorf("look up job: %w", err)
	}
	if len(rows) == 0 {
		return reports.JobRow{}, missing
	}
	s.rows.Put(at, rows[0])
	return rows[0], nil
}

// entityTag names one answer by its bytes: those of a position change too where a name
// does that the firm gives to its things.
func entityTag(body []byte) string {
	sum := sha256.Sum256(body)
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}
