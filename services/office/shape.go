package office

import (
	"reflect"
	"slices"
	"strconv"
	"strings"

	"daysheet/events"
)

// kind says how a field is shown and read.
type kind string

const (
	kindText    kind = "text"    // one line
	kindLong    kind = "long"    // several lines
	kindKey     kind = "key"     // a key, made of what is typed
	kindChoice  kind = "choice"  // one of a list
	kindDay     kind = "day"     // a calendar day
	kindNumber  kind = "number"  // counted in 10^-scale of what is typed
	kindHours   kind = "hours"   // minutes, typed as hours
	kindTick    kind = "tick"    // yes or no
	kindNumbers kind = "numbers" // several whole numbers in one line
	kindSeveral kind = "several" // any of a fixed list
	kindUntyped kind = "untyped" // digests of photos, what is sealed: other pages fill it
	kindRows    kind = "rows"    // a list of groups
	kindGroup   kind = "group"   // members of their own
)

// field is one member of a payload as a form shows it.
type field struct {
	name     string // as in JSON
	owner    string // struct that it is a member of
	sign     string // what the number is counted in; signMoney is the firm's currency, and signDays are days
	kind     kind
	scale    int      // decimals of a number
	required bool     // it must be given
	always   bool     // a tick that is recorded also where it is not set
	least    int64    // of a number
	most     int64    // of a number; 0 where it has no bounds
	enum     []string // of a choice that is fixed
	source   source   // of a choice or of proposals
	unitBy   source   // of a unit: by what it follows, if it is not chosen
	keyFrom  string   // of a key: the member that it is made of, if it is not typed
	rare     bool     // shown behind "More"
	quiet    bool     // filled in before: a row in which nothing else was typed says nothing
	inner    []field
}

// source says where a list to choose from comes from.
type source string

const (
	ofTasks     source = "tasks"
	ofProducts  source = "products"
	ofPeople    source = "people"
	ofGrades    source = "grades"
	ofJobTypes  source = "job types"
	ofUnits     source = "units"
	ofFamilies  source = "families"
	ofSurfaces  source = "surfaces"
	ofMethods   source = "methods"
	ofPlaces    source = "places"
	ofCustomers source = "customers"
	ofRecords   source = "records" // of the job, by what the field refers to
)

// Signs that each firm reads in its own way: its currency, and days in its language.
const (
	signMoney = "money"
	signDays  = "days"
)

// shapeOf describes the members of a payload struct: first what must be given, then
// the day, then the rest.
func shapeOf(t reflect.Type) []field {
	fields := make([]field, t.NumField())
	for i := range fields {
		fields[i] = fieldOf(t, t.Field(i))
	}
	rank := func(d field) int {
		switch {
		case d.name == "title" || d.name == "name":
			return 0
		case d.required:
			return 1
		case d.name == "day":
			return 2
		}
		return 3
	}
	slices.SortStableFunc(fields, func(a, b field) int { return rank(a) - rank(b) })
	return fields
}

func fieldOf(owner reflect.Type, member reflect.StructField) field {
	name, options, _ := strings.Cut(member.Tag.Get("json"), ",")
	f := field{name: name, owner: owner.Name(), required: options != "omitempty"}
	t := member.Type
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch t.Kind() {
	case reflect.Bool:
		f.kind, f.always, f.required = kindTick, f.required, false
	case reflect.Int64:
		f.number(member)
	case reflect.Struct:
		f.kind, f.inner = kindGroup, shapeOf(t)
		if t == reflect.TypeFor[events.Sealed]() {
			f.kind, f.inner = kindUntyped, nil
		}
	case reflect.Slice:
		f.list(member, t.Elem())
	default:
		f.text(owner, member)
	}
	f.rare = !f.required && slices.Contains(rareFields(), name)
	return f
}

// list describes a list by its items.
func (f *field) list(member reflect.StructField, items reflect.Type) {
	switch {
	case items.Kind() == reflect.Struct:
		f.kind, f.inner = kindRows, shapeOf(items)
	case items.Kind() == reflect.Int64:
		f.kind, f.sign = kindNumbers, "µm"
	case member.Tag.Get("enum") != "":
		f.kind, f.enum = kindSeveral, strings.Split(member.Tag.Get("enum"), ",")
	default:
		f.kind = kindUntyped
	}
}

