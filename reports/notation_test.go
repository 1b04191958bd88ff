package reports

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
)

// The notation of scenarios: one event a line, in words that a foreman can
// read. A line is a day, a verb and what the verb needs; "as=name" gives the
// event a name for later lines, "recorded=day" says that the ledger learned of
// it later. Lines after "job-opened" or "on" are about that job.
//
//	2026-03-02 hours-booked anna protect-floor 90min as=morning
//	2026-03-03 voided morning

// line is what is left to read of one line.
type line struct {
	words []string
	names map[string]string // names of events -> ids
	err   error
}

func (l *line) fail(format string, args ...any) {
	if l.err == nil {
		l.err = fmt.Errorf(format, args...)
	}
}

func (l *line) more() bool { return len(l.words) > 0 }

// next takes one word.
func (l *line) next() string {
	if !l.more() {
		l.fail("a word is missing at the end")
		return ""
	}
	w := l.words[0]
	l.words = l.words[1:]
	return w
}

// follows takes the word if it is the next one.
func (l *line) follows(word string) bool {
	if l.more() && l.words[0] == word {
		l.words = l.words[1:]
		return true
	}
	return false
}

// rest takes every word that is left.
func (l *line) rest() string {
	s := strings.Join(l.words, " ")
	l.words = nil
	return s
}

// event takes the name of an earlier event.
func (l *line) event() string {
	name := l.next()
	id, ok := l.names[name]
	if !ok {
		l.fail("no event is named %q", name)
	}
	return id
}

// scaled reads a decimal number as whole parts of one of 10^places.
func (l *line) scaled(s string, places int) int64 {
	whole, part, _ := strings.Cut(s, ".")
	n, err := strconv.ParseInt(whole+part+strings.Repeat("0", max(0, places-len(part))), 10, 64)
	if err != nil || len(part) > places {
		l.fail("%q is no number with at most %d places", s, places)
	}
	return n
}

// option takes the value of a word like in=Hall, wherever it stands before the
// next semicolon; empty where there is none.
func (l *line) option(key string) string {
	for i, w := range l.words {
		if w == ";" {
			break
		}
		if value, ok := strings.CutPrefix(w, key+"="); ok {
			l.words = slices.Delete(slices.Clone(l.words), i, i+1)
			return value
		}
	}
	return ""
}

// amount takes an option that is a number of 10^places parts; 0 where there is none.
func (l *line) amount(key string, places int) int64 {
	if value := l.option(key); value != "" {
		return l.scaled(value, places)
	}
	return 0
}

// reading takes an option that may be left out, in thousandths.
func (l *line) reading(key string) *int64 {
	if value := l.option(key); value != "" {
		n := l.scaled(value, 3)
		return &n
	}
	return nil
}

// money takes an amount of money, for example 2400.00.
func (l *line) money() int64 { return l.scaled(l.next(), 4) }

// quantity takes a quantity with its unit, for example 12.5m2.
func (l *line) quantity() (milli int64, unit events.Unit) {
	w := l.next()
	i := strings.LastIndexAny(strings.TrimSuffix(w, "m2"), "0123456789") + 1
	return l.scaled(w[:i], 3), events.Unit(w[i:])
}

// minutes takes a time, for example 90min.
func (l *line) minutes() int64 {
	w := l.next()
	n, err := strconv.ParseInt(strings.TrimSuffix(w, "min"), 10, 64)
	if err != nil {
		l.fail("%q is no time like 90min", w)
	}
	return n
}

// number reports whether the next word starts with a digit.
func (l *line) number() bool { return l.more() && l.words[0][0] >= '0' && l.words[0][0] <= '9' }

