package reports

import (
	"cmp"
	"maps"
	"slices"

	"daysheet/events"
)

// amountCell is an amount of the shelf's product.
func (s *shelf) amountCell(milli int64) Cell { return Cell{Number: milli, Unit: s.unit} }

// sumOf is an amount that is the plain sum of facts of the shelf.
func (s *shelf) sumOf(milli int64, q Query) Cell {
	c := sumCell(milli, q.With(ByProduct, s.product).With(ByUnit, string(s.unit)))
	c.Unit = s.unit
	return c
}

func buyTable(f Filter, shelves []*shelf, names Names) Table {
	t := Table{
		Name: "stock", Title: "Stock, need and what to buy",
		Columns: []Column{
			{"product", "Product", FormName}, {"unit", "Unit", FormText}, {"stock_milli", "In stock", FormQuantity},
			{"average_e4", "Average cost of one unit", FormMoney}, {"value_e4", "Stock at average cost", FormMoney},
			{"planned_milli", "Planned by jobs under way", FormQuantity}, {"used_milli", "Used by them", FormQuantity},
			{"need_milli", "Still needed", FormQuantity}, {"pack_milli", "Pack", FormQuantity},
			{"buy_milli", "To buy", FormQuantity}, {"buy_e4", "At the last price", FormMoney},
		},
		Empty: "No material was bought, counted or used. Record purchases with what they cost, and where they went.",
	}
	needs := only(Query{Firm: f.Firm, AsOf: f.AsOf, States: underWay}, KindMaterial)
	var value, cost int64
	for _, s := range shelves {
		a := s.averaged()
		unit, ok := a.unitE4()
		pack := int64(0)
		if p, listed := names.Listed[s.product]; listed && p.Unit == s.unit {
			pack = p.PackMilli
		}
		buy := s.toBuy(pack)
		last, priced := s.lastPrice()
		e4 := ratio(last.costE4, buy, last.milli)
		value += a.valueE4
		cost += e4
		packCell := s.amountCell(pack)
		packCell.Blank = pack == 0
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.Products, s.product), textCell(string(s.unit)), s.amountCell(s.whole()), moneyCell(unit, ok),
			moneyCell(a.valueE4, ok), s.sumOf(s.budget, on(needs, planned...)), s.sumOf(s.used, on(needs, SideActual)),
			s.amountCell(s.need()), packCell, s.amountCell(buy), moneyCell(e4, priced),
		})
	}
	if len(t.Rows) > 0 {
		blank := Cell{Blank: true}
		t.Total = []Cell{wordCell("All products"), {}, blank, blank, numberCell(value), blank, blank, blank, blank, blank,
			numberCell(cost)}
	}
	return t
}

func placesTable(f Filter, shelves []*shelf, names Names) Table {
	t := Table{
		Name: "places", Title: "Stock by place",
		Columns: []Column{
			{"product", "Product", FormName}, {"unit", "Unit", FormText}, {"place", "Place", FormText},
			{"bought_milli", "Bought", FormQuantity}, {"moved_milli", "Moved here", FormQuantity},
			{"used_milli", "Used", FormQuantity}, {"counted", "Last count", FormDay}, {"stock_milli", "In stock", FormQuantity},
			{"remark", "Remark", FormText},
		},
		Empty: "No material was bought, counted or used.",
	}
	q := on(Query{Firm: f.Firm, AsOf: f.AsOf}, SideActual)
	for _, s := range shelves {
		for _, place := range slices.Sorted(maps.Keys(s.places)) {
			var bought, moved, used int64
			for _, m := range s.places[place] {
				switch m.kind {
				case KindPurchase:
					bought += m.milli
				case KindMove:
					moved += m.milli
				case KindMaterial:
					used += m.milli
				}
			}
			left, counted := onHand(s.places[place])
			remark := ""
			if left < 0 {
				remark = "more used than came here: a purchase, a move or a place is missing"
			}
			at := q.With(ByPlace, place)
			t.Rows = append(t.Rows, []Cell{
				nameCell(names.Products, s.product), textCell(string(s.unit)), placeCell(place),
				s.sumOf(bought, only(at, KindPurchase)), s.sumOf(moved, only(at, KindMove)),
				s.sumOf(used, only(at, KindMaterial)), dayCell(counted), s.amountCell(left), wordCell(remark),
			})
		}
	}
	return t
}

