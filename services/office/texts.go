package office

import (
	"strings"

	"daysheet/events"
)

// rareFields are shown behind "More": most records do without them.
var rareFields = []string{"place", "batch", "thinned_basis_points", "wet_film_um", "air_celsius_milli",
	"surface_celsius_milli", "humidity_percent_milli", "product_unit", "unit", "reused", "built", "rate_book",
	"volume_solids_basis_points", "recoat_minutes", "dry_film_um", "spreading_rate_milli", "least_celsius_milli",
	"most_celsius_milli", "most_humidity_milli", "evidence", "hazards", "cure_days", "sheen", "care"}

// text is how a member is called, and what is said about it; empty help is that of
// the member itself.
type text struct{ label, help string }

// noHelp is for members that say enough by their label.
const noHelp = "-"

// textsOf returns label and help of a member.
func textsOf(owner, name, doc string) (label, help string) {
	t, ok := memberTexts()[owner+"."+name]
	if !ok {
		t, ok = memberTexts()[name]
	}
	if !ok {
		t.label = strings.ToUpper(name[:1]) + strings.ReplaceAll(name[1:], "_", " ")
	}
	switch {
	case t.help == noHelp || strings.HasPrefix(doc, "Key of"):
		return t.label, strings.TrimPrefix(t.help, noHelp)
	case t.help != "":
		return t.label, t.help
	}
	return t.label, plainDoc(doc)
}

// plainDoc takes out of the description of a member how programs count it: a person
// types the amount itself.
func plainDoc(doc string) string {
	return strings.NewReplacer(
		", in ten-thousandths of the currency unit", "", " in ten-thousandths of the currency unit", "",
		" in thousandths of the unit laid", "", " in thousandths of the unit", "", ", in thousandths of the unit", "",
		" in thousandths of its unit", "", ", in thousandths of a degree", "", " in thousandths of a degree Celsius", "",
		", in thousandths of a per cent", "", " in thousandths of a per cent", "", ", in thousandths", "",
		" in thousandths of a litre", "", " in micrometres", "", " in minutes", "", "Thousandths of a minute", "Minutes",
		"Thousandths of the product's unit", "Amount of the product", ", in thousandths of a minute", "",
		"; 2000 is 20 per cent", "", "; 4500 is 45 per cent", "", "; 1000 is 10 per cent", "", "; 2500 is 25 per cent", "",
		"; 100 is 1 per cent", "",
		"; 0 costs the minutes at the grade", "; left empty, the hours are costed at the grade",
		"; 0 costs it at the product's price", "; left empty, it is costed at the product's price",
		"; 0 values it at the product's price", "; left empty, it is valued at the product's price",
		"; 0 for all that is still down", "; left empty, all that is still down",
		"; 0 if sold by any amount", "; left empty where any amount is sold", "; 0 if not stated", "",
		"; 0 if not known", "", ", if not the day of the event", "",
	).Replace(doc)
}

