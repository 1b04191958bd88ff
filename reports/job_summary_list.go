package reports

import (
	"cmp"
	"slices"
)

// makeJobList is the job summary without a job: one row for each job finished in
// the period, oldest first.
func makeJobList(f Filter, a Answer) Report {
	jobs := a.jobs()
	slices.SortFunc(jobs, func(a, b JobRow) int {
		return cmp.Or(cmp.Compare(a.Finished, b.Finished), cmp.Compare(a.Job, b.Job))
	})
	accounts := accountsByJob(a.answered(summarySums))
	var all ledger
	t := jobListTable()
	for _, j := range jobs {
		all.add(accounts[j.Job])
		t.Rows = append(t.Rows, jobListRow(scope(f).With(ByJob, j.Job), j, accounts[j.Job], a.Names))
	}
	if len(t.Rows) > 0 {
		t.Total = jobListTotal(scope(f), all)
	}
	return Report{
		Name: "job-summary", Title: "Job summary", Filter: f, Names: a.Names,
		Tables:  []Table{t, marksTable(f, a.answered(summaryMarks))},
		Figures: jobListFigures(jobs, accounts, all, a.Names),
		Notes: slices.Concat(scopeNotes(f, jobs), []string{noteDifference, noteMargin, notePrice},
			pricelessNotes(all), unpricedNotes(a.answered(summaryMarks))),
	}
}

func jobListTable() Table {
	return Table{
		Name: "jobs", Title: "Jobs",
		Columns: []Column{
			{"job", "Job", FormName}, {"job_type", "Job type", FormName}, {"state", "State", FormName},
			{"finished", "Finished", FormDay}, {"budget_minutes", "Budget hours", FormMinutes},
			{"actual_minutes", "Actual hours", FormMinutes}, {"difference_minutes", "Difference", FormMinutes},
			{"cost_e4", "Cost", FormMoney}, {"price_e4", "Price", FormMoney}, {"price_from", "Price from", FormText},
			{"margin_e4", "Margin", FormMoney}, {"margin_basis_points", "Margin in share of price", FormShare},
		},
		Empty: "No job was finished in this period. A job is finished with its sign-off or its closing; " +
			"choose a job to see one that still runs.",
	}
}

// jobListRow shows one job; q lets through the facts of the job.
func jobListRow(q Query, j JobRow, a account, names Names) []Cell {
	price, from, ok := a.priceNow()
	margin, _ := a.margin()
	priced, share := moneyCell(price, ok), Cell{Blank: true}
	if ok {
		of := on(only(q, KindPrice), a.priceSides()...)
		priced.Explain = &of
		share = shareCell(margin, price)
	}
	labour := only(q, KindLabour)
	return []Cell{
		jobCell(j), nameCell(names.JobTypes, j.JobType), stateCell(j.State), dayCell(j.Finished),
		sumCell(a.minutes.budget(), on(labour, planned...)), sumCell(a.minutes.actual, on(labour, SideActual)),
		numberCell(a.minutes.difference()), sumCell(a.cost().actual, on(only(q, costs...), SideActual)),
		priced, textCell(from), moneyCell(margin, ok), share,
	}
}

// jobListTotal adds the jobs up; q lets through the facts of all of them.
func jobListTotal(q Query, all ledger) []Cell {
	labour := only(q, KindLabour)
	return []Cell{
		textCell(counted(all.jobs, "job", "jobs")), {}, {}, {},
		sumCell(all.minutes.budget(), on(labour, planned...)), sumCell(all.minutes.actual, on(labour, SideActual)),
		numberCell(all.minutes.difference()), sumCell(all.costE4, on(only(q, costs...), SideActual)),
		moneyCell(all.priceE4, all.priced > 0), {}, moneyCell(all.marginE4, all.priced > 0),
		shareCell(all.marginE4, all.priceE4),
	}
}
