package reports

import (
	"fmt"
	"maps"
	"slices"

	"daysheet/events"
)

// The sums that the spread over jobs asks for, in the order of the question.
const (
	spreadMoney    = iota // by job, side and kind
	spreadFamilies        // actual minutes by job and family
	spreadPeople          // actual minutes by job and person
	spreadMarks           // by mark
)

func askSpread(f Filter) Question {
	q := scope(f)
	labour := on(only(q, KindLabour), SideActual)
	return Question{
		Sums: []Query{
			grouped(only(q, append(slices.Clone(costs), KindPrice)...), ByJob, BySide, ByKind),
			grouped(labour, ByJob, ByFamily), grouped(labour, ByJob, ByPerson), markQuery(f),
		},
		Jobs: scopeJobs(f),
	}
}

func makeSpread(f Filter, a Answer) Report {
	jobs := a.jobs()
	byType := map[string][]JobRow{}
	for _, j := range jobs {
		byType[j.JobType] = append(byType[j.JobType], j)
	}
	accounts := accountsByJob(a.answered(spreadMoney))
	margins := spreadTable(byType, accounts, a.Names)
	r := Report{
		Name: "job-spread", Title: phrase("Jobs compared"), Filter: f, Names: a.Names,
		Tables: []Table{
			margins, familyTable(f, jobs, a.answered(spreadFamilies), a.Names),
			groupTable(f, "customers", "Margin by customer", "Customer", jobs, accounts, a.Names,
				func(j JobRow) map[string]int64 { return map[string]int64{j.Customer: 1} }),
			groupTable(f, "crew", "Margin by who worked", "Person", jobs, accounts, a.Names,
				personShares(a.answered(spreadPeople))),
			groupTable(f, "seasons", "Margin by season", "Season", jobs, accounts, a.Names,
				func(j JobRow) map[string]int64 { return map[string]int64{season(j.Finished): 1} }),
		},
		Figures: spreadFigures(byType, accounts, a.Names),
		Notes: slices.Concat(scopeNotes(f, jobs), marginNotes(a.Names), phrases(
			"Quartiles halve the halves: a quarter of the jobs lies below the lower one and a quarter above the upper one. "+
				"Below five jobs they say little.",
			"Margin by who worked gives each person the part of a job's price, cost and margin that is his or her part of "+
				"the hours booked. It says what kind of jobs a person was on, not how well that person works.",
			"Seasons are those of the northern half, by the day on which the job was finished: winter is December to "+
				"February."), unpricedNotes(a.answered(spreadMarks))),
	}
	return r
}

// marginShare returns the margin of a job in hundredths of a per cent of the price.
func marginShare(a account) (int64, bool) {
	price, _, ok := a.priceNow()
	margin, _ := a.margin()
	if !ok {
		return 0, false
	}
	return BasisPoints(margin, price)
}

// overrun returns actual less budget hours in hundredths of a per cent of budget.
func overrun(a account) (int64, bool) { return BasisPoints(a.minutes.difference(), a.minutes.budget()) }

func spreadTable(byType map[string][]JobRow, accounts map[string]account, names Names) Table {
	t := Table{
		Name: "job-spread", Title: "Spread over jobs, by job type",
		Columns: []Column{
			{"job_type", "Job type", FormName}, {"jobs_count", "Jobs", FormCount},
			{"margin_least_basis_points", "Margin, least", FormShare},
			{"margin_lower_basis_points", "lower quartile", FormShare},
			{"margin_median_basis_points", "median", FormShare}, {"margin_upper_basis_points", "upper quartile", FormShare},
			{"margin_most_basis_points", "greatest", FormShare}, {"worst_job", "Weakest job", FormName},
			{"hours_median_basis_points", "Hours over budget, median", FormShare},
			{"hours_most_basis_points", "most", FormShare}, {"hours_worst_job", "Most over budget", FormName},
			{"advice", "What it says", FormText},
		},
		Empty: "No job was finished in this period: there is nothing to compare yet.",
	}
	for _, jobType := range slices.Sorted(maps.Keys(byType)) {
		jobs := byType[jobType]
		margin, priced := spreadOf(figuresOf(jobs, accounts, marginShare))
		hours, planned := spreadOf(figuresOf(jobs, accounts, overrun))
		share := func(n int64, ok bool) Cell { return Cell{Number: n, Blank: !ok} }
		named := func(j JobRow, ok bool) Cell {
			if !ok {
				return Cell{}
			}
			return jobCell(j)
		}
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.JobTypes, jobType), numberCell(int64(len(jobs))),
			share(margin.least, priced), share(margin.q1, priced), share(margin.median, priced), share(margin.q3, priced),
			share(margin.most, priced), named(margin.leastJob, priced),
			share(hours.median, planned), share(hours.most, planned), named(hours.mostJob, planned),
			wordCell(advice(margin, priced, hours, planned)),
		})
	}
	return t
}