func pricesTable(f Filter, shelves []*shelf, names Names) Table {
	t := Table{
		Name: "prices", Title: "What products cost",
		Columns: []Column{
			{"product", "Product", FormName}, {"unit", "Unit", FormText}, {"bought_milli", "Bought", FormQuantity},
			{"cost_e4", "Paid", FormMoney}, {"first_day", "First bought", FormDay}, {"first_e4", "One unit then", FormMoney},
			{"last_day", "Last bought", FormDay}, {"last_e4", "One unit now", FormMoney},
			{"change_basis_points", "Change", FormShare}, {"listed_e4", "List price", FormMoney},
		},
		Empty: "Nothing was bought yet.",
	}
	q := on(only(Query{Firm: f.Firm, AsOf: f.AsOf}, KindPurchase), SideActual)
	for _, s := range shelves {
		var milli, cost int64
		var first movement
		for _, m := range s.all {
			if m.kind != KindPurchase || m.milli <= 0 {
				continue
			}
			if first.milli == 0 {
				first = m
			}
			milli += m.milli
			cost += m.costE4
		}
		last, ok := s.lastPrice()
		if !ok {
			continue
		}
		then, now := ratio(first.costE4, 1000, first.milli), ratio(last.costE4, 1000, last.milli)
		listed, known := names.Listed[s.product]
		t.Rows = append(t.Rows, []Cell{
			nameCell(names.Products, s.product), textCell(string(s.unit)), s.sumOf(milli, q),
			sumCell(cost, q.With(ByProduct, s.product).With(ByUnit, string(s.unit))), dayCell(first.day), numberCell(then),
			dayCell(last.day), numberCell(now), shareCell(now-then, then),
			moneyCell(listed.PriceE4, known && listed.Unit == s.unit),
		})
	}
	return t
}

// linesMost bounds the lines of a figure, so that they can be told apart.
const linesMost = 6

// priceFigures draws the prices of the products on which most was spent, as a
// share of what each cost at first.
func priceFigures(shelves []*shelf, names Names) []Figure {
	type course struct {
		shelf  *shelf
		spent  int64
		prices map[events.Day]int64 // by month, in hundredths of a per cent of the first
	}
	var courses []course
	months := map[events.Day]bool{}
	for _, s := range shelves {
		c := course{shelf: s, prices: map[events.Day]int64{}}
		var first movement
		for _, m := range s.all {
			if m.kind != KindPurchase || m.milli <= 0 || m.costE4 <= 0 {
				continue
			}
			if first.milli == 0 {
				first = m
			}
			c.spent += m.costE4
			c.prices[m.day.Month()] = ratios([]int64{m.costE4, first.milli, 10_000}, []int64{m.milli, first.costE4})
		}
		if len(c.prices) > 1 {
			courses = append(courses, c)
		}
	}
	slices.SortStableFunc(courses, func(a, b course) int { return cmp.Compare(b.spent, a.spent) })
	courses = courses[:min(len(courses), linesMost)]
	if len(courses) == 0 {
		return nil
	}
	for _, c := range courses {
		for month := range c.prices {
			months[month] = true
		}
	}
	f := Figure{Name: "price-trend", Title: phrase("Prices since the first purchase"), Form: FormShare, Shape: ShapeLine,
		Close: true}
	dearest, rise := "", int64(0)
	sorted := slices.Sorted(maps.Keys(months))
	for _, month := range sorted {
		f.Categories = append(f.Categories, string(month[:7]))
	}
	for _, c := range courses {
		line := Series{Name: named(names.Products, c.shelf.product)}
		last, known := int64(0), false
		for _, month := range sorted {
			if p, ok := c.prices[month]; ok {
				last, known = p, true
			}
			line.Values, line.Blank = append(line.Values, last), append(line.Blank, !known)
		}
		f.Series = append(f.Series, line)
		if last-10_000 > rise {
			dearest, rise = line.Name, last-10_000
		}
	}
	f.Finding = phrase("None of the products on which most was spent costs more than at first.")
	if dearest != "" {
		f.Finding = phrase("Of the products on which most was spent, %s rose most: %s since the first purchase.",
			dearest, ShareText(rise))
	}
	return []Figure{f}
}

// placeCell names a place.
func placeCell(place string) Cell {
	if place == "" {
		return wordCell("no place")
	}
	return textCell(place)
}
