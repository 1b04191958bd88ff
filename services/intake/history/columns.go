package history

import (
	"daysheet/services/typed"
	"slices"
)

// Column is one column of the sheet.
type Column struct {
	Name    string   // as it is written in messages
	Also    []string // other names it is found by
	Meaning string
	Example string
}

// column is the number of a column in the table below.
type column int

const (
	colJob column = iota
	colTitle
	colJobType
	colDate
	colKind
	colTask
	colSurface
	colMethod
	colCoat
	colLocation
	colQuantity
	colUnit
	colHours
	colPerson
	colGrade
	colProduct
	colUnitPrice
	colCost
	colPrice
	colNote
	columnCount
)

var columns = [columnCount]Column{
	colJob: {"job", []string{"job no", "job number", "job ref", "reference", "auftrag", "auftrag nr", "auftragsnummer"},
		"Number or short name of the job", "J-104"},
	colTitle: {"title", []string{"job title", "description", "bezeichnung", "titel"},
		"What the job was, without personal data", "Stairwell, two floors"},
	colJobType: {"job type", []string{"type", "type of job", "category", "auftragsart"},
		"One of the firm's job types", "exterior"},
	colDate: {"date", []string{"day", "datum", "tag"}, "Day of the row", "2025-03-04"},
	colKind: {"kind", []string{"row kind", "entry", "art", "zeilenart"},
		"estimate, variation, day sheet, material or billed", "day sheet"},
	colTask:    {"task", []string{"work", "activity", "tätigkeit", "arbeit"}, "Key or name of the task", "protect floor"},
	colSurface: {"surface", []string{"substrate", "untergrund"}, "What was worked on", "plaster"},
	colMethod:  {"method", []string{"applied by", "verfahren"}, "How it was done", "roller"},
	colCoat: {"coat", []string{"coat no", "coat number", "anstrich"},
		"Number of the coat, kept with a quantity; blank for the first", "2"},
	colLocation: {"location", []string{"room", "place", "raum", "ort"},
		"Room or part of the building; not kept for material", "hall"},
	colQuantity: {"quantity", []string{"qty", "amount", "menge"}, "Amount of work or material", "42,5"},
	colUnit: {"unit", []string{"units", "einheit"},
		"Unit of the quantity; blank for the task's usual unit", "m2"},
	colHours: {"hours", []string{"hrs", "time", "stunden"}, "Working time", "1:30"},
	colPerson: {"person", []string{"who", "worker", "painter", "wer", "mitarbeiter"},
		"Short name of who worked; blank for the crew", "Tarn"},
	colGrade:   {"grade", []string{"lohngruppe"}, "Grade of labour, where it is not the person's usual one", "painter"},
	colProduct: {"product", []string{"material", "item", "produkt"}, "Key or name of the product", "masking film"},
	colUnitPrice: {"unit price", []string{"price each", "price per unit", "einzelpreis", "stückpreis"},
		"What one unit of the product cost, net of tax", "6.40"},
	colCost: {"cost", []string{"total cost", "net cost", "kosten"},
		"What all of the row cost the firm, net of tax", "1.234,50"},
	colPrice: {"price", []string{"charged", "amount billed", "preis", "verrechnet"},
		"What the customer pays, net of tax", "4 800.00"},
	colNote: {"note", []string{"notes", "remark", "remarks", "comment", "notiz", "bemerkung"},
		"Kept with estimates and variations only", "incl. loft hatch"},
}

// Columns returns every column that [Read] knows, in the order in which a sheet
// would have them.
func Columns() []Column {
	list := slices.Clone(columns[:])
	for i := range list {
		list[i].Also = slices.Clone(list[i].Also)
	}
	return list
}

// columnNamed returns the column that is found by name.
func columnNamed(name string) (column, bool) {
	want := typed.Squeeze(name)
	for i, c := range columns {
		if want == typed.Squeeze(c.Name) || slices.ContainsFunc(c.Also,
			func(also string) bool { return want == typed.Squeeze(also) }) {
			return column(i), true
		}
	}
	return 0, false
}

// kind is what a row says.
type kind string

const (
	kindEstimate  kind = "estimate"
	kindVariation kind = "variation"
	kindDaySheet  kind = "day sheet"
	kindMaterial  kind = "material"
	kindBilled    kind = "billed"
)

// kindWords are the words by which a kind is found, squeezed, in English and German.
var kindWords = map[string]kind{
	"estimate": kindEstimate, "est": kindEstimate, "quote": kindEstimate, "quotation": kindEstimate,
	"offer": kindEstimate, "planned": kindEstimate,
	"variation": kindVariation, "extra": kindVariation, "extras": kindVariation,
	"daysheet": kindDaySheet, "day": kindDaySheet, "hours": kindDaySheet, "work": kindDaySheet,
	"labour": kindDaySheet, "actual": kindDaySheet, "done": kindDaySheet,
	"material": kindMaterial, "materials": kindMaterial, "used": kindMaterial,
	"angebot": kindEstimate, "kostenvoranschlag": kindEstimate, "geplant": kindEstimate,
	"nachtrag": kindVariation, "nachträge": kindVariation, "zusatz": kindVariation,
	"stundenzettel": kindDaySheet, "tagzettel": kindDaySheet, "tageszettel": kindDaySheet, "stunden": kindDaySheet,
	"arbeit": kindDaySheet, "verbraucht": kindMaterial,
	"rechnung": kindBilled, "verrechnet": kindBilled, "abgerechnet": kindBilled,
	"billed": kindBilled, "bill": kindBilled, "invoice": kindBilled, "invoiced": kindBilled, "charged": kindBilled,
}

// kindRule says in words what kindWords accepts.
const kindRule = "use estimate, variation, day sheet, material or billed"

// uses reports whether rows of a kind may fill a column. A filled cell that
// would be dropped is refused, since it was meant to count.
func (k kind) uses(c column) bool {
	switch c {
	case colJob, colTitle, colJobType, colDate, colKind, colNote:
		return true
	case colTask, colLocation:
		return k != kindBilled
	case colProduct, colQuantity, colUnit:
		return k != kindBilled
	case colSurface, colMethod, colHours, colGrade:
		return k == kindEstimate || k == kindVariation || k == kindDaySheet
	case colCoat, colPerson:
		return k == kindDaySheet
	case colUnitPrice, colCost:
		return k == kindEstimate || k == kindVariation || k == kindMaterial
	case colPrice:
		return k == kindEstimate || k == kindVariation || k == kindBilled
	}
	return false
}
