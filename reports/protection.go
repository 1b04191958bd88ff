package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
)

// The sums that the report on protection asks for, in the order of the question.
const (
	protectionDown  = iota // what is down, by job, task, location, product, last day, day of laying and unit
	protectionMarks        // by mark
)

func askProtection(f Filter) Question {
	return Question{
		Sums: []Query{
			grouped(only(protectionScope(f), KindDown), ByJob, ByTask, ByLocation, ByProduct, ByMethod, ByDay, ByUnit),
			grouped(only(protectionScope(f), KindMark), ByTask),
		},
		Jobs: &JobQuery{Firm: f.Firm, AsOf: f.AsOf},
	}
}

// protectionScope lets through the facts of every job, running or not, unless a
// job or a period was chosen.
func protectionScope(f Filter) Query {
	if f.Job != "" || f.From != "" || f.To != "" {
		return scope(f)
	}
	q := Query{Firm: f.Firm, AsOf: f.AsOf}
	if f.JobType != "" {
		q = q.With(ByJobType, f.JobType)
	}
	return q
}

// cover is protection that is still down.
type cover struct {
	job            JobRow
	task, location string
	product        string
	removeBy, laid events.Day
	unit           events.Unit
	milli          int64
}

// urgency orders covers: first what can hurt somebody, then what is left on
// finished jobs, then what is past its day.
type urgency int

const (
	urgentDanger urgency = iota
	urgentFinished
	urgentOverdue
	notUrgent
)

// CoveredDetector is the task whose covering must not outlast the working day.
const CoveredDetector = "protect-detector"

// CoverCaution says what to mind while what a task covers is covered; empty where
// nobody can be hurt by it. Common practice, no source.
func CoverCaution(task string) string {
	switch task {
	case CoveredDetector:
		return "a covered detector does not warn: uncover it when work stops"
	case "protect-light-fitting":
		return "a covered light can start a fire: keep it switched off while it is covered"
	}
	return ""
}

// CoverRank orders what is covered by how it can hurt somebody: detectors before
// lights, and lights before the rest.
func CoverRank(task string) int {
	switch {
	case task == CoveredDetector:
		return 0
	case CoverCaution(task) != "":
		return 1
	}
	return 2
}

func (c cover) urgency(today events.Day) urgency {
	switch {
	case CoverCaution(c.task) != "":
		return urgentDanger
	case c.job.State.Finished():
		return urgentFinished
	case c.overdue(today) > 0:
		return urgentOverdue
	}
	return notUrgent
}

// overdue returns how many days ago the last day for clean removal was; 0 where it
// is still ahead or not known.
func (c cover) overdue(today events.Day) int64 {
	if c.removeBy == "" || today == "" || today <= c.removeBy {
		return 0
	}
	return daysBetween(c.removeBy, today) - 1
}

// remark says what to do, in words.
func (c cover) remark(today events.Day) string {
	switch c.urgency(today) {
	case urgentDanger:
		return CoverCaution(c.task)
	case urgentFinished:
		return "the job is finished: lift it, or record that it was lifted"
	case urgentOverdue:
		return "past the last day for clean removal"
	}
	return ""
}

func coversOf(sums []Total, jobs []JobRow, today events.Day) []cover {
	byKey := map[string]JobRow{}
	for _, j := range jobs {
		byKey[j.Job] = j
	}
	var all []cover
	for _, t := range sums {
		job, known := byKey[t.By[0]]
		if !known {
			job = JobRow{Job: t.By[0]}
		}
		all = append(all, cover{job: job, task: t.By[1], location: t.By[2], product: t.By[3],
			removeBy: events.Day(t.By[4]), laid: events.Day(t.By[5]), unit: events.Unit(t.By[6]), milli: t.QuantityMilli})
	}
	before := jobOrder()
	slices.SortStableFunc(all, func(a, b cover) int {
		return cmp.Or(cmp.Compare(a.urgency(today), b.urgency(today)), cmp.Compare(b.overdue(today), a.overdue(today)),
			cmp.Compare(a.job.Job, b.job.Job), before(a.task, b.task), cmp.Compare(a.location, b.location))
	})
	return all
}

func makeProtection(f Filter, a Answer) Report {
	all := coversOf(a.answered(protectionDown), a.jobs(), f.Today)
	r := Report{Name: "protection", Title: phrase("Protection down"), Filter: f, Names: a.Names}
	r.Tables = []Table{downTable(f, all, a.Names), marksTableOf(protectionScope(f), a.answered(protectionMarks), []Mark{
		MarkProtectionDown, MarkOpenDamage, MarkOpenSnags})}
	r.Figures = downFigures(f, all)
	r.Notes = phrases(
		"The last day for clean removal is the one recorded when it was laid, or else the product's by its data sheet, "+
			"counted from the day of laying. Sun shortens it.",
		"Covered detectors and lights come first. Switch a light off and let it cool before it is covered; uncover and try "+
			"detectors whenever work stops. Local codes and the maker's instructions go before these words.",
		"What is down on a finished job was lifted without a record, or is still there.",
	)
	return r
}

func downTable(f Filter, all []cover, names Names) Table {
	t := Table{
		Name: "down", Title: "Still down",
		Columns: []Column{
			{"job", "Job", FormName}, {"state", "State", FormName}, {"task", "What", FormName}, {"location", "Where", FormText},
			{"product", "Product", FormName}, {"unit", "Unit", FormText}, {"down_milli", "Still down", FormQuantity},
			{"laid", "Laid", FormDay}, {"remove_by", "Remove by", FormDay}, {"overdue_count", "Days overdue", FormCount},
			{"remark", "What to do", FormText},
		},
		Empty: "Nothing is down: all protection that was recorded is lifted.",
	}
	for _, c := range all {
		q := only(protectionScope(f), KindDown).With(ByJob, c.job.Job).With(ByTask, c.task).With(ByLocation, c.location).
			With(ByProduct, c.product).With(ByMethod, string(c.removeBy)).With(ByDay, string(c.laid)).
			With(ByUnit, string(c.unit))
		down := sumCell(c.milli, q)
		down.Unit = c.unit
		t.Rows = append(t.Rows, []Cell{
			jobCell(c.job), stateCell(c.job.State), nameCell(names.Tasks, c.task), textCell(c.location),
			nameCell(names.Products, c.product), textCell(string(c.unit)), down, dayCell(c.laid), dayCell(c.removeBy),
			numberCell(c.overdue(f.Today)), wordCell(c.remark(f.Today)),
		})
	}
	return t
}

func downFigures(f Filter, all []cover) []Figure {
	if len(all) == 0 {
		return nil
	}
	groups := []struct {
		of   urgency
		name string
	}{
		{urgentDanger, "Detectors and lights"}, {urgentFinished, "On finished jobs"}, {urgentOverdue, "Past its day"},
		{notUrgent, "In time"},
	}
	fig := Figure{Name: "down", Title: phrase("What is down"), Form: FormCount, Shape: ShapeBars,
		Series: []Series{{Name: "Pieces of protection"}}}
	counts := map[urgency]int64{}
	for _, c := range all {
		counts[c.urgency(f.Today)]++
	}
	for _, g := range groups {
		fig.Categories = append(fig.Categories, g.name)
		fig.Series[0].Values = append(fig.Series[0].Values, counts[g.of])
	}
	fig.Finding = phrase(
		"%s down: %d on detectors and lights, %d on finished jobs, %d past the last day for removal.",
		counted(int64(len(all)), "1 piece of protection is", "%s pieces of protection are"), counts[urgentDanger],
		counts[urgentFinished], counts[urgentOverdue])
	return []Figure{fig}
}
