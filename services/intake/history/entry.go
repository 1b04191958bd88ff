package history

import (
	"strconv"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/typed"
)

// wholeCrew is the person of day sheet rows that name none: the crew as a whole.
const wholeCrew = "crew"

// crewMinutesMax bounds one row of the crew; a whole job fits.
const crewMinutesMax = 1_000 * 60

// read parses the cells of a row and checks what its kind needs. Every error of
// the row is noted, so that a sheet can be mended in one go.
func (r *reader) read(raw row, j *job) entry {
	e := entry{job: j.key, note: raw.cells[colNote]}
	if raw.more != "" {
		r.refuseNamed(raw.line, "", raw.more, "more cells than the header has: is a number with a comma not in quotes?")
	}
	if text := raw.cells[colDate]; text == "" {
		r.refuse(raw.line, colDate, "", "give it on the first row of a job")
	} else if day, rule := typed.Day(text, r.opts.MonthFirst); rule != "" {
		r.refuse(raw.line, colDate, text, rule)
	} else {
		e.day = day
	}
	var ok bool
	if e.kind, ok = kindWords[typed.Squeeze(raw.cells[colKind])]; !ok {
		r.refuse(raw.line, colKind, raw.cells[colKind], kindRule)
		return e
	}
	for c := range columnCount {
		if raw.cells[c] != "" && !e.kind.uses(c) {
			r.refuse(raw.line, c, raw.cells[c], "not used on a row of kind "+string(e.kind)+": leave it empty")
		}
	}
	r.readWork(raw, &e)
	r.readAmounts(raw, &e)
	if !r.bad[raw.line] {
		r.needs(raw, &e)
	}
	return e
}

// readWork reads what was done, where, how and by whom.
func (r *reader) readWork(raw row, e *entry) {
	if text := raw.cells[colTask]; text != "" {
		t, ok := typed.Task(text, r.opts.ownTasks())
		if !ok {
			r.refuse(raw.line, colTask, text, "a standard task or one of the firm's settings, for example protect floor")
		}
		e.task, e.family, e.unit = t.Task, t.Family, t.Unit
	}
	for _, k := range []struct {
		column column
		into   *string
	}{
		{colSurface, &e.surface}, {colMethod, &e.method}, {colPerson, &e.person}, {colGrade, &e.grade},
		{colProduct, &e.product},
	} {
		text := raw.cells[k.column]
		if text == "" {
			continue
		}
		if *k.into = typed.Key(text); !events.ValidToken(*k.into) {
			r.refuse(raw.line, k.column, text, "at least one letter or digit, and at most 64")
		}
	}
	e.location, e.productName = raw.cells[colLocation], raw.cells[colProduct]
	if text := raw.cells[colCoat]; text != "" {
		n, rule := typed.Number(text, 0, "")
		if rule != "" || n < 1 || n > 20 {
			r.refuse(raw.line, colCoat, text, "a whole number from 1 to 20")
		}
		e.coat = n
	}
}

// readAmounts reads quantity, unit, hours and money.
func (r *reader) readAmounts(raw row, e *entry) {
	number := func(c column, into *int64, parse func(string, typed.Decimal) (int64, string)) {
		if text := raw.cells[c]; text != "" {
			n, rule := parse(text, r.opts.Decimal)
			if rule != "" {
				r.refuse(raw.line, c, text, rule)
			}
			*into = n
		}
	}
	number(colQuantity, &e.milli, typed.Quantity)
	number(colHours, &e.minutes, func(text string, _ typed.Decimal) (int64, string) { return typed.Hours(text) })
	number(colUnitPrice, &e.unitPriceE4, typed.Money)
	number(colCost, &e.costE4, typed.Money)
	number(colPrice, &e.priceE4, typed.Money)
	if e.milli < 0 && e.kind != kindMaterial {
		r.refuse(raw.line, colQuantity, raw.cells[colQuantity], "not negative, except for material that came back")
	}
	r.readUnit(raw, e)
}

