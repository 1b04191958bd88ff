package demo

import "daysheet/events"

// Every name in the demo stands in this file. All of them are invented.
const (
	firmName = "Quillmarsh Decorators (invented)"
	timeZone = "Europe/Vienna" // a zone is needed; the firm is nowhere
	supplier = "Trade counter (invented)"
)

// The firm's own job types.
const (
	newDwelling = "new-dwelling-sprayed"
	occupied    = "occupied-redecoration"
	stairwell   = "stairwell-and-joinery"
	exterior    = "exterior"
	fittedUnits = "fitted-units"
)

var jobTypes = []events.JobType{
	{JobType: newDwelling, Name: "New dwelling, sprayed"},
	{JobType: occupied, Name: "Occupied redecoration"},
	{JobType: stairwell, Name: "Stairwell and joinery"},
	{JobType: exterior, Name: "Exterior"},
	{JobType: fittedUnits, Name: "Fitted units"},
}

// Grades of labour.
const (
	foreman    = "foreman"
	painter    = "painter"
	apprentice = "apprentice"
)

var people = []events.FirmPerson{
	{Person: "quen", Name: "Quen", Grade: foreman},
	{Person: "veskil", Name: "Veskil", Grade: painter},
	{Person: "lirrow", Name: "Lirrow", Grade: painter},
	{Person: "tarnel", Name: "Tarnel", Grade: apprentice},
	{Person: "ombrik", Name: "Ombrik", Grade: painter},
}

// crew is people who work together. The load is its share of the jobs.
type crew struct {
	key    string
	people []string
	load   int
}

var crews = []crew{
	{"crew-a", []string{"quen", "veskil"}, 2},
	{"crew-b", []string{"lirrow", "tarnel"}, 2},
	{"crew-c", []string{"ombrik"}, 1},
}

// warranty is what the firm promises.
const warranty = "For two years from sign-off we put right, free of charge, what comes loose, flakes or blisters " +
	"because of our work. Knocks, damp from the building and wear are not part of it. (Invented; ask a lawyer for " +
	"your own.)"

// colours are references on an invented colour card.
var colours = []string{"Marsh 04", "Marsh 11", "Quill 02", "Quill 17", "Reed 08", "Reed 21"}

// colourOf returns the colour of a surface of a job; ceilings are white everywhere.
func colourOf(job int, surface string) string {
	if surface == "ceiling" {
		return "Quill 00"
	}
	return colours[(job*7+len(surface))%len(colours)]
}
