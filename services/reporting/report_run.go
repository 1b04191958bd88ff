package reporting

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
)

// pin returns the position to answer for: the one that was asked for, or the one
// that the store stands at. Pinning it makes the figures, the facts behind them
// and the ETag agree even while new records come in.
func (s *site) pin(firm string, asked uint64) (uint64, error) {
	now := s.deps.Position(firm)
	if asked > now {
		return 0, events.Refuse("as_of", asked, "reports stand at position %d; ask for that or an earlier one", now)
	}
	if asked > 0 {
		return asked, nil
	}
	return now, nil
}

// run makes a report. The filter's AsOf comes back as the position the answer
// is valid for.
func (s *site) run(ctx context.Context, d reports.Definition, f reports.Filter) (reports.Report, error) {
	if d.NeedsJob && f.Job == "" {
		return reports.Report{}, events.Refuse("job", f.Job, "this report is about one job: name it")
	}
	position, err := s.pin(f.Firm, f.AsOf)
	if err != nil {
		return reports.Report{}, err
	}
	f.AsOf = position
	if f.Job != "" {
		if _, err := s.job(ctx, f.Firm, f.Job, position); err != nil {
			return reports.Report{}, err
		}
	}
	answer, err := facts.Ask(ctx, s.deps.Store, d.Ask(f))
	if err == nil {
		answer.Names, err = s.deps.Names(ctx, f.Firm)
	}
	if err != nil {
		return reports.Report{}, fmt.Errorf("make report %s: %w", d.Name, err)
	}
	report := d.Make(f, answer)
	report.Filter = f
	return report, nil
}

// job returns a job as it stood. A job that the firm does not have is refused
// as not found, whether or not another firm has it.
func (s *site) job(ctx context.Context, firm, job string, asOf uint64) (reports.JobRow, error) {
	missing := &events.Error{Code: events.NotFound, Field: "job", Value: fmt.Sprintf("%q", job),
		Rule: "no such job was recorded"}
	if !events.ValidToken(job) {
		return reports.JobRow{}, missing
	}
	rows, err := s.deps.Store.Jobs(ctx, reports.JobQuery{Firm: firm, Jobs: []string{job}, AsOf: asOf})
	if err != nil {
		return reports.JobRow{}, fmt.Errorf("look up job: %w", err)
	}
	if len(rows) == 0 {
		return reports.JobRow{}, missing
	}
	return rows[0], nil
}

// entityTag names one answer: equal tags mean equal bytes. The position stands
// for everything that was recorded, names and prices included.
func entityTag(parts ...any) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%q", parts))
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}