// verbs reads the payload of each verb.
var verbs = map[string]func(l *line) events.Payload{
	"settings":           readSettings,
	"product-listed":     readProduct,
	"material-purchased": readPurchase,
	"material-moved": func(l *line) events.Payload {
		m := &events.Move{From: l.option("from"), To: l.option("to"), Product: l.next()}
		m.QuantityMilli, m.Unit = l.quantity()
		return m
	},
	"material-counted": func(l *line) events.Payload {
		n := &events.Count{Place: l.option("at"), Product: l.next()}
		n.QuantityMilli, n.Unit = l.quantity()
		return n
	},
	"rate-book-revised": readRateBook,
	"customer-recorded": func(l *line) events.Payload {
		return &events.CustomerRecord{Customer: l.next(), Sealed: events.Sealed{Algorithm: events.SealedAES256GCM,
			Key: strings.Repeat("0", 16), Box: strings.Repeat("AAAA", 10)}}
	},
	"customer-erased": func(l *line) events.Payload {
		return &events.CustomerErasure{Customer: l.next(), Reason: "asked for it"}
	},
	"access-changed": func(l *line) events.Payload {
		return &events.AccessChange{What: events.TokenMade, Name: l.next()}
	},
	"rate-rejected": func(l *line) events.Payload {
		return &events.RateRejection{Task: l.next(), MinutesMilli: 9000, Reason: "too few jobs"}
	},
	"estimate-issued":   func(l *line) events.Payload { return readEstimate(l) },
	"estimate-accepted": func(l *line) events.Payload { return &events.Acceptance{Estimate: l.event()} },
	"variation-agreed": func(l *line) events.Payload {
		e := readEstimate(l)
		return &events.Variation{Reason: "agreed", Lines: e.Lines, Materials: e.Materials, PriceE4: e.PriceE4}
	},
	"signed-off":   func(*line) events.Payload { return &events.SignOff{Role: "owner"} },
	"closed":       func(l *line) events.Payload { return &events.Closing{BilledE4: l.money()} },
	"reopened":     func(*line) events.Payload { return &events.Reopening{Reason: "more to do"} },
	"hours-booked": readHours,
	"condition-recorded": func(l *line) events.Payload {
		return &events.Condition{Location: l.next(), Finding: "sound"}
	},
	"protection-laid": readProtection,
	"protection-checked": func(l *line) events.Payload {
		return &events.ProtectionCheck{Laid: l.event(), Finding: "sound", Sound: true}
	},
	"protection-lifted": readLifting,
	"surface-prepared": func(l *line) events.Payload {
		p := &events.Preparation{Surface: l.option("on"), Location: l.option("in"), Method: l.option("method"),
			Task: l.next()}
		p.QuantityMilli, p.Unit = l.quantity()
		return p
	},
	"coat-applied":  readCoat,
	"material-used": readUsage,
	"material-returned": func(l *line) events.Payload {
		u := readUsage(l).(*events.Usage)
		return &events.Return{Product: u.Product, QuantityMilli: u.QuantityMilli, Unit: u.Unit, Task: u.Task,
			CostE4: u.CostE4, Place: u.Place}
	},
	"damage-found": func(l *line) events.Payload {
		return &events.Damage{Location: cmp.Or(l.option("in"), "hall"), Task: l.option("task"), Cause: l.next(),
			CostE4: l.money(), Item: "floor", Finding: "stained"}
	},
	"damage-made-good": func(l *line) events.Payload {
		return &events.MakingGood{Damage: l.event(), CostE4: l.money(), Work: "cleaned"}
	},
	"snag-raised": func(*line) events.Payload {
		return &events.Snag{Location: "hall", Finding: "thin", RaisedBy: "customer"}
	},
	"snag-cleared":   func(l *line) events.Payload { return &events.SnagClearance{Snag: l.event()} },
	"photo-attached": func(*line) events.Payload { return &events.Photo{Photo: strings.Repeat("ab", 32)} },
	"note-added":     func(*line) events.Payload { return &events.Note{Text: "the key is with the neighbour"} },
	"voided":         func(l *line) events.Payload { return &events.Void{Event: l.event(), Reason: "a mistake"} },
}

