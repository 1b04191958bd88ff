package httpd

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"daysheet/events"
	"daysheet/services/texts"
	"daysheet/services/typed"
)

// setupForm is the set-up page: the fields of a firm's first settings.
type setupForm struct {
	Code    string
	Problem string // what was refused and belongs to no field
	Fields  []setupField
}

// setupField is one labelled field.
type setupField struct {
	Key, Label, Hint, Value string
	Problem                 string // what was refused; empty where nothing was
	Foreign                 bool   // and that is said in English
	Focus                   bool   // the browser puts the cursor here
	Lines                   int    // rows of a text area; 0 is a single line
}

// The fields, by the names that the settings have for them.
const (
	fieldFirm     = "firm"
	fieldName     = "name"
	fieldCurrency = "currency"
	fieldTimeZone = "time_zone"
	fieldJobTypes = "job_types"
	fieldGrades   = "grades"
)

// setupDefault is a first value, invented, for the owner to change; empty for none.
func setupDefault(say *texts.Speaker, field string) string {
	switch field {
	case fieldCurrency:
		return "EUR"
	case fieldTimeZone:
		return "UTC"
	case fieldJobTypes:
		return say.Say("setup.job_types.first")
	case fieldGrades:
		return say.Say("setup.grades.first")
	}
	return ""
}

func newSetupForm(say *texts.Speaker, value func(field string) string) *setupForm {
	fields := []setupField{
		{Key: fieldFirm, Label: say.Say("setup.firm"), Hint: say.Say("setup.firm.hint")},
		{Key: fieldName, Label: say.Say("setup.name"), Hint: say.Say("setup.name.hint")},
		{Key: fieldCurrency, Label: say.Say("setup.currency"), Hint: say.Say("setup.currency.hint")},
		{Key: fieldTimeZone, Label: say.Say("setup.time_zone"), Hint: say.Say("setup.time_zone.hint")},
		{Key: fieldJobTypes, Label: say.Say("setup.job_types"), Hint: say.Say("setup.job_types.hint"), Lines: 6},
		{Key: fieldGrades, Label: say.Say("setup.grades"), Hint: say.Say("setup.grades.hint"), Lines: 4},
	}
	for i := range fields {
		fields[i].Value = value(fields[i].Key)
	}
	return &setupForm{Fields: fields}
}

func (f *setupForm) value(key string) string {
	for _, field := range f.Fields {
		if field.Key == key {
			return field.Value
		}
	}
	return ""
}

// show puts each refusal beside its field, and the cursor into the first of them.
func (f *setupForm) show(say *texts.Speaker, refused []*events.Error) {
	for _, refusal := range refused {
		if at := f.at(refusal); at >= 0 {
			f.Fields[at].Problem, f.Fields[at].Foreign = problemText(say, refusal)
		} else {
			f.Problem = refusal.Error()
		}
	}
	for i := range f.Fields {
		if f.Fields[i].Problem != "" {
			f.Fields[i].Focus = true
			return
		}
	}
}

// at returns which field a refusal is about; -1 for none.
func (f *setupForm) at(refusal *events.Error) int {
	name := strings.TrimPrefix(refusal.Field, "data.")
	return slices.IndexFunc(f.Fields, func(field setupField) bool {
		return name == field.Key || strings.HasPrefix(name, field.Key+"[")
	})
}

// Refused returns the fields that have to be changed.
func (f *setupForm) Refused() []setupField {
	return slices.DeleteFunc(slices.Clone(f.Fields), func(field setupField) bool { return field.Problem == "" })
}

func problemText(say *texts.Speaker, refusal *events.Error) (text string, foreign bool) {
	rule, ok := say.Rule(refusal.Rule)
	if refusal.Value == "" || refusal.Value == `""` {
		return rule, !ok
	}
	return refusal.Value + ": " + rule, !ok
}

// read turns the form into a firm and its settings, and says everything that is
// wrong with them, at most one thing for each field.
func (f *setupForm) read() (firm string, settings events.Settings, refused []*events.Error) {
	refuse := func(err error) bool {
		var refusal *events.Error
		if errors.As(err, &refusal) {
			refused = append(refused, refusal)
		}
		return err != nil
	}
	firm = f.value(fieldFirm)
	refuse(validFirm(firm))
	settings = events.Settings{
		Name: f.value(fieldName), Currency: strings.ToUpper(f.value(fieldCurrency)), TimeZone: f.value(fieldTimeZone),
		JobTypes: []events.JobType{}, // an empty list, not a missing one
	}
	for _, line := range lines(f.value(fieldJobTypes)) {
		key, name, ok := cutPair(line)
		if !ok {
			key, name = typed.Key(line), line
		}
		settings.JobTypes = append(settings.JobTypes, events.JobType{JobType: key, Name: name})
	}
	grades, err := readGrades(f.value(fieldGrades))
	settings.Grades = grades
	unread := refuse(err)
	for _, refusal := range trySettings(settings) {
		if !unread || !strings.HasPrefix(refusal.Field, "data."+fieldGrades) {
			refused = append(refused, refusal)
		}
	}
	return firm, settings, refused
}

// readGrades reads a grade and its cost from each line.
func readGrades(text string) ([]events.Grade, error) {
	grades := []events.Grade{} // an empty list, not a missing one
	for _, line := range lines(text) {
		key, cost, ok := cutPair(line)
		if !ok {
			return nil, events.Refuse(fieldGrades, line, "a grade and what an hour costs, for example painter = 24.00")
		}
		e4, rule := typed.Money(cost, "")
		if rule != "" {
			return nil, events.Refuse(fieldGrades, cost, "%s", rule)
		}
		grades = append(grades, events.Grade{Grade: typed.Key(key), CostPerHourE4: e4})
	}
	return grades, nil
}

// trySettings returns what the ledger would refuse, member by member: it stops at
// the first that it refuses, so each is tried among others that are good.
func trySettings(s events.Settings) []*events.Error {
	var refused []*events.Error
	for _, set := range []func(*events.Settings){
		func(t *events.Settings) { t.Name = s.Name }, func(t *events.Settings) { t.Currency = s.Currency },
		func(t *events.Settings) { t.TimeZone = s.TimeZone }, func(t *events.Settings) { t.JobTypes = s.JobTypes },
		func(t *events.Settings) { t.Grades = s.Grades },
	} {
		trial := events.Settings{
			Name: "Good", Currency: "EUR", TimeZone: "UTC",
			JobTypes: []events.JobType{{JobType: "good", Name: "Good"}}, Grades: []events.Grade{{Grade: "good"}},
		}
		set(&trial)
		if err := tried(trial); err != nil {
			refused = append(refused, err)
		}
	}
	return refused
}

// tried returns what the ledger would refuse of the settings first; nil for
// nothing.
func tried(s events.Settings) *events.Error {
	data, err := json.Marshal(s)
	if err == nil {
		e := events.Event{ID: "set-up-form", Source: setupPath, Type: events.FirmSettingsChanged, Subject: events.FirmJob,
			Time: "2026-01-01T00:00:00Z", Data: data}
		err = e.Validate()
	}
	var refusal *events.Error
	if err != nil && !errors.As(err, &refusal) {
		refusal = events.Refuse("", nil, "%v", err)
	}
	return refusal
}

// lines returns the lines that hold anything.
func lines(text string) []string {
	var found []string
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			found = append(found, line)
		}
	}
	return found
}

func cutPair(line string) (key, value string, ok bool) {
	key, value, ok = strings.Cut(line, "=")
	return strings.TrimSpace(key), strings.TrimSpace(value), ok
}
