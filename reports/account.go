package reports

// sides is one measure on each side of the comparison.
type sides struct{ estimate, variation, actual int64 }

// add counts an amount on its side.
func (s *sides) add(side Side, n int64) {
	switch side {
	case SideEstimate:
		s.estimate += n
	case SideVariation:
		s.variation += n
	case SideActual:
		s.actual += n
	}
}

// budget is the estimate in force with the variations agreed since.
func (s sides) budget() int64 { return s.estimate + s.variation }

// difference is what the actual amount is above the budget.
func (s sides) difference() int64 { return s.actual - s.budget() }

func (s sides) plus(o sides) sides {
	return sides{s.estimate + o.estimate, s.variation + o.variation, s.actual + o.actual}
}

// account is what a job, or several, took and came to.
type account struct {
	minutes sides

	labour, material, damage, overhead, price sides // ten-thousandths of the currency unit

	offered, billed bool // there is a budget price, a charged price
}

// add counts the sum of facts of one side and kind.
func (a *account) add(side Side, kind Kind, t Total) {
	switch kind {
	case KindLabour:
		a.minutes.add(side, t.Minutes)
		a.labour.add(side, t.CostE4)
	case KindMaterial:
		a.material.add(side, t.CostE4)
	case KindDamage:
		a.damage.add(side, t.CostE4)
	case KindOverhead:
		a.overhead.add(side, t.CostE4)
	case KindPrice:
		a.price.add(side, t.CostE4)
		a.billed = a.billed || side == SideActual
		a.offered = a.offered || side != SideActual
	}
}

// direct is what the job itself cost the firm.
func (a account) direct() sides { return a.labour.plus(a.material).plus(a.damage) }

// cost is everything that the job cost the firm, with the overhead it bears.
func (a account) cost() sides { return a.direct().plus(a.overhead) }

// priceNow returns what the customer pays as far as is known: the price charged,
// else the budget price. from says which; ok is false where there is neither.
func (a account) priceNow() (e4 int64, from string, ok bool) {
	switch {
	case a.billed:
		return a.price.actual, priceBilled, true
	case a.offered:
		return a.price.budget(), priceBudget, true
	}
	return 0, priceNone, false
}

// The words for where a price comes from.
const (
	priceBilled = "billed"
	priceBudget = "budget"
	priceNone   = "no price"
)

// priceSides are the sides of the facts that priceNow adds up.
func (a account) priceSides() []Side {
	if a.billed {
		return []Side{SideActual}
	}
	return planned
}

// margin returns the price less the actual cost; ok is false without a price.
func (a account) margin() (e4 int64, ok bool) {
	price, _, ok := a.priceNow()
	return price - a.cost().actual, ok
}

// ledger adds up several accounts.
type ledger struct {
	jobs, priced, lost int64 // number of jobs, of those with a price, of those with a negative margin
	minutes            sides
	costE4             int64
	priceE4, marginE4  int64 // of the jobs with a price
}

func (l *ledger) add(a account) {
	l.jobs++
	l.minutes = l.minutes.plus(a.minutes)
	l.costE4 += a.cost().actual
	price, _, ok := a.priceNow()
	if !ok {
		return
	}
	margin, _ := a.margin()
	l.priced++
	l.priceE4 += price
	l.marginE4 += margin
	if margin < 0 {
		l.lost++
	}
}

// accountsByJob adds up sums that are grouped by job, side and kind.
func accountsByJob(sums []Total) map[string]account {
	accounts := map[string]account{}
	for _, t := range sums {
		a := accounts[t.By[0]]
		a.add(Side(t.By[1]), Kind(t.By[2]), t)
		accounts[t.By[0]] = a
	}
	return accounts
}