// readSettings reads "EUR; types a b; grades a=32.00; people ann=a; tasks x=preparation/m2;
// overhead hour=9.25 labour=5 material=10": the last two are per cent.
func readSettings(l *line) events.Payload {
	s := &events.Settings{Name: "Gable & Son (invented)", TimeZone: "UTC", Currency: l.next()}
	list := ""
	for l.more() {
		w := l.next()
		if w == ";" {
			list = l.next()
			continue
		}
		key, value, _ := strings.Cut(w, "=")
		switch list {
		case "types":
			s.JobTypes = append(s.JobTypes, events.JobType{JobType: key, Name: spoken(key)})
		case "grades":
			s.Grades = append(s.Grades, events.Grade{Grade: key, CostPerHourE4: l.scaled(value, 4)})
		case "people":
			s.People = append(s.People, events.FirmPerson{Person: key, Name: spoken(key), Grade: value})
		case "overhead":
			if s.Overhead == nil {
				s.Overhead = &events.Overhead{}
			}
			switch key {
			case "hour":
				s.Overhead.PerHourE4 = l.scaled(value, 4)
			case "labour":
				s.Overhead.LabourBasisPoints = l.scaled(value, 2)
			case "material":
				s.Overhead.MaterialBasisPoints = l.scaled(value, 2)
			default:
				l.fail("overhead has no %q", key)
			}
		case "tasks":
			family, unit, _ := strings.Cut(value, "/")
			s.Tasks = append(s.Tasks, events.FirmTask{Task: key, Family: events.Family(family),
				Unit: events.Unit(unit), Name: spoken(key)})
		default:
			l.fail("settings have no list %q", list)
		}
	}
	return s
}

// spoken makes a name of a key: "fine-filler" is "Fine filler".
func spoken(key string) string {
	return strings.ToUpper(key[:1]) + strings.ReplaceAll(key[1:], "-", " ")
}

// readProduct reads "emulsion l 6.50": the price is for one unit. What a data
// sheet says may follow: pack=5 removal=14 solids=45 recoat=240 film=40
// spreads=11.25 least=8 most=30 humidity=80 reusable=yes.
func readProduct(l *line) events.Payload {
	p := &events.Product{
		PackMilli: l.amount("pack", 3), CleanRemovalDays: l.amount("removal", 0),
		VolumeSolidsBasisPoints: l.amount("solids", 2), RecoatMinutes: l.amount("recoat", 0),
		DryFilmUm: l.amount("film", 0), SpreadingRateMilli: l.amount("spreads", 3),
		LeastCelsiusMilli: l.reading("least"), MostCelsiusMilli: l.reading("most"),
		MostHumidityMilli: l.amount("humidity", 3), Reusable: l.option("reusable") == "yes",
		Product: l.next(), Unit: events.Unit(l.next()), PriceE4: l.money()}
	p.Name = spoken(p.Product)
	return p
}

// readPurchase reads "emulsion 10l 60.00": the price is for all of it.
func readPurchase(l *line) events.Payload {
	p := &events.Purchase{Place: l.option("at"), Product: l.next()}
	p.QuantityMilli, p.Unit = l.quantity()
	p.CostE4 = l.money()
	return p
}

// readEstimate reads "2400.00; protect-floor 40m2 120min painter; uses emulsion 16l".
func readEstimate(l *line) *events.Estimate {
	e := &events.Estimate{PriceE4: l.money()}
	for l.follows(";") {
		if l.follows("uses") {
			m := events.EstimateMaterial{Task: l.option("for"), Product: l.next()}
			m.QuantityMilli, m.Unit = l.quantity()
			if l.follows("cost") {
				m.CostE4 = l.money()
			}
			e.Materials = append(e.Materials, m)
			continue
		}
		n := events.EstimateLine{Surface: l.option("on"), Location: l.option("in"), Method: l.option("method"),
			Task: l.next()}
		if l.number() && !strings.HasSuffix(l.words[0], "min") {
			n.QuantityMilli, n.Unit = l.quantity()
		}
		n.Minutes = l.minutes()
		if l.more() && l.words[0] != ";" && l.words[0] != "cost" {
			n.Grade = l.next()
		}
		if l.follows("cost") {
			n.CostE4 = l.money()
		}
		e.Lines = append(e.Lines, n)
	}
	return e
}

