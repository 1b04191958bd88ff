package events

import (
	"maps"
	"slices"
	"strings"
)

// rule is what a member accepts and what it refuses, by example. Each example
// at an edge has its neighbour on the other side.
type rule struct{ good, bad []any }

func (r rule) orEmpty() rule {
	return rule{append([]any{""}, r.good...), slices.DeleteFunc(slices.Clone(r.bad), func(v any) bool {
		s, isText := v.(string)
		return isText && strings.TrimSpace(s) == ""
	})}
}

func (r rule) orZero() rule { return rule{append([]any{0}, r.good...), slices.Clone(r.bad)} }

var (
	key = rule{
		[]any{"a", "9", "a-b", strings.Repeat("a", 64)},
		[]any{"", "Floor", "-a", "a-", "a b", "a_b", "a.b", "ä", strings.Repeat("a", 65)},
	}
	eventRef = rule{
		[]any{"Tap.0-_1", strings.Repeat("a", 64)},
		[]any{"", "short-7", "with space", "tap/00001", strings.Repeat("a", 65)},
	}
	sha256Hex = rule{
		[]any{strings.Repeat("0a", 32)},
		[]any{"", strings.Repeat("0a", 31), strings.Repeat("0a", 33), strings.Repeat("0A", 32), strings.Repeat("0g", 32)},
	}
	keyHash = rule{
		[]any{strings.Repeat("0a", 8)},
		[]any{"", strings.Repeat("0a", 7), strings.Repeat("0a", 9), strings.Repeat("0A", 8), strings.Repeat("0g", 8)},
	}
	box = rule{
		[]any{strings.Repeat("+/aZ", 10), strings.Repeat("a", 42) + "==", strings.Repeat("a", 43) + "=", strings.Repeat("a", 45_000)},
		[]any{"", strings.Repeat("a", 36), strings.Repeat("a", 41), strings.Repeat("-_", 20), strings.Repeat("a", 45_004),
			strings.Repeat("a", 40) + "\n", strings.Repeat("a", 40) + "===="},
	}
	calendarDay = rule{
		[]any{"1970-01-01", "2024-02-29", "2148-12-31"},
		[]any{"", "1969-12-31", "2149-01-01", "2026-02-29", "2026-13-01", "2026-3-4", "04.03.2026", "2026-03-04T00:00:00Z"},
	}
	anyUnit     = oneOf("m2", "m", "each", "hour", "l", "kg", "roll", "sheet", "pack")
	optionalKey = key.orEmpty()
	optionalDay = calendarDay.orEmpty()
	quantity    = whole(1, 1_000_000_000)
	plan        = whole(0, 1_000_000_000)
	money       = whole(0, 1_000_000_000_000)
	yesOrNo     = rule{good: []any{true, false}}

	measuringRule = rule{[]any{"", "net", "din-18363", "is-1200"}, []any{"gross", "NET"}}
)

func whole(least, most int64) rule {
	return rule{[]any{least, most}, []any{least - 1, most + 1, 0.5 + float64(least)}}
}

func oneOf(names ...string) rule {
	r := rule{bad: []any{"", "nothing-known", strings.ToUpper(names[0])}}
	for _, n := range names {
		r.good = append(r.good, n)
	}
	return r
}

// text is 1 to most bytes that can be printed.
func text(most int) rule {
	return rule{
		[]any{"x", "Zwei\r\n\tZeilen", strings.Repeat("x", most)},
		[]any{"", " \t", "a\x00b", "\x1b[31m", "\u0085", strings.Repeat("x", most+1)},
	}
}

func optionalText(most int) rule { return text(most).orEmpty() }

// needed are the optional members that another member of the golden event needs.
var needed = map[Type][]string{
	EstimateIssued:  {"lines[0].unit"},
	VariationAgreed: {"lines[0].unit"},
	ProtectionLaid:  {"product", "product_unit"},
	CoatApplied:     {"product"},
	JobSignedOff:    {"customer"},
}

