package reporting

import (
	"cmp"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// words says what was recorded in the words of the trade, with the firm's names
// and numbers.
type words struct {
	format
	names reports.Names
}

func newWords(names reports.Names) words { return words{newFormat(names), names} }

func named(names map[string]string, key string) string {
	if name := names[key]; name != "" {
		return name
	}
	return key
}

func (w words) task(key string) string    { return named(w.names.Tasks, key) }
func (w words) product(key string) string { return named(w.names.Products, key) }
func (w words) person(key string) string  { return named(w.names.People, key) }
func (w words) jobType(key string) string { return named(w.names.JobTypes, key) }

func (w words) sum(e4 int64) string { return withUnit(w.money(e4), w.currency) }

// list joins what was given, leaving out what was not.
func list(parts ...string) string {
	given := parts[:0:0]
	for _, p := range parts {
		if p != "" {
			given = append(given, p)
		}
	}
	return strings.Join(given, ", ")
}

// given writes a word before a value, and nothing where there is no value.
func given(before, value string) string {
	if value == "" {
		return ""
	}
	return before + value
}

// says returns one sentence about a record.
func (w words) says(h *history, r *record) string {
	switch p := r.payload.(type) {
	case *events.Opening, *events.Estimate, *events.Acceptance, *events.Variation, *events.SignOff, *events.Closing,
		*events.Reopening:
		return w.office(p)
	case *events.Settings, *events.Product, *events.Purchase, *events.Move, *events.Count, *events.RateBook,
		*events.RateRejection:
		return w.firm(p)
	case *events.Damage, *events.MakingGood, *events.Snag, *events.SnagClearance, *events.Condition:
		return w.quality(h, p)
	case *events.Photo:
		return "Photo attached" + given(": ", p.Caption)
	case *events.Void:
		return w.void(h, p)
	}
	return w.site(h, r.payload)
}

func (w words) office(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Opening:
		return list("Job opened: "+p.Title, w.jobType(p.JobType), given("due ", w.day(p.Due)))
	case *events.Estimate:
		return list("Estimate issued: "+w.hours(minutesOf(p.Lines))+"\u00a0h", "price "+w.sum(p.PriceE4), p.Note)
	case *events.Acceptance:
		return "Estimate accepted" + given(": ", p.Note)
	case *events.Variation:
		return list("Variation agreed: "+p.Reason, w.planned(p.Lines), "price "+w.signed(p.PriceE4))
	case *events.SignOff:
		return list("Signed off by the "+p.Role, p.Remarks)
	case *events.Closing:
		return "Job closed, billed " + w.sum(p.BilledE4)
	case *events.Reopening:
		return "Job reopened: " + p.Reason
	}
	return ""
}

// signed writes a change of money with its sign.
func (w words) signed(e4 int64) string {
	if e4 > 0 {
		return "+" + w.sum(e4)
	}
	return w.sum(e4)
}

func minutesOf(lines []events.EstimateLine) int64 {
	var minutes int64
	for _, l := range lines {
		minutes += l.Minutes
	}
	return minutes
}

func (w words) planned(lines []events.EstimateLine) string {
	if len(lines) == 0 {
		return ""
	}
	return w.hours(minutesOf(lines)) + "\u00a0h"
}

func (w words) firm(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Settings:
		return "Settings changed"
	case *events.Product:
		return list("Product listed: "+p.Name, w.sum(p.PriceE4)+" for "+w.quantity(1000, p.Unit))
	case *events.Purchase:
		return list("Bought: "+w.product(p.Product), w.quantity(p.QuantityMilli, p.Unit), w.sum(p.CostE4),
			given("from ", p.Supplier))
	case *events.Move:
		return list("Moved: "+w.product(p.Product), w.quantity(p.QuantityMilli, p.Unit), "from "+p.From, "to "+p.To)
	case *events.Count:
		return list("Counted: "+w.product(p.Product), w.quantity(p.QuantityMilli, p.Unit), given("at ", p.Place))
	case *events.RateBook:
		return list("Rate book revised: "+p.Revision, "from "+w.day(p.EffectiveFrom), p.Reason)
	case *events.RateRejection:
		return list("Proposed rate not taken: "+w.task(p.Task), p.Surface, p.Method, p.Reason)
	}
	return ""
}