// readRateBook reads "r1 from=2026-01-01 coat/wall/roller=5.7 sand=3.6": minutes
// for one unit of a task, of its surface and method where they are named.
func readRateBook(l *line) events.Payload {
	b := &events.RateBook{EffectiveFrom: events.Day(cmp.Or(l.option("from"), "2026-01-01")), Revision: l.next()}
	for l.more() {
		key, value, _ := strings.Cut(l.next(), "=")
		value, use, uses := strings.Cut(value, "+")
		names := append(strings.Split(key, "/"), "", "")
		t, _ := events.StandardTask(names[0])
		r := events.Rate{Task: names[0], Surface: names[1], Method: names[2], Unit: t.Unit,
			MinutesMilli: l.scaled(value, 3), Source: "from-memory"}
		if product, litres, _ := strings.Cut(use, ":"); uses {
			r.Consumables = []events.RateUse{{Product: product, QuantityMilli: l.scaled(litres, 3), Unit: events.Litre}}
		}
		b.Rates = append(b.Rates, r)
	}
	if len(b.Rates) == 0 {
		b.Rates = []events.Rate{{Task: "coat", Unit: events.SquareMetre, MinutesMilli: 9000, Source: "from-memory"}}
	}
	return b
}

// readHours reads "anna protect-floor 90min" and, where it differs, the grade.
func readHours(l *line) events.Payload {
	h := &events.Hours{Surface: l.option("on"), Location: l.option("in"), Method: l.option("method"),
		Person: l.next(), Task: l.next(), Minutes: l.minutes()}
	if l.more() {
		h.Grade = l.next()
	}
	return h
}

// readProtection reads "protect-floor 40m2" and what it consumed: "film 2roll".
// The last day for clean removal is remove-by=2026-03-18; what was laid before
// is reused=yes.
func readProtection(l *line) events.Payload {
	p := &events.Protection{Surface: l.option("on"), Location: l.option("in"), Place: l.option("at"),
		RemoveBy: events.Day(l.option("remove-by")), Reused: l.option("reused") == "yes", Task: l.next()}
	p.QuantityMilli, p.Unit = l.quantity()
	if l.more() {
		p.Product = l.next()
	}
	if l.more() {
		p.ProductQuantityMilli, p.ProductUnit = l.quantity()
	}
	return p
}

// readLifting reads the protection laid, and how much where it is not all.
func readLifting(l *line) events.Payload {
	p := &events.Lifting{Laid: l.event()}
	if l.more() {
		p.QuantityMilli, _ = l.quantity()
	}
	return p
}

// readCoat reads "coat 40m2 emulsion 8l". Readings may stand with it: coat=2
// air=12 surface=10.5 humidity=80 wet=110 thinned=5.
func readCoat(l *line) events.Payload {
	c := &events.Coat{Surface: l.option("on"), Location: l.option("in"), Method: l.option("method"),
		Place: l.option("at"), Coat: max(l.amount("coat", 0), 1), AirCelsiusMilli: l.reading("air"),
		SurfaceCelsiusMilli: l.reading("surface"), HumidityPercentMilli: l.reading("humidity"),
		ThinnedBasisPoints: l.amount("thinned", 2)}
	if wet := l.amount("wet", 0); wet > 0 {
		c.WetFilmUm = []int64{wet}
	}
	c.Task = l.next()
	c.QuantityMilli, c.Unit = l.quantity()
	if l.more() {
		c.Product = l.next()
		c.VolumeMilli, _ = l.quantity()
	}
	return c
}

// readUsage reads "tape 2roll for mask-edge cost 13.00".
func readUsage(l *line) events.Payload {
	u := &events.Usage{Place: l.option("at"), Product: l.next()}
	u.QuantityMilli, u.Unit = l.quantity()
	if l.follows("for") {
		u.Task = l.next()
	}
	if l.follows("cost") {
		u.CostE4 = l.money()
	}
	return u
}
