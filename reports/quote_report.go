package reports

import (
	"daysheet/events"
)

// Report lays a quote out, with the alternatives beside it. The table named
// "customer" is what a customer sees: work and price, without cost.
func (q Quote) Report(f Filter, names Names, alternatives []Quote) Report {
	r := Report{Name: "quote", Title: phrase("Quote"), Filter: f, Names: names}
	r.Tables = []Table{q.totalsTable(), q.pricesTable(names), q.linesTable(names), q.usesTable(names),
		q.customerTable(names)}
	if len(alternatives) > 0 {
		r.Tables = append(r.Tables, q.whatIfTable(alternatives))
	}
	r.Figures = q.figures()
	r.Notes = q.notes()
	return r
}

func (q Quote) notes() []Phrase {
	book := phrase("no rate book")
	if q.Revision != "" {
		book = phrase("rate book %s", q.Revision)
	}
	return append([]Phrase{
		phrase("Priced from %s and %s. Openings are measured by the rule %s.", book,
			counted(int64(q.Jobs), "1 finished job", "%s finished jobs"), q.Rule)}, phrases(
		"Typical is taken by half of such jobs. The price is made from the expected minutes, which break even over many "+
			"jobs. "+
			"Safe is not overrun by four of five, or nine of ten: it is for the whole job, and less than the sum of safe lines.",
		"Consumables are costed at what is used; what has to be bought in whole packs stands beside it.",
	)...)
}

func (q Quote) totalsTable() Table {
	t := Table{
		Name: "totals", Title: "Hours of the whole job",
		Columns: []Column{
			{"typical_minutes", "Typical (P50)", FormMinutes}, {"expected_minutes", "Expected", FormMinutes},
			{"safe80_minutes", "Safe (P80)", FormMinutes}, {"safe90_minutes", "Safer (P90)", FormMinutes},
		},
		Empty: "Nothing is quoted.",
	}
	t.Rows = [][]Cell{{numberCell(q.Typical), numberCell(q.Expected), numberCell(q.Safe80), numberCell(q.Safe90)}}
	return t
}

func (q Quote) pricesTable(names Names) Table {
	t := Table{
		Name: "price", Title: "From cost to price",
		Columns: []Column{{"part", "Part", FormText}, {"amount_e4", "Amount", FormMoney},
			{"share_basis_points", "Share of net price", FormShare}},
		Empty: "Nothing is quoted.",
	}
	add := func(name Phrase, e4 int64) {
		t.Rows = append(t.Rows, []Cell{phraseCell(name), numberCell(e4), shareCell(e4, q.NetE4)})
	}
	add(phrase("Labour at expected hours"), q.LabourE4)
	add(phrase("Consumables"), q.MaterialE4)
	add(phrase("Overhead"), q.OverheadE4)
	add(phrase("Cost"), q.CostE4)
	if s := names.Settings; s != nil && s.Pricing != nil {
		add(phrase("Profit, %s %s", phrase(s.Pricing.Method), ShareText(s.Pricing.BasisPoints)), q.PriceE4-q.CostE4)
	}
	for _, a := range q.AddOns {
		kind := phrase("of the price")
		if a.AddOn.Compounded {
			kind = phrase("of the sum so far")
		}
		add(phrase("%s, %s %s", a.AddOn.Name, ShareText(a.AddOn.BasisPoints), kind), a.AmountE4)
	}
	add(phrase("Net price"), q.NetE4)
	if s := names.Settings; s != nil {
		add(phrase("Value added tax, %s", ShareText(s.VATBasisPoints)), q.VATE4)
	}
	add(phrase("To pay"), q.GrossE4)
	add(phrase("Net price at safe hours (P80)"), q.SafeNetE4)
	return t
}

func (q Quote) linesTable(names Names) Table {
	t := Table{
		Name: "lines", Title: "Work",
		Columns: []Column{
			{"task", "Task", FormName}, {"surface", "Surface", FormText}, {"method", "Method", FormText},
			{"location", "Where", FormText}, {"unit", "Unit", FormText}, {"quantity_milli", "Quantity", FormQuantity},
			{"how", "Measured", FormText}, {"book_minutes_per_unit_milli", "Book", FormRate},
			{"rate_minutes_per_unit_milli", "Rate", FormRate}, {"typical_minutes", "Typical", FormMinutes},
			{"expected_minutes", "Expected", FormMinutes}, {"safe80_minutes", "Safe (P80)", FormMinutes},
			{"labour_e4", "Labour", FormMoney},
		},
		Empty: "No work is taken off.",
	}
	blank := Cell{Blank: true}
	for _, l := range q.Lines {
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.Tasks, l.Task), textCell(l.Surface), textCell(l.Method), textCell(l.Location),
			textCell(string(l.Unit)), {Number: l.QuantityMilli, Unit: l.Unit}, phraseCell(l.how),
			{Number: l.BookMilli, Unit: l.Unit, Blank: l.BookMilli == 0}, {Number: l.RateMilli, Unit: l.Unit},
			numberCell(l.Typical), numberCell(l.Expected), numberCell(l.Safe80), numberCell(l.LabourE4),
		})
	}
	t.Total = []Cell{wordCell("All work"), {}, {}, {}, {}, blank, {}, blank, blank, numberCell(q.Typical),
		numberCell(q.Expected), numberCell(q.Safe80), numberCell(q.LabourE4)}
	return t
}