func figuresOf(jobs []JobRow, accounts map[string]account, of func(account) (int64, bool)) []ofJob {
	var values []ofJob
	for _, j := range jobs {
		if v, ok := of(accounts[j.Job]); ok {
			values = append(values, ofJob{j, v})
		}
	}
	return values
}

// fewJobs is the number of jobs below which nothing is advised.
const fewJobs = 5

// advice says what a spread means for what to offer. It never names a job type
// with too few jobs.
func advice(margin spread, priced bool, hours spread, planned bool) string {
	const slim, wide = 1_000, 3_000 // hundredths of a per cent of the price
	switch {
	case !priced:
		return "no job has a price"
	case margin.n < fewJobs:
		return "too few jobs to say"
	case margin.q3 < 0:
		return "loses money on three jobs of four: stop it or price it anew"
	case margin.median < 0:
		return "loses money on every second job: price it anew before the next"
	case planned && hours.median > 1_500 && margin.median < slim:
		return "takes more hours than planned and leaves little: raise its rates"
	case margin.q3-margin.q1 > wide:
		return "earns well on some jobs and badly on others: find out which"
	case margin.median >= 2*slim && margin.q1 > 0:
		return "earns reliably: sell more of it"
	}
	return "earns its keep"
}

func familyTable(f Filter, jobs []JobRow, sums []Total, names Names) Table {
	t := Table{
		Name: "families", Title: "Where the hours go, by job type",
		Columns: []Column{{"job_type", "Job type", FormName}, {"actual_minutes", "Hours", FormMinutes}},
		Empty:   "No hours were booked on these jobs.",
	}
	for _, family := range events.Families() {
		t.Columns = append(t.Columns, Column{string(family) + "_basis_points", familyName(family), FormShare})
	}
	typeOf := map[string]string{}
	for _, j := range jobs {
		typeOf[j.Job] = j.JobType
	}
	byType := map[string]map[events.Family]int64{}
	total := map[string]int64{}
	for _, s := range sums {
		jobType := typeOf[s.By[0]]
		if byType[jobType] == nil {
			byType[jobType] = map[events.Family]int64{}
		}
		byType[jobType][events.Family(s.By[1])] += s.Minutes
		total[jobType] += s.Minutes
	}
	for _, jobType := range slices.Sorted(maps.Keys(byType)) {
		q := on(only(scope(f), KindLabour), SideActual)
		if f.Job != "" || f.JobType == "" {
			q = q.With(ByJobType, jobType)
		}
		row := []Cell{nameCell(names.JobTypes, jobType), sumCell(total[jobType], q)}
		for _, family := range events.Families() {
			row = append(row, shareCell(byType[jobType][family], total[jobType]))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// season names the three months in which a day lies, in the northern half.
func season(d events.Day) string {
	if len(d) < 7 {
		return ""
	}
	switch d[5:7] {
	case "12", "01", "02":
		return "1 Winter"
	case "03", "04", "05":
		return "2 Spring"
	case "06", "07", "08":
		return "3 Summer"
	}
	return "4 Autumn"
}

// personShares returns who worked on a job and how much.
func personShares(sums []Total) func(JobRow) map[string]int64 {
	byJob := map[string]map[string]int64{}
	for _, s := range sums {
		if byJob[s.By[0]] == nil {
			byJob[s.By[0]] = map[string]int64{}
		}
		byJob[s.By[0]][s.By[1]] += s.Minutes
	}
	return func(j JobRow) map[string]int64 { return byJob[j.Job] }
}

// groupTable adds jobs up by something that each has a part of.
func groupTable(f Filter, name, title, of string, jobs []JobRow, accounts map[string]account, names Names,
	parts func(JobRow) map[string]int64,
) Table {
	t := Table{
		Name: name, Title: title,
		Columns: []Column{
			{"group", of, FormName}, {"jobs_count", "Jobs", FormCount}, {"price_e4", "Price", FormMoney},
			{"cost_e4", "Cost", FormMoney}, {"margin_e4", "Margin", FormMoney},
			{"margin_basis_points", "Margin as a share of price", FormShare},
			{"lost_jobs_count", "Jobs that lost money", FormCount},
		},
		Empty: "No job was finished in this period.",
	}
	groups := map[string]*ledger{}
	for _, j := range jobs {
		a := accounts[j.Job]
		price, _, ok := a.priceNow()
		shares := parts(j)
		var whole int64
		for _, n := range shares {
			whole += n
		}
		for key, n := range shares {
			g := groups[key]
			if g == nil {
				g = &ledger{}
				groups[key] = g
			}
			g.jobs++
			if !ok {
				continue
			}
			cost := ratio(a.cost().actual, n, whole)
			part := ratio(price, n, whole)
			g.priced++
			g.costE4 += cost
			g.priceE4 += part
			g.marginE4 += part - cost
			if price < a.cost().actual {
				g.lost++
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(groups)) {
		g := groups[key]
		shown := nameCell(names.People, key)
		if name == "seasons" && key != "" {
			shown.said(phrase(key[2:])) // the number is for the order alone
		}
		if key == "" {
			shown.said(phrase("not given"))
		}
		t.Rows = append(t.Rows, []Cell{shown, numberCell(g.jobs), moneyCell(g.priceE4, g.priced > 0),
			moneyCell(g.costE4, g.priced > 0), moneyCell(g.marginE4, g.priced > 0), shareCell(g.marginE4, g.priceE4),
			numberCell(g.lost)})
	}
	return t
}

func spreadFigures(byType map[string][]JobRow, accounts map[string]account, names Names) []Figure {
	f := Figure{
		Name: "margin-spread", Title: phrase("Margin as a share of price, by job type"), Form: FormShare, Shape: ShapeRange,
		Middle: "Middle half of the jobs",
		Series: []Series{{Name: "Least"}, {Name: "Lower quartile"}, {Name: "Median"}, {Name: "Upper quartile"},
			{Name: "Greatest"}},
	}
	best, worst := "", ""
	var bestMedian, worstMedian int64
	for _, jobType := range slices.Sorted(maps.Keys(byType)) {
		s, ok := spreadOf(figuresOf(byType[jobType], accounts, marginShare))
		if !ok {
			continue
		}
		name := named(names.JobTypes, jobType)
		f.Categories = append(f.Categories, fmt.Sprintf("%s (%d)", name, s.n))
		for i, v := range []int64{s.least, s.q1, s.median, s.q3, s.most} {
			f.Series[i].Values = append(f.Series[i].Values, v)
		}
		if best == "" || s.median > bestMedian {
			best, bestMedian = name, s.median
		}
		if worst == "" || s.median < worstMedian {
			worst, worstMedian = name, s.median
		}
	}
	if len(f.Categories) == 0 {
		return nil
	}
	f.Finding = phrase("Half of the jobs leave more than the median. It is highest for %s, %s.", best,
		ShareText(bestMedian))
	if worst != best {
		f.Finding = phrase("Half of the jobs leave more than the median. It is highest for %s, %s, and lowest for %s, %s.",
			best, ShareText(bestMedian), worst, ShareText(worstMedian))
	}
	return []Figure{f}
}
