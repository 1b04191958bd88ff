package wording

import (
	"cmp"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
)

// Words says what was recorded in the words of the trade, with the firm's names
// and numbers.
type Words struct {
	Format
	Names reports.Names
}

// NewWords returns the words of a firm.
func NewWords(names reports.Names) Words { return Words{NewFormat(names), names} }

// Named returns the name that a key has; the key where it has none.
func Named(names map[string]string, key string) string {
	if name := names[key]; name != "" {
		return name
	}
	return key
}

// Task names a task.
func (w Words) Task(key string) string { return Named(w.Names.Tasks, key) }

// Product names a product.
func (w Words) Product(key string) string { return Named(w.Names.Products, key) }

// Person names a person.
func (w Words) Person(key string) string { return Named(w.Names.People, key) }

// JobType names a job type.
func (w Words) JobType(key string) string { return Named(w.Names.JobTypes, key) }

// Sum writes money with its currency.
func (w Words) Sum(e4 int64) string { return WithUnit(w.Money(e4), w.Currency) }

// List joins what was given, leaving out what was not.
func List(parts ...string) string {
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

// Says returns one sentence about a record.
func (w Words) Says(h *History, r *Record) string {
	switch p := r.Payload.(type) {
	case *events.Opening, *events.Estimate, *events.Acceptance, *events.Variation, *events.SignOff, *events.Closing,
		*events.Reopening:
		return w.office(p)
	case *events.Settings, *events.Product, *events.Purchase, *events.Move, *events.Count, *events.RateBook,
		*events.RateRejection, *events.CustomerRecord, *events.CustomerErasure:
		return w.firm(p)
	case *events.Damage, *events.MakingGood, *events.Snag, *events.SnagClearance, *events.Condition:
		return w.quality(h, p)
	case *events.Photo:
		return "Photo attached" + given(": ", p.Caption)
	case *events.Note:
		return w.note(h, p)
	case *events.Void:
		return w.void(h, p)
	}
	return w.site(h, r.Payload)
}

func (w Words) office(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Opening:
		return List("Job opened: "+p.Title, w.JobType(p.JobType), given("due ", w.Day(p.Due)))
	case *events.Estimate:
		return List("Estimate issued: "+w.Hours(minutesOf(p.Lines))+"\u00a0h", "price "+w.Sum(p.PriceE4), p.Note)
	case *events.Acceptance:
		return "Estimate accepted" + given(": ", p.Note)
	case *events.Variation:
		return List("Variation agreed: "+p.Reason, w.planned(p.Lines), "price "+w.Signed(p.PriceE4))
	case *events.SignOff:
		return List("Signed off by the "+p.Role, p.Remarks)
	case *events.Closing:
		return "Job closed, billed " + w.Sum(p.BilledE4)
	case *events.Reopening:
		return "Job reopened: " + p.Reason
	}
	return ""
}

// Signed writes a change of money with its sign.
func (w Words) Signed(e4 int64) string {
	if e4 > 0 {
		return "+" + w.Sum(e4)
	}
	return w.Sum(e4)
}

func minutesOf(lines []events.EstimateLine) int64 {
	var minutes int64
	for _, l := range lines {
		minutes += l.Minutes
	}
	return minutes
}

func (w Words) planned(lines []events.EstimateLine) string {
	if len(lines) == 0 {
		return ""
	}
	return w.Hours(minutesOf(lines)) + "\u00a0h"
}

func (w Words) firm(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Settings:
		return "Settings changed"
	case *events.Product:
		return List("Product listed: "+p.Name, w.Sum(p.PriceE4)+" for "+w.Quantity(1000, p.Unit))
	case *events.Purchase:
		return List("Bought: "+w.Product(p.Product), w.Quantity(p.QuantityMilli, p.Unit), w.Sum(p.CostE4),
			given("from ", p.Supplier))
	case *events.Move:
		return List("Moved: "+w.Product(p.Product), w.Quantity(p.QuantityMilli, p.Unit), "from "+p.From, "to "+p.To)
	case *events.Count:
		return List("Counted: "+w.Product(p.Product), w.Quantity(p.QuantityMilli, p.Unit), given("at ", p.Place))
	case *events.RateBook:
		return List("Rate book revised: "+p.Revision, "from "+w.Day(p.EffectiveFrom), p.Reason)
	case *events.RateRejection:
		return List("Proposed rate not taken: "+w.Task(p.Task), p.Surface, p.Method, p.Reason)
	case *events.CustomerRecord:
		return "Customer recorded: " + p.Customer
	case *events.CustomerErasure:
		return List("Customer erased: "+p.Customer, p.Reason)
	}
	return ""
}

