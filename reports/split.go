package reports

// Amounts is what was planned, or what was done, of one line: a quantity of work
// in thousandths, the input it takes (minutes of labour, or thousandths of a
// product's unit), and what the input cost in ten-thousandths.
type Amounts struct{ Quantity, Input, CostE4 int64 }

// Split says why a line cost more than was planned, below zero why it cost less.
// The parts add up to the whole exactly. The method is the variance analysis of
// standard costing:
//
//	quantity   = planned cost x (Qa-Qb)/Qb     more or less work than planned
//	price      = Ca - Ia x Cb/Ib               dearer or cheaper hours or material
//	efficiency = the rest                      more or less input for the work done
//
// Quantity and price are rounded to the nearest ten-thousandth; efficiency takes
// the rest, so that nothing is lost between the parts.
type Split struct {
	QuantityE4, EfficiencyE4, PriceE4 int64
	// Unmeasured is true where one of the sides has no quantity, so that more work
	// cannot be told from slower work: the difference is then efficiency.
	Unmeasured bool
}

func (s Split) plus(o Split) Split {
	return Split{s.QuantityE4 + o.QuantityE4, s.EfficiencyE4 + o.EfficiencyE4, s.PriceE4 + o.PriceE4,
		s.Unmeasured || o.Unmeasured}
}

// SplitOf splits the difference between a plan and what was done. Work that was
// never planned, and planned work of which nothing was done, is all quantity.
func SplitOf(plan, done Amounts) Split {
	s := Split{}
	whole := done.CostE4 - plan.CostE4
	switch {
	case plan.Input == 0 && plan.CostE4 == 0 && plan.Quantity == 0,
		done.Input == 0 && done.CostE4 == 0 && done.Quantity == 0:
		s.QuantityE4 = whole
		return s
	}
	if plan.Quantity > 0 && done.Quantity > 0 {
		s.QuantityE4 = ratio(plan.CostE4, done.Quantity-plan.Quantity, plan.Quantity)
	} else {
		s.Unmeasured = true
	}
	if plan.Input > 0 && done.Input > 0 {
		s.PriceE4 = done.CostE4 - ratio(plan.CostE4, done.Input, plan.Input)
	}
	s.EfficiencyE4 = whole - s.QuantityE4 - s.PriceE4
	return s
}
