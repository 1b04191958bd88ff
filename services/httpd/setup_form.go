package httpd

import (
	"fmt"
	"strconv"
	"strings"

	"daysheet/events"
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

// setupDefaults are first values, invented, for the owner to change.
func setupDefaults() map[string]string {
	return map[string]string{
		fieldCurrency: "EUR",
		fieldTimeZone: "UTC",
		fieldJobTypes: "New dwelling, sprayed\nOccupied redecoration\nStairwell and joinery\nExterior\nFitted units",
		fieldGrades:   "painter = 24.00\nlead-painter = 28.00\napprentice = 12.00",
	}
}

func newSetupForm(value func(field string) string) *setupForm {
	fields := []setupField{
		{Key: fieldFirm, Label: "Key of the firm",
			Hint: "Short and for ever, it stands in addresses: a-z, 0-9 and -, for example north-yard"},
		{Key: fieldName, Label: "Name of the firm", Hint: "As customers read it"},
		{Key: fieldCurrency, Label: "Currency", Hint: "Three letters, for example EUR; every amount is in it"},
		{Key: fieldTimeZone, Label: "Time zone", Hint: "Of the office, for example Europe/Vienna"},
		{Key: fieldJobTypes, Label: "Job types", Lines: 6,
			Hint: "One on each line. A key can stand before the name: exterior = Exterior work"},
		{Key: fieldGrades, Label: "Grades of labour", Lines: 4,
			Hint: "One on each line, with what an hour costs the firm: painter = 24.00"},
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

// show puts a refusal beside its field.
func (f *setupForm) show(refusal *events.Error) {
	name := strings.TrimPrefix(refusal.Field, "data.")
	for i := range f.Fields {
		if key := f.Fields[i].Key; name == key || strings.HasPrefix(name, key+"[") {
			f.Fields[i].Problem = problemText(refusal)
			return
		}
	}
	f.Problem = refusal.Error()
}

func problemText(refusal *events.Error) string {
	if refusal.Value == "" || refusal.Value == `""` {
		return refusal.Rule
	}
	return refusal.Value + ": " + refusal.Rule
}

// read turns the form into a firm and its settings. What is not text is checked
// here; whether the settings can be is for the ledger to say.
func (f *setupForm) read() (firm string, settings events.Settings, err error) {
	firm = f.value(fieldFirm)
	if err := validFirm(firm); err != nil {
		return "", settings, err
	}
	settings = events.Settings{
		Name: f.value(fieldName), Currency: strings.ToUpper(f.value(fieldCurrency)), TimeZone: f.value(fieldTimeZone),
		JobTypes: []events.JobType{}, Grades: []events.Grade{}, // an empty list, not a missing one
	}
	for _, line := range lines(f.value(fieldJobTypes)) {
		key, name, ok := cutPair(line)
		if !ok {
			key, name = keyOf(line), line
		}
		settings.JobTypes = append(settings.JobTypes, events.JobType{JobType: key, Name: name})
	}
	for _, line := range lines(f.value(fieldGrades)) {
		key, cost, ok := cutPair(line)
		if !ok {
			return "", settings, events.Refuse(fieldGrades, line, "a grade and what an hour costs, for example painter = 24.00")
		}
		e4, err := parseMoney(fieldGrades, cost)
		if err != nil {
			return "", settings, err
		}
		settings.Grades = append(settings.Grades, events.Grade{Grade: keyOf(key), CostPerHourE4: e4})
	}
	return firm, settings, nil
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

// keyOf makes a key of a name. What is no letter a-z or digit becomes a hyphen;
// a name in other letters gives no valid key, and the ledger will ask for one.
func keyOf(name string) string {
	parts := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9')
	})
	return strings.Join(parts, "-")
}

// parseMoney reads an amount such as 24 or 24.50 into ten-thousandths, exactly.
func parseMoney(field, text string) (e4 int64, err error) {
	whole, fraction, _ := strings.Cut(strings.Replace(text, ",", ".", 1), ".")
	digits := whole + fmt.Sprintf("%-4s", fraction)
	digits = strings.ReplaceAll(digits, " ", "0")
	if whole == "" || len(fraction) > 4 || strings.Trim(whole+fraction, "0123456789") != "" {
		return 0, events.Refuse(field, text, "an amount of money such as 24.50")
	}
	e4, err = strconv.ParseInt(digits, 10, 64)
	if err != nil || e4 > events.MoneyE4Max {
		return 0, events.Refuse(field, text, "an amount of money up to 100000000")
	}
	return e4, nil
}
