package reports

import (
	"daysheet/events"
)

func askEarnedValue(f Filter) Question {
	return Question{Sums: progressQueries(f), Jobs: scopeJobs(f)}
}

// curveMost bounds the days of the curve, so that it can still be read.
const curveMost = 120

func makeEarnedValue(f Filter, a Answer) Report {
	r := Report{Name: "earned-value", Title: phrase("Earned value"), Filter: f, Names: a.Names}
	jobs := a.jobs()
	if len(jobs) == 0 || len(a.Sums) <= progressActual {
		r.Tables = []Table{earnedTable(), workDoneTable()}
		r.Notes = phrases(noteNoJob)
		return r
	}
	job := jobs[0]
	r.Title = phrase("%s: %s", r.Title, jobCell(job).Text)
	p, plan := progressOf(a.Sums, job), scheduleOf(job)
	until := statusDay(f, job, p)
	v := p.at(until, plan)
	v.AC = p.spent(maxDay) // what was spent counts, whatever day it carries
	r.Tables = []Table{fillEarned(f, v), fillWorkDone(f, p, until, a.Names)}
	r.Figures = earnedFigures(p, plan, until, v, a.Names)
	r.Notes = earnedNotes(job, plan)
	return r
}

// maxDay is after every day that an event can name.
const maxDay events.Day = "2149-01-01"

// statusDay is the day for which planned value is told: that of the finish, else
// today, else the last day on which something happened.
func statusDay(f Filter, job JobRow, p *progress) events.Day {
	if job.Finished != "" {
		return job.Finished
	}
	if f.Today != "" {
		return f.Today
	}
	if days := p.days(); len(days) > 0 {
		return days[len(days)-1]
	}
	return job.Opened
}

// at returns the earned value at the end of a day.
func (p *progress) at(day events.Day, plan schedule) EarnedValue {
	return EarnedValue{
		BAC: p.bac(), PV: plan.planned(p.bac(), day), EV: p.earned(day), AC: p.spent(day), Scheduled: plan.start != "",
	}
}

func earnedNotes(job JobRow, plan schedule) []Phrase {
	notes := phrases(
		"A task is done in the share that was measured of its planned quantity. What is planned without a quantity "+
			"counts as done in the same share as what is measured. A finished job has earned its whole budget.",
		"Budget is labour, material and overhead of the estimate with the variations agreed since; damage has none. "+
			"An index above 1 is better than planned.",
	)
	if plan.start == "" {
		notes = append(notes, phrase("There is no planned value, because the job has no planned start or no day for "+
			"handover: "+
			"give both when it is opened."))
	} else {
		notes = append(notes, phrase("Planned value grows evenly over the working days from %s to %s.",
			plan.start, plan.due))
	}
	if job.Finished == "" {
		notes = append(notes, phrase(noteRunning))
	}
	return notes
}

func earnedTable() Table {
	return Table{
		Name: "earned-value", Title: "Earned value",
		Columns: []Column{
			{"measure", "Measure", FormText}, {"amount_e4", "Amount", FormMoney}, {"value_index_milli", "Index", FormIndex},
			{"meaning", "What it says", FormText},
		},
		Empty: "There is no budget to earn: issue an estimate with quantities, and record what is done.",
	}
}

func fillEarned(f Filter, v EarnedValue) Table {
	t := earnedTable()
	money := func(measure string, e4 int64, ok bool, meaning Phrase) {
		t.Rows = append(t.Rows, []Cell{wordCell(measure), moneyCell(e4, ok), {Blank: true}, phraseCell(meaning)})
	}
	ratioOf := func(measure string, milli int64, ok bool, meaning Phrase) {
		t.Rows = append(t.Rows, []Cell{wordCell(measure), {Blank: true}, {Number: milli, Blank: !ok}, phraseCell(meaning)})
	}
	budget := on(only(scope(f), costs...), planned...)
	actual := on(only(scope(f), costs...), SideActual)
	t.Rows = append(t.Rows, []Cell{wordCell("Whole budget (BAC)"), sumCell(v.BAC, budget), {Blank: true},
		wordCell("budget at completion")})
	money("Planned by now (PV)", v.PV, v.Scheduled, phrase("planned value: budget of what was to be done by now"))
	money("Earned (EV)", v.EV, v.BAC != 0, phrase("earned value: budget of what is done"))
	t.Rows = append(t.Rows, []Cell{wordCell("Spent (AC)"), sumCell(v.AC, actual), {Blank: true},
		wordCell("actual cost, damage included")})
	money("Cost variance (CV)", v.CV(), v.BAC != 0, phrase("EV - AC: below zero is over budget"))
	sv, ok := v.SV()
	money("Schedule variance (SV)", sv, ok, phrase("EV - PV: below zero is behind"))
	cpi, ok := v.CPI()
	ratioOf("Cost index (CPI)", cpi, ok && v.BAC != 0, phrase("earned for each unit of money spent, EV / AC: below 1 "+
		"is over budget"))
	spi, ok := v.SPI()
	ratioOf("Schedule index (SPI)", spi, ok, phrase("earned for each unit of money planned by now, EV / PV: below 1 is "+
		"behind"))
	forecast, how := v.Forecast()
	byCPI, ok := v.EACByCPI()
	money("Final cost at this pace (EAC by CPI)", byCPI, ok, phrase("cost at completion if the rest goes as so far, "+
		"BAC / CPI"))
	money("Final cost by the budget (EAC by budget)", v.EACByBudget(), v.BAC != 0, phrase("cost at completion if the "+
		"rest goes as planned, AC + "+
		"BAC - EV"))
	both, ok := v.EACByCPIAndSPI()
	money("Final cost if late (EAC by CPI and SPI)", both, ok, phrase("cost at completion if being late costs as well"))
	money("Forecast", forecast, v.BAC != 0, phrase("cost at completion used in other reports: %s", phrase(how)))
	money("Still to spend (ETC)", forecast-v.AC, v.BAC != 0, phrase("what the rest will cost, forecast - AC"))
	money("Left over in the end (VAC)", v.BAC-forecast, v.BAC != 0, phrase("BAC - forecast: below zero is over budget"))
	toBudget, ok := v.TCPI(v.BAC)
	ratioOf("Index needed (TCPI)", toBudget, ok && v.EV != v.BAC, phrase("cost index that the rest needs to keep the "+
		"budget"))
	return t
}

