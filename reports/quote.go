package reports

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/reports/measure"
	"daysheet/reports/rates"
)

// Quote is a priced take-off. Minutes and money are whole; what is typical is
// taken by half of the jobs, what is safe by four of five or nine of ten.
type Quote struct {
	TakeOff  TakeOff
	Rule     string // that openings were measured by
	Revision string // of the rate book that it was priced from; empty where there is none
	Jobs     int    // finished jobs that its rates rest on
	Lines    []QuoteLine
	Uses     []QuoteUse

	Typical, Expected, Safe80, Safe90 int64 // minutes of the whole job, never a sum of safe lines

	LabourE4, MaterialE4, OverheadE4, CostE4 int64 // at the expected minutes
	PriceE4                                  int64 // by the firm's pricing, without add-ons
	AddOns                                   []measure.Added
	NetE4, VATE4, GrossE4                    int64
	SafeNetE4                                int64 // the net price that four of five jobs of this kind do not overrun
}

// QuoteLine is one piece of work with what it will take.
type QuoteLine struct {
	measured
	Unit              events.Unit
	BookMilli         int64 // minutes for one unit by the book, thousandths; 0 where it has none
	RateMilli         int64 // minutes for one unit that is used: typical
	Typical, Expected int64 // minutes
	Safe80            int64
	LabourE4          int64
}

// QuoteUse is one consumable with what is used and what has to be bought for it.
type QuoteUse struct {
	Product string
	Task    string
	Unit    events.Unit
	measure.Take
	CostE4 int64 // of what is used
	BuyE4  int64 // of whole packs
}

// RatesQuestion asks for the history that a quote is priced from.
func RatesQuestion(f Filter) Question { return askRates(f) }

// NewQuote prices a take-off from the firm's history and rate book. It refuses
// what it cannot price, naming the line: a task that neither book nor history
// knows, a grade without a wage.
func NewQuote(f Filter, a Answer, t TakeOff) (Quote, error) { return newQuote(f, a, t, nil) }

func newQuote(f Filter, a Answer, t TakeOff, tried map[string]int64) (Quote, error) {
	l, err := learn(f, a, t.JobType != "", rates.Options{})
	if err != nil {
		return Quote{}, err
	}
	if l.fit == nil {
		if l, err = withoutHistory(f, a.Names); err != nil {
			return Quote{}, err
		}
	}
	l.tried = tried
	return l.quote(a.Names, t)
}

// withoutHistory quotes the book, with the spread of a firm without history.
func withoutHistory(f Filter, names Names) (learned, error) {
	day, err := rates.DayNumber(f.Today)
	if err != nil {
		return learned{}, err
	}
	l := learned{book: names.BookOn(f.Today)}
	l.fit, err = rates.FitLabour(nil, day, rates.Options{})
	return l, err
}

// quote prices one take-off.
func (l learned) quote(names Names, t TakeOff) (Quote, error) {
	q := Quote{TakeOff: t, Rule: ruleOf(t, names), Jobs: l.fit.Jobs}
	if l.book != nil {
		q.Revision = l.book.Revision
	}
	work, err := t.measure(q.Rule)
	if err != nil {
		return q, err
	}
	wage, ok := wageIn(names, t.Grade)
	if !ok {
		return q, events.Refuse("grade", t.Grade, "one of the grades in the firm's settings")
	}
	if err := l.price(&q, work, wage, names); err != nil {
		return q, err
	}
	q.finish(wage, names)
	return q, nil
}

func ruleOf(t TakeOff, names Names) string {
	switch {
	case t.MeasuredBy != "":
		return t.MeasuredBy
	case names.Settings != nil && names.Settings.MeasuredBy != "":
		return names.Settings.MeasuredBy
	}
	return events.MeasureNet
}

func wageIn(names Names, grade string) (e4 int64, ok bool) {
	if names.Settings == nil {
		return 0, false
	}
	i := slices.IndexFunc(names.Settings.Grades, func(g events.Grade) bool { return g.Grade == grade })
	if i < 0 {
		return 0, false
	}
	return names.Settings.Grades[i].CostPerHourE4, true
}

