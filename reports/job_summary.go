package reports

import (
	"slices"

	"daysheet/events"
)

// The sums that the job summary asks for, in the order of the question.
const (
	summarySums  = iota // one job: by side, kind and family; a list: by job, side and kind
	summaryMarks        // by mark
)

func askJobSummary(f Filter) Question {
	money := only(scope(f), append(slices.Clone(costs), KindPrice)...)
	if f.Job != "" {
		money.By = []Dimension{BySide, ByKind, ByFamily}
	} else {
		money.By = []Dimension{ByJob, BySide, ByKind}
	}
	return Question{Sums: []Query{money, markQuery(f)}, Jobs: scopeJobs(f)}
}

func makeJobSummary(f Filter, a Answer) Report {
	if f.Job == "" {
		return makeJobList(f, a)
	}
	r := Report{Name: "job-summary", Title: phrase("Job summary"), Filter: f, Names: a.Names}
	jobs := a.jobs()
	if len(jobs) == 0 {
		r.Tables = []Table{moneyTable(), marginTable(), hoursTable(), marksTable(f, nil), jobTable(nil, a.Names)}
		r.Notes = phrases(noteNoJob)
		return r
	}
	r.Title = phrase("%s: %s", r.Title, jobCell(jobs[0]).Text)
	var whole account
	families := map[events.Family]sides{}
	for _, t := range a.answered(summarySums) {
		side, kind, family := Side(t.By[0]), Kind(t.By[1]), events.Family(t.By[2])
		whole.add(side, kind, t)
		if kind == KindLabour {
			s := families[family]
			s.add(side, t.Minutes)
			families[family] = s
		}
	}
	running := !jobs[0].State.Finished()
	r.Tables = []Table{
		fillMoney(f, whole), fillMargin(f, whole, running), fillHours(f, families, whole),
		marksTable(f, a.answered(summaryMarks)), jobTable(jobs, a.Names),
	}
	r.Figures = summaryFigures(whole, families, running, a.Names)
	r.Notes = slices.Concat(scopeNotes(f, jobs), phrases(noteDifference), marginNotes(a.Names), phrases(notePrice),
		unpricedNotes(a.answered(summaryMarks)))
	return r
}

func moneyTable() Table {
	return Table{
		Name: "money", Title: "Cost and price",
		Columns: columns(Column{"measure", "Measure", FormText}, comparisonColumns("e4", FormMoney)...),
		Empty:   "Nothing is known of this job: open it, issue an estimate and book hours on it.",
	}
}

func fillMoney(f Filter, a account) Table {
	t := moneyTable()
	q := scope(f)
	cost := a.cost()
	t.Rows = [][]Cell{
		row(wordCell("Labour"), comparison(a.labour, only(q, KindLabour))...),
		row(wordCell("Material"), comparison(a.material, only(q, KindMaterial))...),
		row(wordCell("Damage"), comparison(a.damage, only(q, KindDamage))...),
		row(wordCell("Overhead"), comparison(a.overhead, only(q, KindOverhead))...),
		row(wordCell("Cost"), comparison(cost, only(q, costs...))...),
	}
	price := row(wordCell("Price"), comparison(a.price, only(q, KindPrice))...)
	if !a.billed {
		blank := Cell{Blank: true}
		copy(price[2:], []Cell{blank, blank, blank}) // nothing billed: no actual, difference or share
	}
	t.Rows = append(t.Rows, price)
	return t
}

func marginTable() Table {
	return Table{
		Name: "margin", Title: "Margin",
		Columns: []Column{
			{"side", "Side", FormText}, {"price_e4", "Price", FormMoney}, {"price_from", "Price from", FormText},
			{"cost_e4", "Cost", FormMoney}, {"margin_e4", "Margin", FormMoney},
			{"margin_basis_points", "Margin as a share of price", FormShare},
		},
		Empty: "There is no margin to show before a job has an estimate or cost.",
	}
}

func fillMargin(f Filter, a account, running bool) Table {
	t := marginTable()
	q := scope(f)
	line := func(name string, price int64, from string, ok bool, priceOf []Side, cost int64, costOf []Side) []Cell {
		margin := price - cost
		early := running && slices.Equal(costOf, []Side{SideActual}) && margin >= 0 // see the forecast of job costing
		priced := moneyCell(price, ok)
		share := Cell{Blank: true}
		if ok {
			of := on(only(q, KindPrice), priceOf...)
			priced.Explain = &of
			share = shareCell(margin, price)
			share.Blank = share.Blank || early
		}
		return row(wordCell(name), priced, wordCell(from),
			sumCell(cost, on(only(q, costs...), costOf...)), moneyCell(margin, ok && !early), share)
	}
	budgetFrom := priceBudget
	if !a.offered {
		budgetFrom = priceNone
	}
	actual := "Actual"
	if running {
		actual = "Actual so far"
	}
	price, from, ok := a.priceNow()
	t.Rows = [][]Cell{
		line("Budget", a.price.budget(), budgetFrom, a.offered, planned, a.cost().budget(), planned),
		line(actual, price, from, ok, a.priceSides(), a.cost().actual, []Side{SideActual}),
	}
	return t
}

func hoursTable() Table {
	return Table{
		Name: "hours", Title: "Hours by family of tasks",
		Columns: columns(Column{"family", "Family", FormName}, comparisonColumns("minutes", FormMinutes)...),
		Empty:   "No hours are planned or booked. Book hours by task as the work is done, not at the end of the week.",
	}
}

func fillHours(f Filter, families map[events.Family]sides, a account) Table {
	t := hoursTable()
	q := only(scope(f), KindLabour)
	for _, family := range events.Families() {
		if s, ok := families[family]; ok {
			t.Rows = append(t.Rows,
				row(familyCell(family), comparison(s, q.With(ByFamily, string(family)))...))
		}
	}
	if len(t.Rows) > 0 {
		t.Total = row(wordCell("All hours"), comparison(a.minutes, q)...)
	}
	return t
}

// jobTable shows what is known of the job itself.
func jobTable(jobs []JobRow, names Names) Table {
	t := Table{
		Name: "job", Title: "The job",
		Columns: []Column{
			{"job", "Job", FormText}, {"title", "Title", FormText}, {"job_type", "Job type", FormName},
			{"customer", "Customer", FormText}, {"state", "State", FormName}, {"opened", "Opened", FormDay},
			{"accepted", "Accepted", FormDay}, {"due", "Due", FormDay}, {"finished", "Finished", FormDay},
		},
		Empty: "No job with this key is known. Check the key, or the position that the report is asked as of.",
	}
	for _, j := range jobs {
		t.Rows = append(t.Rows, []Cell{
			{Text: j.Job, Job: j.Job}, textCell(j.Title), nameCell(names.JobTypes, j.JobType),
			textCell(j.Customer), stateCell(j.State),
			dayCell(j.Opened), dayCell(j.Accepted), dayCell(j.Due), dayCell(j.Finished),
		})
	}
	return t
}
