package events

import (
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // a machine without time zone files must know them too
)

// Settings is the whole of a firm's settings after [FirmSettingsChanged]. The
// last one recorded is in force; nothing is merged.
type Settings struct {
	Name           string       `json:"name" doc:"Name of the firm as its customers read it" minLength:"1" maxLength:"120"`
	Currency       string       `json:"currency" doc:"ISO 4217 code of the one currency the firm works in" pattern:"^[A-Z]{3}$"`
	TimeZone       string       `json:"time_zone" doc:"IANA time zone of the firm's office, for example Europe/Vienna" minLength:"1"`
	Locale         string       `json:"locale,omitempty" doc:"BCP 47 tag for numbers and dates, for example en-IE" maxLength:"35"`
	VATBasisPoints int64        `json:"vat_basis_points,omitempty" doc:"Value added tax on the firm's work; 2000 is 20 per cent" minimum:"0" maximum:"10000"`
	JobTypes       []JobType    `json:"job_types" doc:"The firm's own list of kinds of jobs" minItems:"1" maxItems:"500"`
	Grades         []Grade      `json:"grades" doc:"Grades of labour with what an hour costs the firm" minItems:"1" maxItems:"500"`
	Tasks          []FirmTask   `json:"tasks,omitempty" doc:"Tasks the firm adds to the standard list" maxItems:"500"`
	People         []FirmPerson `json:"people,omitempty" doc:"Who books hours; use a short name, not more" maxItems:"500"`
	Overhead       *Overhead    `json:"overhead,omitempty" doc:"How jobs bear what the firm costs beside its jobs; left out where margins are told before overhead"`
	Pricing        *Pricing     `json:"pricing,omitempty" doc:"What quotes add to cost"`
	MeasuredBy     string       `json:"measured_by,omitempty" doc:"Rule by which the firm measures surfaces" enum:"net,din-18363,is-1200"`
	Warranty       string       `json:"warranty,omitempty" doc:"The firm's own warranty, in its own words, as handover reports print it" maxLength:"2000"`
}

// JobType is one kind of job in the firm's own list.
type JobType struct {
	JobType string `json:"job_type" doc:"Key of the job type"`
	Name    string `json:"name" doc:"How it is shown" minLength:"1" maxLength:"120"`
}

// Grade is a grade of labour. CostPerHourE4 is what an hour costs the firm,
// not what it charges.
type Grade struct {
	Grade         string `json:"grade" doc:"Key of the grade, for example painter or apprentice"`
	CostPerHourE4 int64  `json:"cost_per_hour_e4" doc:"What one hour costs the firm, in ten-thousandths of the currency unit" minimum:"0" maximum:"1000000000000"`
}

// FirmTask is a task that the firm adds to [StandardTasks].
type FirmTask struct {
	Task   string `json:"task" doc:"Key of the task"`
	Family Family `json:"family" doc:"The family it is counted under"`
	Unit   Unit   `json:"unit" doc:"What its quantity is counted in"`
	Name   string `json:"name" doc:"How it is shown" minLength:"1" maxLength:"120"`
}

// FirmPerson is one who books hours. Grade is used where a booking names none.
type FirmPerson struct {
	Person string `json:"person" doc:"Key of the person"`
	Name   string `json:"name" doc:"Short name shown to the crew" minLength:"1" maxLength:"120"`
	Grade  string `json:"grade" doc:"Usual grade"`
}

func (s *Settings) check(c *checker) {
	s.checkLists(c)
	if s.Overhead != nil {
		s.Overhead.check(c)
	}
	if s.Pricing != nil {
		s.Pricing.check(c)
	}
	c.optionalRule("measured_by", s.MeasuredBy)
	c.optionalText("warranty", s.Warranty, textMax)
}