// number finds out what a whole number counts, by its name.
func (f *field) number(member reflect.StructField) {
	f.kind = kindNumber
	f.least, _ = strconv.ParseInt(member.Tag.Get("minimum"), 10, 64)
	f.most, _ = strconv.ParseInt(member.Tag.Get("maximum"), 10, 64)
	switch name := f.name; {
	case strings.HasSuffix(name, "_e4"):
		f.scale, f.sign = 4, signMoney
	case strings.HasSuffix(name, "_basis_points") || name == "basis_points":
		f.scale, f.sign = 2, "%"
	case strings.HasSuffix(name, "celsius_milli"):
		f.scale, f.sign = 3, "°C"
	case strings.Contains(name, "humidity"):
		f.scale, f.sign = 3, "%"
	case name == "minutes_milli":
		f.scale = 3
	case name == "spreading_rate_milli":
		f.scale, f.sign = 3, "m²/l"
	case name == "volume_milli":
		f.scale, f.sign = 3, "l"
	case strings.HasSuffix(name, "_milli"):
		f.scale = 3
	case name == "minutes" || strings.HasSuffix(name, "_minutes"):
		f.kind, f.sign = kindHours, "h:mm"
	case strings.HasSuffix(name, "_um"):
		f.sign = "µm"
	case strings.HasSuffix(name, "_days"):
		f.sign = signDays
	}
}

// text finds out what a text names, by its type, its tags and its name.
func (f *field) text(owner reflect.Type, member reflect.StructField) {
	most, _ := strconv.Atoi(member.Tag.Get("maxLength"))
	switch {
	case owner == reflect.TypeFor[events.SignOff]() && f.name == "customer":
		f.kind = kindUntyped // goes with what is sealed
	case member.Type == reflect.TypeFor[events.Day]():
		f.kind = kindDay
	case member.Type == reflect.TypeFor[events.Unit]():
		f.kind, f.source = kindChoice, ofUnits
		if f.unitBy = unitFollows(owner, f.name); f.unitBy != "" {
			f.required = false
		}
	case member.Type == reflect.TypeFor[events.Family]():
		f.kind, f.source = kindChoice, ofFamilies
	case member.Tag.Get("enum") != "":
		f.kind, f.enum = kindChoice, strings.Split(member.Tag.Get("enum"), ",")
	case strings.HasPrefix(member.Tag.Get("pattern"), "^[A-Za-z0-9._-]"):
		f.kind, f.source = kindChoice, ofRecords
	case strings.HasPrefix(member.Tag.Get("pattern"), "^[0-9a-f]"):
		f.kind = kindText
	case defines(owner, f.name):
		f.kind, f.keyFrom = kindKey, "name"
		f.required = owner == reflect.TypeFor[events.Grade]()
	case sourceOf(f.name) != "":
		f.kind, f.source = kindChoice, sourceOf(f.name)
		if f.source == ofSurfaces || f.source == ofMethods || f.source == ofPlaces {
			f.kind = kindKey // proposed, not prescribed
		}
	case f.name == "customer":
		f.kind, f.source = kindKey, ofCustomers
	case f.name == "revision" || f.name == "rate_book":
		f.kind = kindKey
	case most > 120:
		f.kind = kindLong
	default:
		f.kind = kindText
	}
}

// defines reports whether a member is the key of the thing that its struct lists.
func defines(owner reflect.Type, name string) bool {
	switch owner {
	case reflect.TypeFor[events.JobType](), reflect.TypeFor[events.Product]():
		return name == "job_type" || name == "product"
	case reflect.TypeFor[events.Grade]():
		return name == "grade"
	case reflect.TypeFor[events.FirmTask]():
		return name == "task"
	case reflect.TypeFor[events.FirmPerson]():
		return name == "person"
	}
	return false
}

func sourceOf(name string) source {
	switch name {
	case "task":
		return ofTasks
	case "product":
		return ofProducts
	case "person":
		return ofPeople
	case "grade":
		return ofGrades
	case "job_type":
		return ofJobTypes
	case "surface":
		return ofSurfaces
	case "method":
		return ofMethods
	case "place", "from", "to":
		return ofPlaces
	}
	return ""
}

// unitFollows says what decides about a unit that is not chosen: the task of a piece
// of work, or the product. Where a product or task is listed, its unit is chosen.
func unitFollows(owner reflect.Type, name string) source {
	switch owner {
	case reflect.TypeFor[events.Product](), reflect.TypeFor[events.FirmTask]():
		return ""
	case reflect.TypeFor[events.EstimateLine](), reflect.TypeFor[events.Rate](), reflect.TypeFor[events.Preparation](),
		reflect.TypeFor[events.Coat](), reflect.TypeFor[events.Protection]():
		if name == "unit" {
			return ofTasks
		}
	}
	return ofProducts
}
