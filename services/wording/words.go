package wording

import (
	"cmp"
	"strconv"
	"strings"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/texts"
)

// Words says what was recorded in the words of the trade, with the firm's names
// and numbers, in the language of the speaker, who keeps what could not be said.
type Words struct {
	Format
	*texts.Speaker
	Names reports.Names
}

// NewWords returns the words of a firm. names are best in the language of the speaker:
// see [InLanguage].
func NewWords(names reports.Names, say *texts.Speaker) Words {
	return Words{NewFormat(names).In(say), say, names}
}

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

// given says a value by a key with one place for it, and nothing where there is no value.
func (w Words) given(key, place, value string) string {
	if value == "" {
		return ""
	}
	return w.Say(key, place, value)
}

// what says a record that is about something, and what that is where it is known.
func (w Words) what(key, what string) string {
	if what == "" {
		return w.Say(key)
	}
	return w.Say(key) + ": " + what
}

// Says returns one sentence about a record.
func (w Words) Says(h *History, r *Record) string {
	switch p := r.Payload.(type) {
	case *events.Opening, *events.Estimate, *events.Acceptance, *events.Variation, *events.SignOff, *events.Closing,
		*events.Reopening:
		return w.office(p)
	case *events.Settings, *events.Product, *events.Purchase, *events.Move, *events.Count, *events.RateBook,
		*events.RateRejection, *events.CustomerRecord, *events.CustomerErasure, *events.AccessChange:
		return w.firm(p)
	case *events.Damage, *events.MakingGood, *events.Snag, *events.SnagClearance, *events.Condition:
		return w.quality(h, p)
	case *events.Photo:
		return w.what("history.photo", p.Caption)
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
		return List(w.what("history.opened", p.Title), w.JobType(p.JobType), w.given("history.due", "day", w.Day(p.Due)))
	case *events.Estimate:
		return List(w.what("history.estimate", w.hours(minutesOf(p.Lines))), w.price(w.Sum(p.PriceE4)), p.Note)
	case *events.Acceptance:
		return w.what("history.accepted", p.Note)
	case *events.Variation:
		return List(w.what("history.variation", p.Reason), w.planned(p.Lines), w.price(w.Signed(p.PriceE4)))
	case *events.SignOff:
		return List(w.Say("history.signed-off", "role", p.Role), p.Remarks)
	case *events.Closing:
		return w.Say("history.closed", "sum", w.Sum(p.BilledE4))
	case *events.Reopening:
		return w.what("history.reopened", p.Reason)
	}
	return ""
}

// hours writes minutes with the sign of hours.
func (w Words) hours(minutes int64) string {
	return WithUnit(w.Hours(minutes), w.UnitSign(events.Hour))
}

func (w Words) price(sum string) string { return w.Say("history.price", "sum", sum) }

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
	return w.hours(minutesOf(lines))
}

func (w Words) firm(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Settings:
		return w.Say("history.settings")
	case *events.Product:
		return List(w.what("history.product", p.Name), w.Say("history.price-for", "sum", w.Sum(p.PriceE4), "quantity",
			w.Quantity(1000, p.Unit)))
	case *events.Purchase:
		return List(w.what("history.bought", w.Product(p.Product)), w.Quantity(p.QuantityMilli, p.Unit), w.Sum(p.CostE4),
			w.given("history.from", "place", p.Supplier))
	case *events.Move:
		return List(w.what("history.moved", w.Product(p.Product)), w.Quantity(p.QuantityMilli, p.Unit),
			w.given("history.from", "place", p.From), w.given("history.to", "place", p.To))
	case *events.Count:
		return List(w.what("history.counted", w.Product(p.Product)), w.Quantity(p.QuantityMilli, p.Unit),
			w.given("history.at", "place", p.Place))
	case *events.RateBook:
		return List(w.what("history.rate-book", p.Revision), w.Say("history.from-day", "day", w.Day(p.EffectiveFrom)),
			p.Reason)
	case *events.RateRejection:
		return List(w.what("history.rate-rejected", w.Task(p.Task)), reports.Spoken(p.Surface), reports.Spoken(p.Method),
			p.Reason)
	case *events.CustomerRecord:
		return w.what("history.customer", p.Customer)
	case *events.CustomerErasure:
		return List(w.what("history.customer-erased", p.Customer), p.Reason)
	case *events.AccessChange:
		return w.what("history.access", p.Name)
	}
	return ""
}