// memberTexts are the words of members, by their name, or by struct and name where
// one name means two things.
func memberTexts() map[string]text {
	return map[string]text{
		"task": {"Task", noHelp}, "surface": {"Surface", noHelp}, "method": {"Method", noHelp},
		"location": {"Where", ""}, "coat": {"Coat", ""}, "quantity_milli": {"Quantity", ""}, "unit": {"Unit", noHelp},
		"product": {"Product", noHelp}, "volume_milli": {"Paint used", noHelp}, "batch": {"Batch", ""},
		"place": {"Store or van", "Where it came from or went to"}, "thinned_basis_points": {"Thinned by", ""},
		"wet_film_um":       {"Wet film readings", "Several with spaces between, for example 110 120 115"},
		"air_celsius_milli": {"Air temperature", noHelp}, "surface_celsius_milli": {"Surface temperature", noHelp},
		"humidity_percent_milli": {"Humidity of the air", noHelp}, "day": {"Day", noHelp},
		"item": {"What", ""}, "finding": {"What was seen", noHelp}, "damaged": {"It was damaged before the work", noHelp},
		"cause": {"Whose it is", "As far as known"}, "cost_e4": {"Cost", ""}, "damage": {"Which damage", noHelp},
		"work": {"What was done", noHelp}, "estimate": {"Which estimate", noHelp}, "note": {"Note", ""},
		"lines": {"Work", "Leave rows that you do not need empty"}, "materials": {"Consumables", noHelp},
		"price_e4": {"Price", ""}, "Variation.price_e4": {"Change of the price", "Net of tax; with a minus where it saves"},
		"Product.price_e4": {"List price of one unit", "Net of tax"},
		"rate_book":        {"Revision of the rate book", ""}, "measured_by": {"Measured by", ""},
		"event": {"Which record", noHelp}, "reason": {"Why", noHelp}, "Variation.reason": {"What changed", ""},
		"name": {"Name", ""}, "currency": {"Currency", "Three capital letters, for example EUR"},
		"time_zone":        {"Time zone", "Of the office, for example Europe/Vienna"},
		"locale":           {"Numbers and dates as in", "A tag such as en-IE or de-AT; empty for English"},
		"vat_basis_points": {"Value added tax", "On the firm's work"}, "job_types": {"Job types", ""},
		"grades": {"Grades", ""}, "tasks": {"The firm's own tasks", ""}, "people": {"People", ""},
		"overhead": {"Overhead", ""}, "pricing": {"Pricing", ""}, "person": {"Who", noHelp},
		"FirmPerson.person": {"Key", noHelp}, "FirmPerson.grade": {"Usual grade", noHelp}, "FirmTask.task": {"Key", noHelp},
		"JobType.job_type": {"Key", noHelp}, "grade": {"Grade", "Left empty, the person's usual one"},
		"Grade.grade": {"Grade", noHelp}, "EstimateLine.grade": {"Grade", noHelp}, "family": {"Counted under", noHelp},
		"cost_per_hour_e4": {"Cost of an hour", noHelp}, "minutes": {"Hours", "For example 7:30 or 7.5"},
		"billed_e4": {"Billed", ""}, "job_type": {"Job type", noHelp}, "title": {"What the job is", ""},
		"customer": {"Customer", ""}, "built": {"Year built", ""}, "start": {"Planned start", noHelp},
		"due": {"Agreed handover", noHelp}, "role": {"Signed by", "In which role, for example owner or site manager"},
		"remarks": {"Remarks", ""}, "from": {"From", "Store or van that it came from"},
		"to": {"To", "Store or van that it went to"}, "supplier": {"Supplier", noHelp},
		"photo": {"Photo", "The SHA-256 of a photo that the ledger holds"}, "caption": {"Caption", ""},
		"text": {"Note", noHelp}, "for_customer": {"Papers for the customer show it", noHelp},
		"Note.of": {"About", "If it is about one record"}, "of": {"Belongs to", "The record that it shows, if it is one"},
		"Product.product": {"Key", "Short, for ever; left empty, it is made of the name"},
		"pack_milli":      {"Content of a pack", ""}, "reusable": {"It is laid again on other jobs", noHelp},
		"clean_removal_days": {"Clean removal within", ""}, "volume_solids_basis_points": {"Volume solids", ""},
		"recoat_minutes": {"Recoat after", ""}, "dry_film_um": {"Dry film of one coat", ""},
		"spreading_rate_milli": {"Spreading rate", ""}, "least_celsius_milli": {"Coldest to apply at", ""},
		"most_celsius_milli": {"Warmest to apply at", ""}, "most_humidity_milli": {"Greatest humidity to apply at", ""},
		"laid": {"Which protection", noHelp}, "sound": {"It still protects", noHelp},
		"product_quantity_milli": {"Product consumed", ""}, "product_unit": {"Unit of the product", noHelp},
		"reused": {"The product was laid before on another job", noHelp}, "remove_by": {"Remove by", ""},
		"revision": {"Name of the revision", "Given once, for example 2026-summer"}, "effective_from": {"Quotes use it " +
			"from", noHelp},
		"evidence": {"Position of the history", ""}, "rates": {"Rates", "Leave rows that you do not need empty"},
		"minutes_milli": {"Minutes for one unit", noHelp}, "source": {"Comes from", ""}, "jobs": {"Jobs behind it", ""},
		"consumables": {"Consumables", ""}, "snag": {"Which snag", noHelp}, "raised_by": {"Raised by", noHelp},
		"per_hour_e4": {"For each hour of labour", noHelp}, "labour_basis_points": {"Share of labour cost", noHelp},
		"material_basis_points": {"Share of material cost", noHelp},
		"Pricing.method":        {"Price is made by", noHelp}, "basis_points": {"Share", noHelp}, "add_ons": {"Add-ons", ""},
		"compounded": {"Of the sum with those before it", noHelp},
	}
}

// wordFor names an entry of a fixed list.
func wordFor(name, key string) string {
	switch name + "." + key {
	case "cause.ours":
		return "Caused by the firm"
	case "cause.others":
		return "Caused by others"
	case "cause.before":
		return "There before the work"
	case "cause.unknown":
		return "Not known"
	case "raised_by.customer":
		return "The customer"
	case "raised_by.firm":
		return "The firm"
	case "measured_by." + events.MeasureNet:
		return "Net: every opening deducted"
	case "measured_by." + events.MeasureDIN18363:
		return "DIN 18363: openings up to 2.5 m² measured over"
	case "measured_by." + events.MeasureIS1200:
		return "IS 1200: deducted in three steps"
	case "scopes.read":
		return "Read: reports, jobs and pages"
	case "scopes.record":
		return "Record: enter what happens"
	case "scopes.admin":
		return "Admin: everything, tokens as well"
	case "method." + events.PricingMarkUp:
		return "Mark-up: a share of the cost is added"
	case "method." + events.PricingMargin:
		return "Margin: a share of the price is left"
	}
	return ""
}