func (s *Settings) checkLists(c *checker) {
	c.text("name", s.Name, nameMax)
	if len(s.Currency) != 3 || strings.Trim(s.Currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		c.refuse("currency", s.Currency, "three capital letters of ISO 4217, for example EUR")
	}
	// "Local" would depend on the machine that reads the log.
	if _, err := time.LoadLocation(s.TimeZone); err != nil || s.TimeZone == "" || s.TimeZone == "Local" {
		c.refuse("time_zone", s.TimeZone, "an IANA time zone, for example Europe/Vienna")
	}
	c.optionalText("locale", s.Locale, 35)
	c.within("vat_basis_points", s.VATBasisPoints, 0, 10_000)
	c.list("job_types", len(s.JobTypes), 1)
	seen := map[string]bool{}
	once := func(field, key string) {
		c.token(field, key)
		if seen[key] {
			c.refuse(field, key, "it stands twice in the list")
		}
		seen[key] = true
	}
	for i, t := range s.JobTypes {
		once(fmt.Sprintf("job_types[%d].job_type", i), t.JobType)
		c.text(fmt.Sprintf("job_types[%d].name", i), t.Name, nameMax)
	}
	clear(seen)
	c.list("grades", len(s.Grades), 1)
	for i, g := range s.Grades {
		once(fmt.Sprintf("grades[%d].grade", i), g.Grade)
		c.money(fmt.Sprintf("grades[%d].cost_per_hour_e4", i), g.CostPerHourE4)
	}
	grades := map[string]bool{}
	for g := range seen {
		grades[g] = true
	}
	clear(seen)
	c.list("tasks", len(s.Tasks), 0)
	for i, t := range s.Tasks {
		at := fmt.Sprintf("tasks[%d].", i)
		once(at+"task", t.Task)
		if _, standard := StandardTask(t.Task); standard {
			c.refuse(at+"task", t.Task, "it is a standard task already")
		}
		c.oneOf(at+"family", string(t.Family), familyNames()...)
		c.unit(at+"unit", t.Unit)
		c.text(at+"name", t.Name, nameMax)
	}
	clear(seen)
	c.list("people", len(s.People), 0)
	for i, p := range s.People {
		at := fmt.Sprintf("people[%d].", i)
		once(at+"person", p.Person)
		c.text(at+"name", p.Name, nameMax)
		if !grades[p.Grade] {
			c.refuse(at+"grade", p.Grade, "one of the grades in this list")
		}
	}
}

// Product is a material that the firm buys and uses. The last listing of a
// product is in force.
type Product struct {
	Product                 string   `json:"product" doc:"Key of the product"`
	Name                    string   `json:"name" doc:"How it is shown" minLength:"1" maxLength:"120"`
	Unit                    Unit     `json:"unit" doc:"What its use is counted in"`
	PriceE4                 int64    `json:"price_e4" doc:"List price of one unit in ten-thousandths of the currency unit" minimum:"0" maximum:"1000000000000"`
	PackMilli               int64    `json:"pack_milli,omitempty" doc:"Content of the smallest pack sold, in thousandths of the unit; 0 if sold by any amount" minimum:"0" maximum:"1000000000"`
	Reusable                bool     `json:"reusable,omitempty" doc:"True for sheets and boards that are laid again on other jobs"`
	CleanRemovalDays        int64    `json:"clean_removal_days,omitempty" doc:"Days after laying within which tape or film comes off cleanly, by the maker's data sheet; 0 if not stated" minimum:"0" maximum:"3650"`
	VolumeSolidsBasisPoints int64    `json:"volume_solids_basis_points,omitempty" doc:"Volume solids of a coating by the maker's data sheet; 4500 is 45 per cent" minimum:"0" maximum:"10000"`
	RecoatMinutes           int64    `json:"recoat_minutes,omitempty" doc:"Least time to the next coat by the maker's data sheet" minimum:"0" maximum:"86400"`
	DryFilmUm               int64    `json:"dry_film_um,omitempty" doc:"Dry film of one coat in micrometres by the maker's data sheet" minimum:"0" maximum:"10000"`
	SpreadingRateMilli      int64    `json:"spreading_rate_milli,omitempty" doc:"Square metres that one litre covers by the maker's data sheet, in thousandths" minimum:"0" maximum:"1000000"`
	LeastCelsiusMilli       *int64   `json:"least_celsius_milli,omitempty" doc:"Coldest air and surface to apply it at by the maker's data sheet, in thousandths of a degree" minimum:"-40000" maximum:"60000"`
	MostCelsiusMilli        *int64   `json:"most_celsius_milli,omitempty" doc:"Warmest air and surface to apply it at by the maker's data sheet, in thousandths of a degree" minimum:"-40000" maximum:"90000"`
	MostHumidityMilli       int64    `json:"most_humidity_milli,omitempty" doc:"Greatest relative humidity to apply it at by the maker's data sheet, in thousandths of a per cent" minimum:"0" maximum:"100000"`
	Sheen                   string   `json:"sheen,omitempty" doc:"Degree of gloss by EN 13300" enum:"gloss,mid-sheen,matt,dead-matt"`
	CureDays                int64    `json:"cure_days,omitempty" doc:"Days from the last coat until it is fully cured, by the maker's data sheet; 0 if not stated" minimum:"0" maximum:"365"`
	Care                    string   `json:"care,omitempty" doc:"How the customer is to care for it, by the maker's data sheet" maxLength:"2000"`
	Hazards                 []string `json:"hazards,omitempty" doc:"What the safety data sheet names that handover reports must caution about" maxItems:"500" enum:"isocyanate,solvent,drying-oil"`
}