// readUnit reads the unit and compares it with that of the task or product.
func (r *reader) readUnit(raw row, e *entry) {
	text := raw.cells[colUnit]
	usual := e.unit // of the task
	counts := e.kind == kindMaterial || e.kind != kindDaySheet && e.product != ""
	if counts {
		usual = r.units[e.product].unit
	}
	e.unit = usual
	if text == "" {
		return
	}
	u, ok := typed.Unit(text)
	if !ok {
		r.refuse(raw.line, colUnit, text, "use one of m2, m, each, hour, l, kg, roll, sheet, pack")
		return
	}
	e.unit = u
	switch {
	case usual == "" || usual == u || e.milli == 0:
	case !counts:
		r.refuse(raw.line, colUnit, text, "the task "+e.task+" is counted in "+string(usual))
	case r.units[e.product].line > 0:
		r.refuse(raw.line, colUnit, text, "the product "+e.product+" is counted in "+string(usual)+
			" on line "+strconv.Itoa(r.units[e.product].line))
	default:
		r.refuse(raw.line, colUnit, text, "the product "+e.product+" is counted in "+string(usual))
	}
}

// needs checks that the row has what its kind cannot do without.
func (r *reader) needs(raw row, e *entry) {
	missing := func(c column, rule string) { r.refuse(raw.line, c, raw.cells[c], rule) }
	planned := e.kind == kindEstimate || e.kind == kindVariation
	switch {
	case e.kind == kindMaterial && e.product == "":
		missing(colProduct, "a material row says which product was used")
	case e.kind == kindMaterial && e.milli == 0, planned && e.product != "" && e.milli == 0:
		missing(colQuantity, "a row with material says how much")
	case (e.kind == kindMaterial || planned && e.product != "") && e.unit == "":
		missing(colUnit, "give the unit of a product where it is met first")
	case planned && e.product != "" && e.minutes > 0:
		missing(colHours, "hours and material stand on rows of their own")
	case planned && e.product != "" && e.surface+e.method+e.grade != "":
		missing(colProduct, "a row with material has no surface, method or grade")
	case planned && e.product == "" && e.unitPriceE4 != 0:
		missing(colUnitPrice, "a unit price is that of a product")
	case planned && e.task == "" && e.product == "" && e.priceE4 == 0:
		missing(colTask, "a row of kind "+string(e.kind)+" has a task, a product or a price")
	case planned && e.task != "" && e.product == "" && e.milli == 0 && e.minutes == 0 && e.priceE4 == 0:
		missing(colHours, "planned work has hours, a quantity or a price")
	case planned && e.task == "" && e.product == "" && (e.milli != 0 || e.minutes != 0):
		missing(colTask, "say which task the hours or the quantity are for")
	case e.kind == kindDaySheet && e.task == "":
		missing(colTask, "a day sheet row says which task was done")
	case e.kind == kindDaySheet && e.milli == 0 && e.minutes == 0:
		missing(colHours, "a day sheet row has hours, a quantity or both")
	case e.kind == kindDaySheet && e.person != "" && e.minutes > events.MinutesMax:
		missing(colHours, "at most 24 hours of one person on a day; leave the person blank for the crew")
	case e.kind == kindDaySheet && e.minutes > crewMinutesMax:
		missing(colHours, "at most 1000 hours on one row")
	case e.kind == kindDaySheet && e.product != "" && !takesProduct(e.family):
		missing(colProduct, "put material for this task on a row of kind material")
	case e.kind == kindBilled && e.priceE4 == 0:
		missing(colPrice, "say what was charged")
	default:
		r.settle(raw.line, e)
	}
}

// takesProduct reports whether a quantity of a task of this family names the
// product it was done with.
func takesProduct(f events.Family) bool {
	return f == events.FamilyProtection || f == events.FamilyMasking || f == events.FamilyCoating
}

// settle fills in what follows from the rest, and remembers a product's unit.
func (r *reader) settle(line int, e *entry) {
	if e.milli == 0 {
		e.unit = ""
	}
	if e.kind == kindDaySheet && e.minutes > 0 && e.person == "" {
		e.person = wholeCrew
	}
	if e.kind == kindMaterial || e.kind != kindDaySheet && e.product != "" {
		if _, met := r.units[e.product]; !met {
			r.units[e.product] = unitSeen{e.unit, line}
		}
		if e.costE4 == 0 {
			e.costE4 = reports.MaterialCostE4(max(e.milli, -e.milli), e.unitPriceE4, 1000)
		} else if e.unitPriceE4 == 0 {
			e.unitPriceE4 = reports.MaterialCostE4(1000, e.costE4, max(e.milli, -e.milli))
		}
	}
}
