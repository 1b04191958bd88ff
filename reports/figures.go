package reports

import (
	"cmp"
	"slices"

	"daysheet/events"
)

// barsMost bounds the categories of one figure, so that it can still be read.
const barsMost = 20

// bar is one category of a figure that sets budget against actual.
type bar struct {
	name string
	sides
}

// againstBudget draws budget and actual side by side; nil where there is nothing
// to draw. Where there are too many bars, those that differ most are kept.
func againstBudget(name, title string, form Form, finding Phrase, bars []bar) []Figure {
	if len(bars) == 0 {
		return nil
	}
	drawn := phrase(title)
	if len(bars) > barsMost {
		places := make([]int, len(bars))
		for i := range places {
			places[i] = i
		}
		slices.SortFunc(places, func(a, b int) int {
			return cmp.Or(cmp.Compare(distance(bars[b].sides), distance(bars[a].sides)), cmp.Compare(a, b))
		})
		kept := make([]bar, barsMost)
		for i := range kept {
			kept[i] = bars[places[i]]
		}
		bars = kept
		drawn = phrase("%s (the %d that differ most)", drawn, barsMost)
	}
	f := Figure{
		Name: name, Title: drawn, Finding: finding, Form: form, Shape: ShapeBars,
		Series: []Series{{Name: "Budget"}, {Name: "Actual"}},
	}
	for _, b := range bars {
		f.Categories = append(f.Categories, b.name)
		f.Series[0].Values = append(f.Series[0].Values, b.budget())
		f.Series[1].Values = append(f.Series[1].Values, b.actual)
	}
	return []Figure{f}
}

// distance is how far actual and budget are apart.
func distance(s sides) int64 { return max(s.difference(), -s.difference()) }

// mostOver names the bar that went over its budget by most, in a sentence with
// a space before it; empty where none did, or where there is but one.
func mostOver(bars []bar, say func(int64) string) Phrase {
	return mostOverNamed(bars, say, func(name string) Phrase { return phrase(name) })
}

// mostOverNamed is mostOver for bars that a sentence calls otherwise than the chart.
func mostOverNamed(bars []bar, say func(int64) string, called func(name string) Phrase) Phrase {
	if len(bars) < 2 {
		return Phrase{}
	}
	var most bar
	for _, b := range bars {
		if b.difference() > most.difference() {
			most = b
		}
	}
	if most.difference() <= 0 {
		return Phrase{}
	}
	return phrase("Most above budget: %s, %s.", called(most.name), compared(most.sides, say))
}

// sayMoney returns how to say money in the currency.
func sayMoney(names Names) func(int64) string {
	return func(e4 int64) string { return MoneyText(e4, names.Currency) }
}

func summaryFigures(a account, families map[events.Family]sides, running bool, names Names) []Figure {
	var hours []bar
	for _, family := range events.Families() {
		if s, ok := families[family]; ok {
			hours = append(hours, bar{familyName(family), s})
		}
	}
	say := sayMoney(names)
	var money []bar
	parts := []bar{{"Labour", a.labour}, {"Material", a.material}, {"Damage", a.damage}, {"Overhead", a.overhead}}
	for _, b := range parts {
		if b.budget() != 0 || b.actual != 0 {
			money = append(money, b)
		}
	}
	return slices.Concat(
		againstBudget("hours-by-family", "Hours by family", FormMinutes,
			joined(" ", phrase("Hours: %s.", reached(a.minutes, running, MinutesText)), mostOver(hours, MinutesText)), hours),
		againstBudget("cost", "Cost", FormMoney,
			joined(" ", phrase("Cost: %s.", reached(a.cost(), running, say)), marginSentence(a, running, say)), money),
	)
}

// marginSentence says what is left of the price, with a space before it; empty
// where nothing was spent yet, since all of the price is left then.
func marginSentence(a account, running bool, say func(int64) string) Phrase {
	price, from, ok := a.priceNow()
	switch {
	case !ok:
		return phrase("There is no price yet.")
	case running && a.cost().actual == 0:
		return Phrase{}
	}
	margin, _ := a.margin()
	words := "Margin"
	switch {
	case running && margin >= 0: // a margin on half of the cost would look like a good one
		return phrase("Price by the budget: %s; job costing forecasts what is left of it.", say(price))
	case running:
		words, margin = "Loss so far", -margin
	case margin < 0:
		words, margin = "Loss", -margin
	}
	share, ok := BasisPoints(margin, price)
	if !ok {
		return phrase("%s: %s from a %s price of %s.", phrase(words), say(margin), phrase(from), say(price))
	}
	return phrase("%s: %s from a %s price of %s (%s).", phrase(words), say(margin), phrase(from), say(price),
		ShareText(share))
}