func (p *Product) check(c *checker) {
	c.token("product", p.Product)
	c.text("name", p.Name, nameMax)
	c.unit("unit", p.Unit)
	c.money("price_e4", p.PriceE4)
	c.within("pack_milli", p.PackMilli, 0, QuantityMilliMax)
	c.within("clean_removal_days", p.CleanRemovalDays, 0, 3650)
	c.within("volume_solids_basis_points", p.VolumeSolidsBasisPoints, 0, 10_000)
	c.within("recoat_minutes", p.RecoatMinutes, 0, 60*24*60)
	c.within("dry_film_um", p.DryFilmUm, 0, 10_000)
	c.within("spreading_rate_milli", p.SpreadingRateMilli, 0, 1_000_000)
	c.reading("least_celsius_milli", p.LeastCelsiusMilli, -40_000, 60_000)
	c.reading("most_celsius_milli", p.MostCelsiusMilli, -40_000, 90_000)
	c.within("most_humidity_milli", p.MostHumidityMilli, 0, 100_000)
	if p.Sheen != "" {
		c.oneOf("sheen", p.Sheen, Sheens()...)
	}
	c.within("cure_days", p.CureDays, 0, 365)
	c.optionalText("care", p.Care, textMax)
	c.list("hazards", len(p.Hazards), 0)
	for i, h := range p.Hazards {
		c.oneOf(fmt.Sprintf("hazards[%d]", i), h, HazardIsocyanate, HazardSolvent, HazardDryingOil)
	}
}

// Hazards of a product for which a handover report holds a caution.
const (
	HazardIsocyanate = "isocyanate" // two-pack coatings that cure with isocyanates
	HazardSolvent    = "solvent"    // gives off solvent vapour until it is dry
	HazardDryingOil  = "drying-oil" // rags soaked in it heat up by themselves
)

// Sheens returns the degrees of gloss of a product, by EN 13300, from the highest.
func Sheens() []string { return []string{"gloss", "mid-sheen", "matt", "dead-matt"} }

