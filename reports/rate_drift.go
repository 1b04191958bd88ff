package reports

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

// fewLines is the number of lines below which nothing is said about how a task
// moves.
const fewLines = 8

func makeDrift(f Filter, a Answer) Report {
	r := Report{Name: "rate-drift", Title: phrase("Do rates still hold?"), Filter: f, Names: a.Names}
	all := rateLines(a)
	lines, _ := newestJobs(all, backtestMost)
	b, err := backtest(context.Background(), lines, a.Names, nil)
	l, failed := learnFrom(all, f, a, false, rates.Options{Crews: true})
	if err == nil {
		err = failed
	}
	if err != nil || l.fit == nil {
		r.Tables = []Table{driftTable(nil, a.Names), trendTable(l, a.Names), crewTable(l, a.Names)}
		if err != nil {
			r.Notes = []Phrase{phrase("The history cannot be read: %s", err.Error())}
		}
		return r
	}
	drifts := rates.FindDrift(b.Lines())
	r.Tables = []Table{driftTable(drifts, a.Names), trendTable(l, a.Names), crewTable(l, a.Names)}
	r.Figures = controlFigures(b.Lines(), drifts, a.Names)
	r.Notes = phrases(
		"An alarm says that a task takes more or less than history expects, for so long that chance is unlikely: a "+
			"cumulative "+
			"sum of standardised deviations, slack 0.5, limit 5 (NIST/SEMATECH e-Handbook 6.3.2.3). Ask why before you "+
			"change the rate.",
		"Learning, drift and a change of crew cannot be told apart in a firm with few people.",
		"A crew is who booked most of the hours of a line. The factor is for the same work; below 8 rows' worth of "+
			"evidence "+
			"crews must not be compared.",
	)
	return r
}

func driftTable(drifts []rates.Drift, names Names) Table {
	t := Table{
		Name: "drift", Title: "Tasks that moved",
		Columns: []Column{
			{"task", "Task", FormName}, {"since", "Since", FormDay}, {"direction", "Direction", FormText},
			{"factor_basis_points", "Against what was expected", FormShare}, {"lines_count", "Lines", FormCount},
		},
		Empty: "No task has moved so far from its history that it would be noticed.",
	}
	for _, d := range drifts {
		direction := "takes less"
		if d.Up {
			direction = "takes more"
		}
		t.Rows = append(t.Rows, []Cell{nameCell(names.Tasks, d.Task), dayCell(events.Day("1970-01-01").Add(d.Since)),
			wordCell(direction), numberCell(basisPoints(d.Mean - 1)), numberCell(int64(d.Lines))})
	}
	return t
}

// tasksOf returns the tasks with history, in the order in which a job meets them.
func (l learned) tasksOf() []string {
	seen := map[string]bool{}
	for _, c := range l.cells {
		seen[c.task] = true
	}
	return inJobOrder(seen)
}

func trendTable(l learned, names Names) Table {
	t := Table{
		Name: "trends", Title: "Practice and size",
		Columns: []Column{
			{"task", "Task", FormName}, {"rows_count", "Lines", FormCount},
			{"learning_basis_points", "With every doubling of repeats", FormShare},
			{"size_basis_points", "With every doubling of size", FormShare}, {"remark", "What it says", FormText},
		},
		Empty: "No task shows a clear trend with practice or with size.",
	}
	if l.fit == nil {
		return t
	}
	for _, task := range l.tasksOf() {
		learning, size := l.fit.Learning(task, ""), l.fit.Size(task)
		if !learning.Clear && !size.Clear {
			continue
		}
		remark := ""
		if learning.Clear && learning.PerDoubling < 1 {
			remark = "quicker with practice, or drift: they look the same"
		}
		if size.Clear && size.PerDoubling < 1 {
			remark = "large lines take less for each unit: setting up takes its time"
		}
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.Tasks, task), numberCell(int64(learning.Rows)),
			{Number: basisPoints(learning.PerDoubling - 1), Blank: !learning.Clear},
			{Number: basisPoints(size.PerDoubling - 1), Blank: !size.Clear}, wordCell(remark),
		})
	}
	return t
}

func crewTable(l learned, names Names) Table {
	t := Table{
		Name: "crew", Title: "Same work, who did it",
		Columns: []Column{
			{"person", "Person", FormName}, {"factor_basis_points", "Against the others", FormShare},
			{"credibility_basis_points", "Credibility", FormShare}, {"rows_index_milli", "Rows' worth of evidence", FormIndex},
			{"remark", "Remark", FormText},
		},
		Empty: "No hours were booked by a person on finished jobs.",
	}
	if l.fit == nil {
		return t
	}
	for _, c := range l.fit.Crews {
		remark := ""
		if !c.Enough {
			remark = "cannot tell: too little evidence"
		}
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.People, c.Crew), {Number: basisPoints(math.Exp(c.Effect) - 1), Blank: !c.Enough},
			numberCell(basisPoints(c.Z)), numberCell(int64(math.Round(1000 * c.Weight))), wordCell(remark),
		})
	}
	return t
}

// chartsMost bounds the control charts of a page.
const chartsMost = 3

// controlFigures draws the tasks that moved, and else those with most lines: each
// line's deviation with the limits of individual values, and its weighted mean.
func controlFigures(lines []rates.BacktestLine, drifts []rates.Drift, names Names) []Figure {
	byTask := map[string][]rates.BacktestLine{}
	for _, l := range lines {
		byTask[l.Task] = append(byTask[l.Task], l)
	}
	moved := map[string]bool{}
	for _, d := range drifts {
		moved[d.Task] = true
	}
	tasks := inJobOrder(byTask)
	slices.SortStableFunc(tasks, func(a, b string) int {
		if moved[a] != moved[b] {
			return map[bool]int{true: -1, false: 1}[moved[a]]
		}
		return cmp.Compare(len(byTask[b]), len(byTask[a]))
	})
	var figures []Figure
	for _, task := range tasks {
		if len(byTask[task]) >= fewLines && len(figures) < chartsMost {
			figures = append(figures, controlFigure(task, byTask[task], moved[task], names))
		}
	}
	return figures
}

func controlFigure(task string, lines []rates.BacktestLine, moved bool, names Names) Figure {
	z := make([]float64, len(lines))
	for i, l := range lines {
		z[i] = l.Z
	}
	single, mean := rates.NewIndividuals(z), rates.NewEWMA(z, 0, 1, .2)
	milli := func(v float64) int64 { return int64(math.Round(1000 * v)) }
	f := Figure{
		Name: "control-" + task, Title: phrase("Control chart: %s", named(names.Tasks, task)), Form: FormIndex,
		Shape:  ShapeLine,
		Series: []Series{{Name: "Line"}, {Name: "Weighted mean"}, {Name: "Upper limit"}, {Name: "Lower limit"}},
	}
	for i, l := range lines {
		f.Categories = append(f.Categories, fmt.Sprintf("%s (%d)", events.Day("1970-01-01").Add(l.Day), i+1))
		for k, v := range []float64{z[i], mean.Points[i], single.Upper, single.Lower} {
			f.Series[k].Values = append(f.Series[k].Values, milli(v))
		}
	}
	f.Finding = phrase("Deviation from what was expected, in standard deviations: %s beyond the limits.",
		counted(int64(len(single.Outside)), "1 line is", "%s lines are"))
	if moved {
		f.Finding = joined(" ", f.Finding, phrase("The cumulative sum raises an alarm."))
	}
	return f
}
