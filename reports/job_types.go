package reports

import (
	"cmp"
	"maps"
	"slices"
)

// The sums that the report by job type asks for, in the order of the question.
const (
	typeSums  = iota // by job, side and kind
	typeMarks        // by mark
)

func askJobTypes(f Filter) Question {
	return Question{
		Sums: []Query{
			grouped(only(scope(f), append(slices.Clone(costs), KindPrice)...), ByJob, BySide, ByKind),
			markQuery(f),
		},
		Jobs: scopeJobs(f),
	}
}

// typeResult is what the jobs of one type came to.
type typeResult struct {
	jobType string
	ledger
	worst       JobRow // the job with the least margin
	worstE4     int64
	worstChosen bool
}

func (r *typeResult) add(j JobRow, a account) {
	r.ledger.add(a)
	if margin, ok := a.margin(); ok && (!r.worstChosen || margin < r.worstE4) {
		r.worst, r.worstE4, r.worstChosen = j, margin, true
	}
}

// results adds up jobs by type, in ascending order of the type. Of two jobs
// with the same margin the first by key is named.
func results(jobs []JobRow, accounts map[string]account) (byType []*typeResult, all typeResult) {
	found := map[string]*typeResult{}
	for _, j := range jobs {
		if found[j.JobType] == nil {
			found[j.JobType] = &typeResult{jobType: j.JobType}
		}
		found[j.JobType].add(j, accounts[j.Job])
		all.add(j, accounts[j.Job])
	}
	for _, jobType := range slices.Sorted(maps.Keys(found)) {
		byType = append(byType, found[jobType])
	}
	return byType, all
}

func makeJobTypes(f Filter, a Answer) Report {
	jobs := a.jobs()
	slices.SortFunc(jobs, func(a, b JobRow) int { return cmp.Compare(a.Job, b.Job) })
	byType, all := results(jobs, accountsByJob(a.answered(typeSums)))
	t := jobTypesTable()
	for _, r := range byType {
		q := scope(f)
		if f.Job != "" || f.JobType == "" {
			q = q.With(ByJobType, r.jobType)
		}
		t.Rows = append(t.Rows, jobTypeRow(nameCell(a.Names.JobTypes, r.jobType), q, *r))
	}
	if len(t.Rows) > 0 {
		t.Total = jobTypeRow(wordCell("All types"), scope(f), all)
	}
	return Report{
		Name: "job-types", Title: phrase("Job types"), Filter: f, Names: a.Names,
		Tables:  []Table{t},
		Figures: jobTypeFigures(byType, all, a.Names),
		Notes: slices.Concat(scopeNotes(f, jobs), phrases(noteDifference), marginNotes(a.Names), phrases(
			"The price of a job is what was billed, and the budget price where nothing was billed yet. "+
				"The weakest job is the one with the least margin in money."),
			pricelessNotes(all.ledger), unpricedNotes(a.answered(typeMarks))),
	}
}

func jobTypesTable() Table {
	return Table{
		Name: "job-types", Title: "Job types",
		Columns: []Column{
			{"job_type", "Job type", FormName}, {"jobs_count", "Jobs", FormCount},
			{"budget_minutes", "Budget hours", FormMinutes}, {"actual_minutes", "Actual hours", FormMinutes},
			{"difference_minutes", "Difference", FormMinutes},
			{"cost_e4", "Cost", FormMoney}, {"price_e4", "Price", FormMoney}, {"margin_e4", "Margin", FormMoney},
			{"margin_basis_points", "Margin as a share of price", FormShare},
			{"lost_jobs_count", "Jobs that lost money", FormCount},
			{"worst_job", "Weakest job", FormName}, {"worst_margin_e4", "Its margin", FormMoney},
		},
		Empty: "No job was finished in this period. Give each job its type when it is opened and sign it off " +
			"when it is done: then this table shows which kinds of work earn their keep.",
	}
}

// jobTypeRow shows what jobs came to; q lets through their facts.
func jobTypeRow(first Cell, q Query, r typeResult) []Cell {
	labour := only(q, KindLabour)
	worst := Cell{}
	if r.worstChosen {
		worst = jobCell(r.worst)
	}
	return []Cell{
		first, numberCell(r.jobs),
		sumCell(r.minutes.budget(), on(labour, planned...)), sumCell(r.minutes.actual, on(labour, SideActual)),
		numberCell(r.minutes.difference()), sumCell(r.costE4, on(only(q, costs...), SideActual)),
		moneyCell(r.priceE4, r.priced > 0), moneyCell(r.marginE4, r.priced > 0), shareCell(r.marginE4, r.priceE4),
		numberCell(r.lost), worst, moneyCell(r.worstE4, r.worstChosen),
	}
}