func (w Words) quality(h *History, payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Condition:
		before := "Condition before the work: "
		if p.Damaged {
			before = "Damaged before the work: "
		}
		return before + List(p.Location, p.Item, p.Finding)
	case *events.Damage:
		return List("Damage found: "+p.Item, p.Location, p.Finding, causes(p.Cause))
	case *events.MakingGood:
		return List("Damage made good"+given(": ", h.about(p.Damage)), p.Work)
	case *events.Snag:
		return List("Snag raised by the "+p.RaisedBy+": "+p.Finding, p.Location)
	case *events.SnagClearance:
		return List("Snag cleared"+given(": ", h.about(p.Snag)), p.Work)
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
func (h *History) about(id string) string {
	r := h.ByID[id]
	if r == nil {
		return ""
	}
	switch p := r.Payload.(type) {
	case *events.Damage:
		return List(p.Item, p.Location)
	case *events.Snag:
		return List(p.Finding, p.Location)
	}
	return ""
}

func (w Words) site(h *History, payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Hours:
		return List(w.Person(p.Person)+": "+w.Hours(p.Minutes)+"\u00a0h", w.Task(p.Task), p.Surface, p.Method, p.Location)
	case *events.Protection:
		return List("Laid: "+w.Task(p.Task), w.Quantity(p.QuantityMilli, p.Unit), p.Surface, p.Location,
			w.consumed(p.Product, p.ProductQuantityMilli, p.ProductUnit), given("remove by ", w.Day(p.RemoveBy)))
	case *events.ProtectionCheck:
		state := "Protection checked, sound: "
		if !p.Sound {
			state = "Protection checked, not sound: "
		}
		return List(state+p.Finding, w.laid(h, p.Laid))
	case *events.Lifting:
		amount := "all of it"
		if laid := h.ByID[p.Laid]; p.QuantityMilli > 0 && laid != nil {
			if protection, ok := laid.Payload.(*events.Protection); ok {
				amount = w.Quantity(p.QuantityMilli, protection.Unit)
			}
		}
		return List("Lifted: "+w.laid(h, p.Laid), amount)
	case *events.Preparation:
		return List(w.Task(p.Task)+": "+w.Quantity(p.QuantityMilli, p.Unit), p.Surface, p.Method, p.Location)
	case *events.Coat:
		return List(w.Task(p.Task)+", coat "+strconv.FormatInt(p.Coat, 10)+": "+w.Quantity(p.QuantityMilli, p.Unit),
			p.Surface, p.Method, p.Location, w.consumed(p.Product, p.VolumeMilli, events.Litre), given("batch ", p.Batch))
	case *events.Usage:
		return List("Used: "+w.Product(p.Product), w.Quantity(p.QuantityMilli, p.Unit), w.Task(p.Task))
	case *events.Return:
		return List("Returned: "+w.Product(p.Product), w.Quantity(p.QuantityMilli, p.Unit), w.Task(p.Task))
	}
	return ""
}

func (w Words) consumed(product string, milli int64, unit events.Unit) string {
	switch {
	case product == "":
		return ""
	case milli == 0:
		return w.Product(product)
	}
	return w.Quantity(milli, unit) + " of " + w.Product(product)
}

func (w Words) laid(h *History, id string) string {
	if r := h.ByID[id]; r != nil {
		if p, ok := r.Payload.(*events.Protection); ok {
			return List(w.Task(p.Task), p.Location)
		}
	}
	return ""
}

// note says what was noted, what it is about, and whether the customer reads it.
func (w Words) note(h *History, p *events.Note) string {
	said := "Note: " + List(p.Text, p.Location)
	if p.ForCustomer {
		said = "Note for the customer: " + List(p.Text, p.Location)
	}
	if about := h.ByID[p.Of]; about != nil {
		said += " – " + w.Says(h, about)
	}
	return said
}

// void says what was taken back, and why.
func (w Words) void(h *History, p *events.Void) string {
	target := h.ByID[p.Event]
	if target == nil {
		return "Taken back: " + p.Reason
	}
	return "Taken back, because " + p.Reason + " – " + w.Says(h, target)
}

// PlainKey turns a fixed key into words: signed-off is "Signed off".
func PlainKey(key string) string {
	if key == "" {
		return ""
	}
	return strings.ToUpper(key[:1]) + strings.NewReplacer("-", " ", "_", " ").Replace(key[1:])
}

// Value writes one value of a dimension as a reader knows it.
func (w Words) Value(d reports.Dimension, v string) string {
	switch d {
	case reports.ByJobType:
		v = w.JobType(v)
	case reports.BySide, reports.ByKind, reports.ByFamily:
		v = PlainKey(v)
	case reports.ByTask:
		v = w.Task(v)
	case reports.ByProduct:
		v = w.Product(v)
	case reports.ByPerson:
		v = w.Person(v)
	case reports.ByUnit:
		v = cmp.Or(UnitSign(events.Unit(v)), v)
	case reports.ByDay, reports.ByMonth:
		v = w.Day(events.Day(v))
	}
	return cmp.Or(v, "not given")
}