// Purchase is material bought. CostE4 is for the whole quantity, net of tax.
type Purchase struct {
	Product       string `json:"product" doc:"Key of the product"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Amount bought in thousandths of the unit" minimum:"1" maximum:"1000000000"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	CostE4        int64  `json:"cost_e4" doc:"Paid for all of it, net of tax, in ten-thousandths of the currency unit" minimum:"0" maximum:"1000000000000"`
	Supplier      string `json:"supplier,omitempty" doc:"Where it was bought" maxLength:"120"`
	Place         string `json:"place,omitempty" doc:"Key of the store or van it went to"`
	Day           Day    `json:"day,omitempty" doc:"Day of purchase, if not the day of the event"`
}

func (p *Purchase) check(c *checker) {
	c.token("product", p.Product)
	c.quantity("quantity_milli", p.QuantityMilli, "unit", p.Unit)
	c.money("cost_e4", p.CostE4)
	c.optionalText("supplier", p.Supplier, nameMax)
	c.optionalToken("place", p.Place)
	c.optionalDay("day", p.Day)
}

// RateBook is a whole revision of the firm's quote rates.
type RateBook struct {
	Revision      string `json:"revision" doc:"Name of the revision, given once"`
	EffectiveFrom Day    `json:"effective_from" doc:"First day on which quotes use it"`
	Reason        string `json:"reason,omitempty" doc:"Why it was revised" maxLength:"2000"`
	Evidence      int64  `json:"evidence,omitempty" doc:"Position in the log of the history that rates from the firm's own history rest on" minimum:"0" maximum:"9007199254740991"`
	Rates         []Rate `json:"rates" doc:"Every rate of the book" minItems:"1" maxItems:"500"`
}

// Rate is what one unit of a task takes.
type Rate struct {
	Task         string    `json:"task" doc:"Task of the rate"`
	Surface      string    `json:"surface,omitempty" doc:"Surface, where the rate depends on it"`
	Method       string    `json:"method,omitempty" doc:"Method, where the rate depends on it"`
	Unit         Unit      `json:"unit" doc:"Unit the rate is for"`
	MinutesMilli int64     `json:"minutes_milli" doc:"Thousandths of a minute of labour for one unit" minimum:"0" maximum:"1000000000"`
	Source       string    `json:"source" doc:"Where it comes from" enum:"published,common-practice,from-memory,own-history"`
	Jobs         int64     `json:"jobs,omitempty" doc:"Number of the firm's jobs that it rests on" minimum:"0" maximum:"1000000"`
	Consumables  []RateUse `json:"consumables,omitempty" doc:"What one unit consumes, waste included" maxItems:"500"`
}

// RateUse is the consumption of one product for one unit of a task.
type RateUse struct {
	Product       string `json:"product" doc:"Key of the product"`
	Unit          Unit   `json:"unit" doc:"Unit of the product"`
	QuantityMilli int64  `json:"quantity_milli" doc:"Thousandths of the product's unit for one unit of the task" minimum:"1" maximum:"1000000000"`
}

func (b *RateBook) check(c *checker) {
	c.token("revision", b.Revision)
	c.day("effective_from", b.EffectiveFrom)
	c.optionalText("reason", b.Reason, textMax)
	c.within("evidence", b.Evidence, 0, wholeMax)
	c.list("rates", len(b.Rates), 1)
	seen := map[[3]string]bool{}
	for i, r := range b.Rates {
		at := fmt.Sprintf("rates[%d].", i)
		c.token(at+"task", r.Task)
		c.optionalToken(at+"surface", r.Surface)
		c.optionalToken(at+"method", r.Method)
		c.unit(at+"unit", r.Unit)
		c.within(at+"minutes_milli", r.MinutesMilli, 0, PlanMinutesMax*1000)
		c.oneOf(at+"source", r.Source, "published", "common-practice", "from-memory", "own-history")
		c.within(at+"jobs", r.Jobs, 0, 1_000_000)
		c.list(at+"consumables", len(r.Consumables), 0)
		for j, u := range r.Consumables {
			c.token(fmt.Sprintf("%sconsumables[%d].product", at, j), u.Product)
			c.quantity(fmt.Sprintf("%sconsumables[%d].quantity_milli", at, j), u.QuantityMilli,
				fmt.Sprintf("%sconsumables[%d].unit", at, j), u.Unit)
		}
		key := [3]string{r.Task, r.Surface, r.Method}
		if seen[key] {
			c.refuse(at+"task", r.Task, "the same task, surface and method stands twice in the book")
		}
		seen[key] = true
	}
}