func workDoneTable() Table {
	return Table{
		Name: "work-done", Title: "Work done",
		Columns: []Column{
			{"task", "Task", FormName}, {"unit", "Unit", FormText}, {"budget_quantity_milli", "Budget quantity", FormQuantity},
			{"done_quantity_milli", "Done", FormQuantity}, {"done_basis_points", "Share done", FormShare},
			{"budget_e4", "Budget", FormMoney}, {"earned_e4", "Earned", FormMoney},
		},
		Empty: "No task has a planned quantity, so that nothing can be measured against it.",
	}
}

func fillWorkDone(f Filter, p *progress, until events.Day, names Names) Table {
	t := workDoneTable()
	var budget, earned int64
	for _, task := range inJobOrder(p.tasks) {
		plan := p.tasks[task]
		if !plan.measured() {
			continue
		}
		for _, unit := range events.Units() {
			whole := plan.planned[unit]
			if whole <= 0 {
				continue
			}
			var done int64
			for _, milli := range plan.done[unit] {
				done += milli
			}
			of := only(scope(f), KindQuantity).With(ByTask, task).With(ByUnit, string(unit))
			budgetCell, doneCell := sumCell(whole, on(of, planned...)), sumCell(done, on(of, SideActual))
			budgetCell.Unit, doneCell.Unit = unit, unit
			e4 := plan.earnedBy(maxDay)
			if p.finished != "" {
				e4 = plan.budget
			}
			budget, earned = budget+plan.budget, earned+e4
			t.Rows = append(t.Rows, []Cell{
				nameCell(names.Tasks, task), textCell(string(unit)), budgetCell, doneCell, shareCell(done, whole),
				sumCell(plan.budget, on(only(scope(f), costs...).With(ByTask, task), planned...)), numberCell(e4),
			})
		}
	}
	if len(t.Rows) == 0 {
		return t
	}
	blank := Cell{Blank: true}
	rest := p.earned(until) - earned
	if p.finished != "" {
		rest = p.unmeasured
	}
	t.Rows = append(t.Rows, []Cell{wordCell("Planned without a quantity"), {}, blank, blank, blank,
		numberCell(p.unmeasured), numberCell(rest)})
	t.Total = []Cell{wordCell("All work"), {}, blank, blank, shareCell(earned+rest, budget+p.unmeasured),
		numberCell(budget + p.unmeasured), numberCell(earned + rest)}
	return t
}

func earnedFigures(p *progress, plan schedule, until events.Day, v EarnedValue, names Names) []Figure {
	days := curveDays(p, plan, until)
	if len(days) == 0 || v.BAC == 0 {
		return nil
	}
	f := Figure{
		Name: "earned-value", Title: phrase("Planned, earned and spent"), Form: FormMoney, Shape: ShapeLine,
		Finding: earnedFinding(v, names),
		Series:  []Series{{Name: "Planned value"}, {Name: "Earned value"}, {Name: "Actual cost"}},
	}
	for _, day := range days {
		at := p.at(day, plan)
		f.Categories = append(f.Categories, string(day))
		for i, value := range []int64{at.PV, at.EV, at.AC} {
			f.Series[i].Values = append(f.Series[i].Values, value)
			f.Series[i].Blank = append(f.Series[i].Blank, i == 0 && !at.Scheduled || i > 0 && day > until)
		}
	}
	return []Figure{f}
}

// curveDays are the days of the curve: those of the plan and those on which
// something happened. Where there are too many, every few of them are left out
// but the last.
func curveDays(p *progress, plan schedule, until events.Day) []events.Day {
	days := p.days()
	if plan.start != "" {
		days = mergeDays(days, []events.Day{plan.start, plan.due})
	}
	if until != "" && len(days) > 0 {
		days = mergeDays(days, []events.Day{until})
	}
	for len(days) > curveMost {
		var kept []events.Day
		for i, day := range days {
			if i&1 == (len(days)-1)&1 {
				kept = append(kept, day)
			}
		}
		days = kept
	}
	return days
}

func earnedFinding(v EarnedValue, names Names) Phrase {
	say := sayMoney(names)
	indices := ""
	if cpi, ok := v.CPI(); ok {
		indices = ": CPI " + decimal(cpi, 3)
	}
	if spi, ok := v.SPI(); ok {
		indices += ", SPI " + decimal(spi, 3)
	}
	return phrase("%s of %s earned for %s spent%s.", say(v.EV), say(v.BAC), say(v.AC), indices)
}