func (q Quote) usesTable(names Names) Table {
	t := Table{
		Name: "consumables", Title: "Consumables, waste included",
		Columns: []Column{
			{"product", "Product", FormName}, {"task", "For", FormName}, {"unit", "Unit", FormText},
			{"used_milli", "Used", FormQuantity}, {"cost_e4", "Cost of it", FormMoney}, {"packs_count", "Packs to buy",
				FormCount},
			{"bought_milli", "To buy", FormQuantity}, {"left_milli", "Left over", FormQuantity}, {"buy_e4", "To pay for",
				FormMoney},
		},
		Empty: "The rate book names no consumables for this work.",
	}
	for _, u := range q.Uses {
		amount := func(milli int64) Cell { return Cell{Number: milli, Unit: u.Unit} }
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.Products, u.Product), nameCell(names.Tasks, u.Task), textCell(string(u.Unit)), amount(u.UsedMilli),
			numberCell(u.CostE4), numberCell(u.Packs), amount(u.BoughtMilli), amount(u.LeftMilli), numberCell(u.BuyE4),
		})
	}
	return t
}

// customerTable is the quote as a customer reads it.
func (q Quote) customerTable(names Names) Table {
	t := Table{
		Name: "customer", Title: "For the customer",
		Columns: []Column{
			{"work", "Work", FormText}, {"location", "Where", FormText}, {"unit", "Unit", FormText},
			{"quantity_milli", "Quantity", FormQuantity}, {"price_e4", "Price", FormMoney},
		},
		Empty: "No work is taken off.",
	}
	for _, l := range q.Lines {
		t.Rows = append(t.Rows, []Cell{textCell(cell{l.Task, l.Surface, l.Method}.name(names)), textCell(l.Location),
			textCell(string(l.Unit)), {Number: l.QuantityMilli, Unit: l.Unit}, {Blank: true}})
	}
	line := func(name string, e4 int64) {
		t.Rows = append(t.Rows, []Cell{textCell(name), {}, {}, {Blank: true, Unit: events.Each}, numberCell(e4)})
	}
	line("Price, net of tax", q.NetE4)
	line("Value added tax", q.VATE4)
	line("To pay", q.GrossE4)
	return t
}

func (q Quote) whatIfTable(alternatives []Quote) Table {
	t := Table{
		Name: "what-if", Title: "What if",
		Columns: []Column{
			{"name", "Alternative", FormText}, {"expected_minutes", "Expected hours", FormMinutes},
			{"safe80_minutes", "Safe (P80)", FormMinutes}, {"cost_e4", "Cost", FormMoney}, {"net_e4", "Net price", FormMoney},
			{"difference_e4", "Difference in price", FormMoney},
			{"difference_basis_points", "As a share", FormShare},
		},
		Empty: "No alternative was asked for.",
	}
	add := func(name string, o Quote) {
		t.Rows = append(t.Rows, []Cell{textCell(name), numberCell(o.Expected), numberCell(o.Safe80), numberCell(o.CostE4),
			numberCell(o.NetE4), numberCell(o.NetE4 - q.NetE4), shareCell(o.NetE4-q.NetE4, q.NetE4)})
	}
	add("As quoted", q)
	for i, o := range alternatives {
		add(q.TakeOff.WhatIf[i].Name, o)
	}
	return t
}

func (q Quote) figures() []Figure {
	return []Figure{{
		Name: "hours", Title: phrase("Hours of the whole job"), Form: FormMinutes, Shape: ShapeBars,
		Finding: phrase("%s typical, %s expected; four of five such jobs stay below %s.", MinutesText(q.Typical),
			MinutesText(q.Expected), MinutesText(q.Safe80)),
		Categories: []string{"Typical", "Expected", "Safe (P80)", "Safer (P90)"},
		Series:     []Series{{Name: "Hours", Values: []int64{q.Typical, q.Expected, q.Safe80, q.Safe90}}},
	}}
}