func (w Words) quality(h *History, payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Condition:
		key := "history.condition"
		if p.Damaged {
			key = "history.condition-damaged"
		}
		return w.what(key, List(p.Location, p.Item, p.Finding))
	case *events.Damage:
		return List(w.what("history.damage", p.Item), p.Location, p.Finding, w.word("cause.", cmp.Or(p.Cause, "unknown")))
	case *events.MakingGood:
		return List(w.what("history.made-good", h.about(p.Damage)), p.Work)
	case *events.Snag:
		return List(w.Say("history.snag", "who", w.word("raised-by.", p.RaisedBy), "finding", p.Finding), p.Location)
	case *events.SnagClearance:
		return List(w.what("history.snag-cleared", h.about(p.Snag)), p.Work)
	}
	return ""
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
		return List(w.Person(p.Person)+": "+w.hours(p.Minutes), w.Task(p.Task), reports.Spoken(p.Surface),
			reports.Spoken(p.Method), p.Location)
	case *events.Protection:
		return List(w.what("history.laid", w.Task(p.Task)), w.Quantity(p.QuantityMilli, p.Unit),
			reports.Spoken(p.Surface), p.Location,
			w.consumed(p.Product, p.ProductQuantityMilli, p.ProductUnit),
			w.given("history.remove-by", "day", w.Day(p.RemoveBy)))
	case *events.ProtectionCheck:
		key := "history.checked"
		if !p.Sound {
			key = "history.checked-unsound"
		}
		return List(w.what(key, p.Finding), w.laid(h, p.Laid))
	case *events.Lifting:
		amount := w.Say("history.all-of-it")
		if laid := h.ByID[p.Laid]; p.QuantityMilli > 0 && laid != nil {
			if protection, ok := laid.Payload.(*events.Protection); ok {
				amount = w.Quantity(p.QuantityMilli, protection.Unit)
			}
		}
		return List(w.what("history.lifted", w.laid(h, p.Laid)), amount)
	case *events.Preparation:
		return List(w.Task(p.Task)+": "+w.Quantity(p.QuantityMilli, p.Unit), reports.Spoken(p.Surface),
			reports.Spoken(p.Method), p.Location)
	case *events.Coat:
		coat := w.Say("history.coat", "task", w.Task(p.Task), "n", strconv.FormatInt(p.Coat, 10))
		return List(coat+": "+w.Quantity(p.QuantityMilli, p.Unit), reports.Spoken(p.Surface), reports.Spoken(p.Method),
			p.Location,
			w.consumed(p.Product, p.VolumeMilli, events.Litre), w.given("history.batch", "batch", p.Batch))
	case *events.Usage:
		return List(w.what("history.used", w.Product(p.Product)), w.Quantity(p.QuantityMilli, p.Unit), w.Task(p.Task))
	case *events.Return:
		return List(w.what("history.returned", w.Product(p.Product)), w.Quantity(p.QuantityMilli, p.Unit), w.Task(p.Task))
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
	return w.Say("history.of-product", "quantity", w.Quantity(milli, unit), "product", w.Product(product))
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
	key := "history.note"
	if p.ForCustomer {
		key = "history.note-for-customer"
	}
	said := w.what(key, List(p.Text, p.Location))
	if about := h.ByID[p.Of]; about != nil {
		said += " – " + w.Says(h, about)
	}
	return said
}

// void says what was taken back, and why.
func (w Words) void(h *History, p *events.Void) string {
	target := h.ByID[p.Event]
	if target == nil {
		return w.what("history.taken-back", p.Reason)
	}
	return w.Say("history.taken-back-because", "reason", p.Reason) + " – " + w.Says(h, target)
}

// word says one of a few fixed keys; a key that has no word as it is.
func (w Words) word(beginning, key string) string {
	if !w.Has(beginning + key) {
		return PlainKey(key)
	}
	return w.Say(beginning + key)
}

// PlainKey turns a fixed key into words: signed-off is "Signed off".
func PlainKey(key string) string {
	if key == "" {
		return ""
	}
	return strings.ToUpper(key[:1]) + strings.NewReplacer("-", " ", "_", " ").Replace(key[1:])
}
