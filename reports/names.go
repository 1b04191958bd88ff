package reports

import (
	"slices"
	"strings"
	"time"

	"daysheet/events"
)

// NamesOf returns how a firm calls its things: the standard tasks, the firm's
// own lists and its products. settings may be nil where the firm recorded none.
func NamesOf(settings *events.Settings, products []events.Product) Names {
	n := Names{
		JobTypes: map[string]string{}, Tasks: map[string]string{}, Products: map[string]string{},
		People: map[string]string{}, Settings: settings, Listed: map[string]events.Product{},
	}
	for _, t := range events.StandardTasks() {
		n.Tasks[t.Task] = t.Name
	}
	for _, p := range products {
		n.Products[p.Product] = p.Name
		n.Listed[p.Product] = p
	}
	if settings == nil {
		return n
	}
	n.Currency, n.Locale = settings.Currency, settings.Locale
	// Settings with a time zone that is unknown here are refused when they come in.
	n.zone, _ = time.LoadLocation(settings.TimeZone)
	for _, t := range settings.JobTypes {
		n.JobTypes[t.JobType] = t.Name
	}
	for _, t := range settings.Tasks {
		n.Tasks[t.Task] = t.Name
	}
	for _, p := range settings.People {
		n.People[p.Person] = p.Name
	}
	return n
}

// price returns the last known price of a product in a unit; its PerMilli is 0
// where there is none. The facts of an estimate are costed by the same.
func (n Names) price(product string, unit events.Unit) events.Price {
	i := slices.IndexFunc(n.Prices, func(p events.Price) bool { return p.Product == product && p.Unit == unit })
	if i < 0 {
		return events.Price{}
	}
	return n.Prices[i]
}

// named returns the name of a key, or the key where it has none.
func named(names map[string]string, key string) string {
	if name := names[key]; name != "" {
		return name
	}
	return key
}

// Spoken reads out a key that people made of words, as surfaces and methods are:
// wood-floor is a wood floor.
func Spoken(key string) string { return strings.ReplaceAll(key, "-", " ") }

// familyName says a family of tasks in plain words.
func familyName(f events.Family) string {
	switch f {
	case events.FamilySetUp:
		return "Set-up"
	case events.FamilyTravel:
		return "Travel"
	case events.FamilyProtection:
		return "Protection"
	case events.FamilyMasking:
		return "Masking"
	case events.FamilyPreparation:
		return "Preparation"
	case events.FamilyCoating:
		return "Coating"
	case events.FamilyLifting:
		return "Lifting and cleaning"
	case events.FamilyMakingGood:
		return "Making good"
	case events.FamilySnagging:
		return "Snagging"
	case events.FamilyOther:
		return "Other"
	}
	return string(f)
}

// stateName says a state of a job in plain words.
func stateName(s events.State) string {
	if s == events.SignedOff {
		return "signed off"
	}
	return string(s)
}

// markMeaning says what a mark is about, in the order in which marks are shown.
type markMeaning struct {
	mark  Mark
	words string
}

var markMeanings = []markMeaning{
	{MarkUnpriced, "No price or wage known: counted at no cost"},
	{MarkUnknownTask, "Task is neither a standard task nor in the firm's list"},
	{MarkUnknownPerson, "Person is not in the firm's list"},
	{MarkUnknownProduct, "Product was never listed"},
	{MarkUnknownJobType, "Job type is not in the firm's list"},
	{MarkUnitDiffers, "Counted in another unit than is usual for the task or product"},
	{MarkProtectionDown, "Finished with protection not lifted"},
	{MarkOpenDamage, "Finished with damage not made good"},
	{MarkOpenSnags, "Finished with snags not cleared"},
	{MarkCoatOutside, "Coat too cold, too warm, too humid, too near to the dew point or too soon: see the coats"},
	{MarkAfterFinish, "Recorded on a day after the job was finished"},
	{MarkBeforeOpening, "Recorded on a day before the job was opened"},
	{MarkRecordedLate, "Recorded more than seven days after it happened"},
	{MarkClockAhead, "The clock of the sender was ahead"},
}

// Local returns the moment in the firm's own time zone; as it is before the firm
// has settings.
func (n Names) Local(t time.Time) time.Time {
	if n.zone == nil {
		return t
	}
	return t.In(n.zone)
}