func jobListFigures(jobs []JobRow, accounts map[string]account, all ledger, names Names) []Figure {
	hours := make([]bar, 0, len(jobs))
	for _, j := range jobs {
		hours = append(hours, bar{jobLabel(j), accounts[j.Job].minutes})
	}
	return againstBudget("hours-by-job", "Hours by job", FormMinutes,
		joined(" ", phrase("%s: %s. %s.", counted(all.jobs, "1 job", "%s jobs"), compared(all.minutes, MinutesText),
			lostSentence(all, names)), mostOver(hours, MinutesText)), hours)
}

// lostSentence says how many jobs lost money.
func lostSentence(l ledger, names Names) Phrase {
	if l.priced == 0 {
		return phrase("No job has a price")
	}
	margin := MoneyText(l.marginE4, names.Currency)
	if l.lost == 0 {
		return phrase("Margin %s; no job lost money", margin)
	}
	return phrase("Margin %s; %d of %s with a price lost money", margin, l.lost, counted(l.priced, "1 job", "%s jobs"))
}

func taskFigures(all []taskWork, minutes sides, running bool, names Names) []Figure {
	var bars []bar
	for _, w := range all {
		if w.minutes != (sides{}) {
			bars = append(bars, bar{named(names.Tasks, w.task), w.minutes})
		}
	}
	return againstBudget("hours-by-task", "Hours by task", FormMinutes,
		joined(" ", phrase("Hours: %s.", reached(minutes, running, MinutesText)), mostOver(bars, MinutesText)), bars)
}

func consumableFigures(all []productUse, cost sides, names Names) []Figure {
	say := sayMoney(names)
	var bars []bar
	for _, u := range all {
		if u.cost != (sides{}) {
			bars = append(bars, bar{named(names.Products, u.product) + " (" + string(u.unit) + ")", u.cost})
		}
	}
	return againstBudget("cost-by-product", "Cost by product", FormMoney,
		joined(" ", phrase("Material: %s.", compared(cost, say)), mostOver(bars, say)), bars)
}

func jobTypeFigures(byType []*typeResult, all typeResult, names Names) []Figure {
	if len(byType) == 0 {
		return nil
	}
	margins := Figure{
		Name: "margin-by-job-type", Title: phrase("Margin by job type"), Form: FormShare, Shape: ShapeBars,
		Finding: marginFinding(byType, names), Series: []Series{{Name: "Margin as a share of price"}},
	}
	var hours []bar
	for _, r := range byType {
		name := named(names.JobTypes, r.jobType)
		share, ok := BasisPoints(r.marginE4, r.priceE4)
		margins.Categories = append(margins.Categories, name)
		margins.Series[0].Values = append(margins.Series[0].Values, share)
		margins.Series[0].Blank = append(margins.Series[0].Blank, !ok)
		hours = append(hours, bar{name, r.minutes})
	}
	return append([]Figure{margins}, againstBudget("hours-by-job-type", "Hours by job type", FormMinutes,
		joined(" ", phrase("Hours: %s.", compared(all.minutes, MinutesText)), mostOver(hours, MinutesText)), hours)...)
}

// marginFinding names the job types with the greatest and the least share of
// margin.
func marginFinding(byType []*typeResult, names Names) Phrase {
	type shared struct {
		name  string
		share int64
	}
	var known []shared
	for _, r := range byType {
		if share, ok := BasisPoints(r.marginE4, r.priceE4); ok {
			known = append(known, shared{named(names.JobTypes, r.jobType), share})
		}
	}
	if len(known) == 0 {
		return phrase("None of these jobs has a price, so there is no margin to compare.")
	}
	slices.SortStableFunc(known, func(a, b shared) int { return cmp.Compare(b.share, a.share) })
	best, last := known[0], known[len(known)-1]
	if len(known) == 1 {
		return phrase("%s left %s of the price.", best.name, ShareText(best.share))
	}
	return phrase("%s left most of the price, %s; %s least, %s.",
		best.name, ShareText(best.share), last.name, ShareText(last.share))
}