func (w words) quality(h *history, payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Condition:
		before := "Condition before the work: "
		if p.Damaged {
			before = "Damaged before the work: "
		}
		return before + list(p.Location, p.Item, p.Finding)
	case *events.Damage:
		return list("Damage found: "+p.Item, p.Location, p.Finding, causes(p.Cause))
	case *events.MakingGood:
		return list("Damage made good"+given(": ", h.about(p.Damage)), p.Work)
	case *events.Snag:
		return list("Snag raised by the "+p.RaisedBy+": "+p.Finding, p.Location)
	case *events.SnagClearance:
		return list("Snag cleared"+given(": ", h.about(p.Snag)), p.Work)
	}
	return ""
}

func causes(cause string) string {
	switch cause {
	case "ours":
		return "caused by the firm"
	case "others":
		return "caused by others"
	case "before":
		return "there before the work"
	}
	return "cause not known"
}

// about names a snag or damage that a later record refers to.
func (h *history) about(id string) string {
	r := h.byID[id]
	if r == nil {
		return ""
	}
	switch p := r.payload.(type) {
	case *events.Damage:
		return list(p.Item, p.Location)
	case *events.Snag:
		return list(p.Finding, p.Location)
	}
	return ""
}

func (w words) site(h *history, payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Hours:
		return list(w.person(p.Person)+": "+w.hours(p.Minutes)+"\u00a0h", w.task(p.Task), p.Surface, p.Method, p.Location)
	case *events.Protection:
		return list("Laid: "+w.task(p.Task), w.quantity(p.QuantityMilli, p.Unit), p.Surface, p.Location,
			w.consumed(p.Product, p.ProductQuantityMilli, p.ProductUnit), given("remove by ", w.day(p.RemoveBy)))
	case *events.ProtectionCheck:
		state := "Protection checked, sound: "
		if !p.Sound {
			state = "Protection checked, not sound: "
		}
		return list(state+p.Finding, w.laid(h, p.Laid))
	case *events.Lifting:
		amount := "all of it"
		if laid := h.byID[p.Laid]; p.QuantityMilli > 0 && laid != nil {
			if protection, ok := laid.payload.(*events.Protection); ok {
				amount = w.quantity(p.QuantityMilli, protection.Unit)
			}
		}
		return list("Lifted: "+w.laid(h, p.Laid), amount)
	case *events.Preparation:
		return list(w.task(p.Task)+": "+w.quantity(p.QuantityMilli, p.Unit), p.Surface, p.Method, p.Location)
	case *events.Coat:
		return list(w.task(p.Task)+", coat "+strconv.FormatInt(p.Coat, 10)+": "+w.quantity(p.QuantityMilli, p.Unit),
			p.Surface, p.Method, p.Location, w.consumed(p.Product, p.VolumeMilli, events.Litre), given("batch ", p.Batch))
	case *events.Usage:
		return list("Used: "+w.product(p.Product), w.quantity(p.QuantityMilli, p.Unit), w.task(p.Task))
	case *events.Return:
		return list("Returned: "+w.product(p.Product), w.quantity(p.QuantityMilli, p.Unit), w.task(p.Task))
	}
	return ""
}

func (w words) consumed(product string, milli int64, unit events.Unit) string {
	switch {
	case product == "":
		return ""
	case milli == 0:
		return w.product(product)
	}
	return w.quantity(milli, unit) + " of " + w.product(product)
}

func (w words) laid(h *history, id string) string {
	if r := h.byID[id]; r != nil {
		if p, ok := r.payload.(*events.Protection); ok {
			return list(w.task(p.Task), p.Location)
		}
	}
	return ""
}

// void says what was taken back, and why.
func (w words) void(h *history, p *events.Void) string {
	target := h.byID[p.Event]
	if target == nil {
		return "Taken back: " + p.Reason
	}
	return "Taken back, because " + p.Reason + " – " + w.says(h, target)
}

// plainKey turns a fixed key into words: signed-off is "Signed off".
func plainKey(key string) string {
	if key == "" {
		return ""
	}
	return strings.ToUpper(key[:1]) + strings.NewReplacer("-", " ", "_", " ").Replace(key[1:])
}

// value writes one value of a dimension as a reader knows it.
func (w words) value(d reports.Dimension, v string) string {
	switch d {
	case reports.ByJobType:
		v = w.jobType(v)
	case reports.BySide, reports.ByKind, reports.ByFamily:
		v = plainKey(v)
	case reports.ByTask:
		v = w.task(v)
	case reports.ByProduct:
		v = w.product(v)
	case reports.ByPerson:
		v = w.person(v)
	case reports.ByUnit:
		v = cmp.Or(unitSign(events.Unit(v)), v)
	case reports.ByDay, reports.ByMonth:
		v = w.day(events.Day(v))
	}
	return cmp.Or(v, "not given")
}