// minutes rounds a prediction to whole minutes.
func minutes(m float64) int64 { return int64(math.Round(min(m, float64(events.PlanMinutesMax)))) }

// price predicts each line and the whole, and takes off the consumables.
func (l learned) price(q *Quote, work []measured, wage int64, names Names) error {
	queries := make([]rates.Query, len(work))
	for i, w := range work {
		queries[i] = l.query(l.byTheHour(names.UnitOf(w.Task), rates.Query{Task: w.Task, Surface: w.Surface, Method: w.Method,
			JobType: q.TakeOff.JobType, QuantityMilli: w.QuantityMilli,
			BookMinutesMilli: l.bookMilli(cell{w.Task, w.Surface, w.Method})}))
		if _, err := l.fit.Predict(queries[i]); events.CodeOf(err) == events.Invalid {
			return l.unknown(w.TakeOffLine, err)
		}
	}
	total, err := l.fit.Total(queries)
	if err != nil {
		return err
	}
	for i, w := range work {
		p := total.Lines[i]
		line := QuoteLine{measured: w, Unit: names.UnitOf(w.Task), BookMilli: l.bookMilli(cell{w.Task, w.Surface, w.Method}),
			RateMilli: rates.MinutesMilli(p.PerUnit), Typical: minutes(p.Median), Expected: minutes(p.Expected),
			Safe80: minutes(p.P80)}
		if line.Unit == "" {
			return events.Refuse(fmt.Sprintf("lines[%d].task", i), w.Task, "a standard task, or one of the firm's own")
		}
		line.LabourE4 = labourCostE4(line.Expected, wage)
		q.Expected += line.Expected
		q.LabourE4 += line.LabourE4
		q.Lines = append(q.Lines, line)
		if err := l.consume(q, w, names); err != nil {
			return err
		}
	}
	q.Typical, q.Safe80, q.Safe90 = minutes(total.Median), minutes(total.P80), minutes(total.P90)
	return nil
}

// unknown says of work that neither book nor history knows on what the book knows it, where
// it does: a surface and a method may just be missing.
func (l learned) unknown(w TakeOffLine, err error) error {
	var known []string
	if l.book != nil {
		for _, r := range l.book.Rates {
			if r.Task == w.Task {
				parts := slices.DeleteFunc([]string{Spoken(r.Surface), Spoken(r.Method)}, func(p string) bool { return p == "" })
				known = append(known, strings.Join(parts, ", "))
			}
		}
	}
	if len(known) == 0 {
		return err
	}
	return events.Refuse("task", w.Task, "say surface and method: the book has it for %s", strings.Join(known, "; "))
}

// byTheHour gives work that is measured in hours, as set-up and travel are, its 60
// minutes for each where neither book nor history knows better: the estimator says
// how long it is planned to take.
func (l learned) byTheHour(unit events.Unit, q rates.Query) rates.Query {
	if unit != events.Hour || q.BookMinutesMilli != 0 {
		return q
	}
	if _, err := l.fit.Predict(q); events.CodeOf(err) == events.Invalid {
		q.BookMinutesMilli = 60_000
	}
	return q
}

// query returns the query for a line. Where a rate is tried for its task, the
// reference is moved so that just that rate comes out as the typical one, with
// the spread that history has.
func (l learned) query(q rates.Query) rates.Query {
	tried, ok := l.tried[q.Task]
	if !ok || q.QuantityMilli == 0 {
		return q
	}
	p, err := l.fit.Predict(q)
	if err != nil || p.Median <= 0 {
		q.BookMinutesMilli = tried // neither book nor history has one
		return q
	}
	wanted := float64(tried) * float64(q.QuantityMilli) / 1000 // thousandths of a minute for the line
	q.BookMinutesMilli = int64(math.Round(wanted / p.Median * p.Book / float64(q.QuantityMilli) * 1000))
	return q
}

