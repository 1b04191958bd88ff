package reports

import (
	"cmp"
	"slices"
	"strings"

	"daysheet/events"
)

// The sums that the consumables ask for, in the order of the question.
const (
	materialSums  = iota // by product, unit and side
	materialMarks        // by mark
)

func askConsumables(f Filter) Question {
	return Question{
		Sums: []Query{
			grouped(only(scope(f), KindMaterial), ByProduct, ByUnit, BySide),
			markQuery(f),
		},
		Jobs: namedJob(f),
	}
}

// productUse is what was planned and used of one product in one unit.
type productUse struct {
	product        string
	unit           events.Unit
	quantity, cost sides
}

// uses adds material up by product and unit, in ascending order of both.
func uses(sums []Total) []productUse {
	type key struct{ product, unit string }
	found := map[key]*productUse{}
	for _, t := range sums {
		k := key{t.By[0], t.By[1]}
		if found[k] == nil {
			found[k] = &productUse{product: k.product, unit: events.Unit(k.unit)}
		}
		found[k].quantity.add(Side(t.By[2]), t.QuantityMilli)
		found[k].cost.add(Side(t.By[2]), t.CostE4)
	}
	all := make([]productUse, 0, len(found))
	for _, u := range found {
		all = append(all, *u)
	}
	slices.SortFunc(all, func(a, b productUse) int {
		return cmp.Or(cmp.Compare(a.product, b.product), cmp.Compare(a.unit, b.unit))
	})
	return all
}

// byShownName puts products in the order of the names that readers see, whatever
// their keys: capital and small letters alike.
func byShownName(all []productUse, names Names) []productUse {
	shown := func(u productUse) string { return strings.ToLower(nameCell(names.Products, u.product).Text) }
	slices.SortStableFunc(all, func(a, b productUse) int { return cmp.Compare(shown(a), shown(b)) })
	return all
}

// remark says in words what the numbers of the product do not.
func (u productUse) remark() string {
	switch {
	case u.quantity.actual < 0:
		return "more returned than recorded as used"
	case u.quantity.actual != 0 && u.cost.actual == 0, u.quantity.budget() != 0 && u.cost.budget() == 0:
		return "counted at no cost"
	case u.quantity.actual == 0 && u.quantity.budget() == 0:
		return "all of it returned"
	case u.quantity.actual == 0:
		return "planned, none used"
	case u.quantity.budget() == 0:
		return "used, not planned"
	}
	return ""
}

func makeConsumables(f Filter, a Answer) Report {
	jobs := a.jobs()
	r := Report{Name: "consumables", Title: phrase("Consumables"), Filter: f, Names: a.Names}
	if f.Job != "" && len(jobs) > 0 {
		r.Title = phrase("%s: %s", r.Title, jobCell(jobs[0]).Text)
	}
	all := byShownName(uses(a.answered(materialSums)), a.Names)
	t := consumablesTable()
	var cost sides
	for _, u := range all {
		cost = cost.plus(u.cost)
		t.Rows = append(t.Rows, productRow(scope(f), u, a.Names))
	}
	if len(t.Rows) > 0 {
		blank := Cell{Blank: true}
		t.Total = slices.Concat([]Cell{wordCell("All products"), {}, blank, blank, blank},
			budgetCells(cost, only(scope(f), KindMaterial)), []Cell{{}})
	}
	r.Tables = []Table{t}
	r.Figures = consumableFigures(all, cost, a.Names)
	r.Notes = slices.Concat(scopeNotes(f, jobs), phrases(noteDifference, noteReturns),
		unpricedNotes(a.answered(materialMarks)))
	return r
}

func consumablesTable() Table {
	return Table{
		Name: "consumables", Title: "Consumables",
		Columns: []Column{
			{"product", "Product", FormName}, {"unit", "Unit", FormText},
			{"budget_quantity_milli", "Budget quantity", FormQuantity},
			{"used_quantity_milli", "Used quantity", FormQuantity},
			{"difference_quantity_milli", "Difference", FormQuantity},
			{"budget_cost_e4", "Budget cost", FormMoney}, {"used_cost_e4", "Used cost", FormMoney},
			{"difference_cost_e4", "Difference in cost", FormMoney},
			{"difference_cost_basis_points", "Difference as a share of budget", FormShare},
			{"remark", "Remark", FormText},
		},
		Empty: "No material is planned or used here. Put consumables into the estimate and record them when they are " +
			"used: paint with its coat, covering with its protection, the rest as material used.",
	}
}

// productRow shows one product; q lets through the facts of the report's jobs.
func productRow(q Query, u productUse, names Names) []Cell {
	q = only(q, KindMaterial).With(ByProduct, u.product).With(ByUnit, string(u.unit))
	quantity := budgetCells(u.quantity, q)[:3] // budget, used, difference
	for i := range quantity {
		quantity[i].Unit = u.unit
	}
	return slices.Concat(
		[]Cell{nameCell(names.Products, u.product), textCell(string(u.unit))},
		quantity, budgetCells(u.cost, q), []Cell{wordCell(u.remark())},
	)
}