// payloadRules holds the rule of every member of every payload. The golden
// event of the type stands around the member that is tried.
var payloadRules = map[Type]map[string]rule{
	FirmSettingsChanged: {
		"name":                       text(120),
		"currency":                   {[]any{"EUR", "AAA", "ZZZ"}, []any{"", "EU", "EURO", "eur", "E1R", "EuR", "€"}},
		"time_zone":                  {[]any{"UTC", "Europe/Vienna", "Asia/Kolkata"}, []any{"", "Local", "Europe/Nowhere", "../etc", "+01:00"}},
		"locale":                     {[]any{"", "de-AT", strings.Repeat("x", 35)}, []any{strings.Repeat("x", 36), "a\x00"}},
		"vat_basis_points":           whole(0, 10_000),
		"job_types[0].job_type":      key,
		"job_types[0].name":          text(120),
		"grades[0].grade":            {[]any{"painter"}, key.bad}, // anna has it
		"grades[0].cost_per_hour_e4": money,
		"tasks[0].task":              {key.good, append([]any{"coat", "travel"}, key.bad...)},
		"tasks[0].family": oneOf("set-up", "travel", "protection", "masking", "preparation", "coating", "lifting",
			"making-good", "snagging", "other"),
		"tasks[0].unit":    anyUnit,
		"tasks[0].name":    text(120),
		"people[0].person": key,
		"people[0].name":   text(120),
		"people[0].grade":  {[]any{"painter", "apprentice"}, []any{"", "foreman"}},

		"overhead.per_hour_e4": money, "overhead.labour_basis_points": whole(0, 100_000),
		"overhead.material_basis_points": whole(0, 100_000),
		"pricing.method":                 oneOf("mark-up", "margin"), "pricing.basis_points": whole(0, 9_500),
		"pricing.add_ons[0].name": text(120), "pricing.add_ons[0].basis_points": whole(0, 100_000),
		"pricing.add_ons[0].compounded": yesOrNo, "measured_by": measuringRule, "warranty": optionalText(2000),
	},
	ProductListed: {
		"product": key, "name": text(120), "unit": anyUnit, "price_e4": money, "pack_milli": plan, "reusable": yesOrNo,
		"clean_removal_days": whole(0, 3650), "volume_solids_basis_points": whole(0, 10_000), "recoat_minutes": whole(0, 86_400),
		"dry_film_um": whole(0, 10_000), "spreading_rate_milli": whole(0, 1_000_000),
		"least_celsius_milli": whole(-40_000, 60_000), "most_celsius_milli": whole(-40_000, 90_000),
		"most_humidity_milli": whole(0, 100_000), "sheen": oneOf("gloss", "mid-sheen", "matt", "dead-matt").orEmpty(),
		"cure_days": whole(0, 365), "care": optionalText(2000), "hazards[0]": oneOf("isocyanate", "solvent", "drying-oil"),
	},
	MaterialPurchased: {
		"product": key, "quantity_milli": quantity, "unit": anyUnit, "cost_e4": money, "supplier": optionalText(120),
		"place": optionalKey, "day": optionalDay,
	},
	MaterialMoved: {
		"product": key, "quantity_milli": quantity, "unit": anyUnit, "from": key, "to": key, "day": optionalDay,
	},
	MaterialCounted: {
		"product": key, "quantity_milli": plan, "unit": anyUnit, "place": optionalKey, "day": optionalDay,
	},
	RateBookRevised: {
		"revision": key, "effective_from": calendarDay, "reason": optionalText(2000), "rates[0].task": key,
		"rates[0].surface": optionalKey, "rates[0].method": optionalKey, "rates[0].unit": anyUnit,
		"rates[0].minutes_milli":          plan,
		"rates[0].source":                 oneOf("published", "common-practice", "from-memory", "own-history"),
		"rates[0].consumables[0].product": key, "rates[0].consumables[0].unit": anyUnit,
		"rates[0].consumables[0].quantity_milli": quantity,
		"evidence":                               whole(0, 1<<53-1), "rates[0].jobs": whole(0, 1_000_000),
	},
	RateRejected: {
		"task": key, "surface": optionalKey, "method": optionalKey, "minutes_milli": plan, "evidence": whole(0, 1<<53-1),
		"reason": text(2000),
	},
	JobOpened: {
		"job_type": key, "title": text(120), "customer": optionalKey, "built": whole(1000, 2148).orZero(), "start": optionalDay,
		"due": optionalDay,
	},
	EstimateIssued: withLines(map[string]rule{
		"price_e4": money, "rate_book": optionalKey, "note": optionalText(2000), "day": optionalDay,
		"measured_by": measuringRule,
	}),
	EstimateAccepted: {"estimate": eventRef, "note": optionalText(2000), "day": optionalDay},
	VariationAgreed: withLines(map[string]rule{
		"reason": text(2000), "price_e4": whole(-1_000_000_000_000, 1_000_000_000_000), "day": optionalDay,
	}),
	JobSignedOff: {
		"role": text(120), "remarks": optionalText(2000), "customer": key, "sealed.algorithm": oneOf("aes-256-gcm"),
		"sealed.key": keyHash, "sealed.box": box, "snags[0]": eventRef, "day": optionalDay,
	},
	CustomerRecorded: {
		"customer": key, "sealed.algorithm": oneOf("aes-256-gcm"), "sealed.key": keyHash, "sealed.box": box,
	},
	AccessChanged: {
		"what": oneOf("person-added", "role-changed", "person-locked", "person-unlocked", "person-removed", "password-changed", "password-reset",
			"token-made", "token-revoked", "phone-paired", "phone-revoked", "link-made", "link-revoked", "sign-in-link-used", "locked-out"),
		"name": text(240), "role": oneOf("owner", "office", "crew", "reader").orEmpty(),
		"scopes[0]": oneOf("read", "record", "admin"), "job": optionalKey, "purpose": oneOf("sign-off", "read").orEmpty(),
		"expires": {[]any{"", "2026-09-14T22:00:00Z"}, []any{"2026-09-14", "2026-09-14T22:00:00+02:00", "never"}},
	},
	CustomerErased: {"customer": key, "reason": text(2000), "day": optionalDay},
	JobClosed:      {"billed_e4": money, "day": optionalDay},
	JobReopened:    {"reason": text(2000), "day": optionalDay},
	ConditionRecorded: {
		"location": text(120), "item": optionalText(120), "finding": text(2000), "damaged": yesOrNo,
		"photos[0]": sha256Hex, "day": optionalDay,
	},
	HoursBooked: {
		"person": key, "grade": optionalKey, "task": key, "surface": optionalKey, "method": optionalKey,
		"location": optionalText(120), "minutes": whole(1, 1440), "day": optionalDay,
	},
	ProtectionLaid: {
		"task": key, "surface": optionalKey, "location": optionalText(120), "quantity_milli": quantity, "unit": anyUnit,
		"product": key, "product_quantity_milli": plan, "product_unit": anyUnit, "reused": yesOrNo, "place": optionalKey,
		"remove_by": optionalDay, "photos[0]": sha256Hex, "day": optionalDay,
	},
	ProtectionChecked: {"laid": eventRef, "finding": text(2000), "sound": yesOrNo, "day": optionalDay},
	ProtectionLifted:  {"laid": eventRef, "quantity_milli": plan, "day": optionalDay},
	SurfacePrepared: {
		"task": key, "surface": optionalKey, "method": optionalKey, "location": optionalText(120),
		"quantity_milli": quantity, "unit": anyUnit, "day": optionalDay,
	},
	CoatApplied: {
		"task": key, "surface": optionalKey, "method": optionalKey, "location": optionalText(120), "coat": whole(1, 20),
		"quantity_milli": quantity, "unit": anyUnit, "product": key, "volume_milli": plan, "batch": optionalText(120),
		"thinned_basis_points": whole(0, 10_000), "wet_film_um[0]": whole(1, 10_000), "air_celsius_milli": whole(-40_000, 60_000),
		"surface_celsius_milli": whole(-40_000, 90_000), "humidity_percent_milli": whole(0, 100_000), "day": optionalDay,
		"place": optionalKey, "colour_reference": optionalText(120),
	},
	MaterialUsed:     withLeft(stock),
	MaterialReturned: stock,
	DamageFound: {
		"location": text(120), "item": text(120), "finding": text(2000), "cause": oneOf("ours", "others", "before", "unknown"),
		"task": optionalKey, "cost_e4": money, "photos[0]": sha256Hex, "day": optionalDay,
	},
	DamageMadeGood: {
		"damage": eventRef, "work": text(2000), "cost_e4": money, "photos[0]": sha256Hex, "day": optionalDay,
	},
	SnagRaised: {
		"location": text(120), "finding": text(2000), "raised_by": oneOf("customer", "firm"), "photos[0]": sha256Hex,
		"day": optionalDay,
	},
	SnagCleared:   {"snag": eventRef, "work": optionalText(2000), "photos[0]": sha256Hex, "day": optionalDay},
	PhotoAttached: {"photo": sha256Hex, "caption": optionalText(2000), "of": eventRef.orEmpty(), "day": optionalDay},
	NoteAdded: {
		"text": text(2000), "location": optionalText(120), "of": eventRef.orEmpty(), "for_customer": yesOrNo, "day": optionalDay,
	},
	EventVoided: {"event": eventRef, "reason": text(2000)},
}

var stock = map[string]rule{
	"product": key, "quantity_milli": quantity, "unit": anyUnit, "task": optionalKey, "cost_e4": money,
	"place": optionalKey, "day": optionalDay,
}

// withLeft adds the rule of what is left with the customer.
func withLeft(rules map[string]rule) map[string]rule {
	more := maps.Clone(rules)
	more["left"] = yesOrNo
	return more
}

// withLines adds the rules of the lines and materials of an estimate.
func withLines(rules map[string]rule) map[string]rule {
	for path, r := range map[string]rule{
		"task": key, "surface": optionalKey, "method": optionalKey, "location": optionalText(120), "quantity_milli": plan,
		"unit": anyUnit, "minutes": whole(0, 1_000_000), "grade": optionalKey, "cost_e4": money,
	} {
		rules["lines[0]."+path] = r
	}
	for path, r := range map[string]rule{
		"product": key, "task": optionalKey, "quantity_milli": quantity, "unit": anyUnit, "cost_e4": money,
	} {
		rules["materials[0]."+path] = r
	}
	return rules
}