// consume adds what the book says that a line uses, waste included.
func (l learned) consume(q *Quote, w measured, names Names) error {
	rate := rateIn(l.book, cell{w.Task, w.Surface, w.Method})
	if rate == nil {
		return nil
	}
	for _, use := range rate.Consumables {
		milli := MaterialCostE4(w.QuantityMilli, use.QuantityMilli, 1000)
		i := slices.IndexFunc(q.Uses, func(u QuoteUse) bool {
			return u.Product == use.Product && u.Unit == use.Unit && u.Task == w.Task
		})
		if i < 0 {
			q.Uses = append(q.Uses, QuoteUse{Product: use.Product, Task: w.Task, Unit: use.Unit})
			i = len(q.Uses) - 1
		}
		u := &q.Uses[i]
		product := names.Listed[use.Product]
		pack := int64(0)
		if product.Unit == use.Unit {
			pack = product.PackMilli
		}
		take, err := measure.TakeOff(min(u.NetMilli+milli, events.QuantityMilliMax), 0, pack)
		if err != nil {
			return err
		}
		u.Take = take
		if p := names.price(use.Product, use.Unit); p.PerMilli > 0 {
			u.CostE4 = MaterialCostE4(take.UsedMilli, p.CostE4, p.PerMilli)
			u.BuyE4 = MaterialCostE4(take.BoughtMilli, p.CostE4, p.PerMilli)
		}
	}
	return nil
}

// finish adds overhead, price and tax.
func (q *Quote) finish(wage int64, names Names) {
	for _, u := range q.Uses {
		q.MaterialE4 += u.CostE4
	}
	s := names.Settings
	if s.Overhead != nil {
		q.OverheadE4 = overheadE4(*s.Overhead, Fact{Kind: KindLabour, Minutes: q.Expected, CostE4: q.LabourE4}) +
			overheadE4(*s.Overhead, Fact{Kind: KindMaterial, CostE4: q.MaterialE4})
	}
	q.CostE4 = q.LabourE4 + q.MaterialE4 + q.OverheadE4
	q.PriceE4 = priced(q.CostE4, s.Pricing)
	q.NetE4 = q.PriceE4
	var addOns []events.AddOn
	if s.Pricing != nil {
		addOns = s.Pricing.AddOns
	}
	q.NetE4, q.AddOns = measure.AddOns(q.PriceE4, 1, addOns)
	q.VATE4 = measure.VATOn(q.NetE4, s.VATBasisPoints, 1)
	q.GrossE4 = q.NetE4 + q.VATE4
	// The safe price bears the safe minutes, with the overhead that goes with them.
	labour := labourCostE4(q.Safe80, wage)
	safe := labour + q.MaterialE4
	if s.Overhead != nil {
		safe += overheadE4(*s.Overhead, Fact{Kind: KindLabour, Minutes: q.Safe80, CostE4: labour}) +
			overheadE4(*s.Overhead, Fact{Kind: KindMaterial, CostE4: q.MaterialE4})
	}
	q.SafeNetE4, _ = measure.AddOns(priced(safe, s.Pricing), 1, addOns)
}

// priced makes a price of a cost in the firm's way; the cost itself where it set
// none.
func priced(costE4 int64, p *events.Pricing) int64 {
	switch {
	case p == nil:
		return costE4
	case p.Method == events.PricingMargin:
		return priceByMargin(costE4, p.BasisPoints)
	}
	return priceByMarkUp(costE4, p.BasisPoints)
}

// Estimate returns the quote as the estimate that is recorded when it is issued:
// lines at their expected minutes, what is used of each consumable, and the net
// price.
func (q Quote) Estimate(day events.Day) events.Estimate {
	e := events.Estimate{PriceE4: q.NetE4, RateBook: q.Revision, MeasuredBy: q.Rule, Day: day}
	for _, l := range q.Lines {
		e.Lines = append(e.Lines, events.EstimateLine{Task: l.Task, Surface: l.Surface, Method: l.Method,
			Location: l.Location, QuantityMilli: l.QuantityMilli, Unit: l.Unit, Minutes: l.Expected, Grade: q.TakeOff.Grade})
	}
	for _, u := range q.Uses {
		if u.UsedMilli > 0 {
			e.Materials = append(e.Materials, events.EstimateMaterial{Product: u.Product, Task: u.Task,
				QuantityMilli: u.UsedMilli, Unit: u.Unit})
		}
	}
	return e
}
