package reports

import (
	"cmp"
	"slices"
)

// makeJobList is the job summary without a job: one row for each job finished in
// the period, the last one first, as the board has them.
func makeJobList(f Filter, a Answer) Report {
	jobs := a.jobs()
	slices.SortFunc(jobs, func(a, b JobRow) int {
		return cmp.Or(cmp.Compare(b.Finished, a.Finished), cmp.Compare(a.Job, b.Job))
	})
	accounts := accountsByJob(a.answered(summarySums))
	var all ledger
	t := jobListTable()
	t.Rows = make([][]Cell, 0, len(jobs))
	behind := listBehind(scope(f))
	for _, j := range jobs {
		all.add(accounts[j.Job])
		t.Rows = append(t.Rows, jobListRow(behind, j, accounts[j.Job], a.Names))
	}
	if len(t.Rows) > 0 {
		t.Total = jobListTotal(behind, all)
	}
	return Report{
		Name: "job-summary", Title: phrase("Job summary"), Filter: f, Names: a.Names,
		Tables:  []Table{t, marksTable(f, a.answered(summaryMarks))},
		Figures: jobListFigures(jobs, accounts, all, a.Names),
		Notes: slices.Concat(scopeNotes(f, jobs), phrases(noteDifference), marginNotes(a.Names), phrases(notePrice),
			pricelessNotes(all), unpricedNotes(a.answered(summaryMarks))),
	}
}

func jobListTable() Table {
	return Table{
		Name: "jobs", Title: "Jobs",
		Columns: []Column{
			{"job", "Job", FormName}, {"job_type", "Job type", FormName}, {"finished", "Finished", FormDay},
			{"budget_minutes", "Budget hours", FormMinutes}, {"actual_minutes", "Actual hours", FormMinutes},
			{"difference_minutes", "Difference", FormMinutes}, {"cost_e4", "Cost", FormMoney}, {"price_e4", "Price", FormMoney},
			{"margin_e4", "Margin", FormMoney}, {"margin_basis_points", "Margin as a share of price", FormShare},
			{"price_from", "Price from", FormText}, {"state", "State", FormName},
		},
		Empty: "No job was finished in this period. A job is finished with its sign-off or its closing; " +
			"choose a job to see one that still runs.",
	}
}

// behindList is what lets through the facts of each figure of the list. It is
// made once for all jobs, since there may be thousands of them.
type behindList struct{ budget, actual, cost, billed, offered Query }

// listBehind returns the queries for the jobs of q.
func listBehind(q Query) behindList {
	labour, price := only(q, KindLabour), only(q, KindPrice)
	return behindList{
		budget: on(labour, planned...), actual: on(labour, SideActual), cost: on(only(q, costs...), SideActual),
		billed: on(price, SideActual), offered: on(price, planned...),
	}
}

// jobListRow shows one job.
func jobListRow(behind behindList, j JobRow, a account, names Names) []Cell {
	price, from, ok := a.priceNow()
	margin, _ := a.margin()
	priced, share := moneyCell(price, ok), Cell{Blank: true}
	ofJob := []string{j.Job}
	if ok {
		of := behind.offered
		if a.billed {
			of = behind.billed
		}
		of = of.With(ByJob, ofJob...)
		priced.Explain = &of
		share = shareCell(margin, price)
	}
	return []Cell{
		jobCell(j), nameCell(names.JobTypes, j.JobType), dayCell(j.Finished),
		sumCell(a.minutes.budget(), behind.budget.With(ByJob, ofJob...)),
		sumCell(a.minutes.actual, behind.actual.With(ByJob, ofJob...)),
		numberCell(a.minutes.difference()), sumCell(a.cost().actual, behind.cost.With(ByJob, ofJob...)),
		priced, moneyCell(margin, ok), share, wordCell(from), stateCell(j.State),
	}
}

// jobListTotal adds the jobs up.
func jobListTotal(behind behindList, all ledger) []Cell {
	return []Cell{
		phraseCell(counted(all.jobs, "1 job", "%s jobs")), {}, {},
		sumCell(all.minutes.budget(), behind.budget), sumCell(all.minutes.actual, behind.actual),
		numberCell(all.minutes.difference()), sumCell(all.costE4, behind.cost),
		moneyCell(all.priceE4, all.priced > 0), moneyCell(all.marginE4, all.priced > 0),
		shareCell(all.marginE4, all.priceE4), {}, {},
	}
}
