package invent

import "daysheet/events"

// FirmKey is the key of the invented firm.
const FirmKey = "demo"

const (
	zone     = "Europe/Vienna"
	source   = "/demo"
	revision = "book-1"
)

// settings are the firm's. Names of people are single invented words.
func settings() *events.Settings {
	return &events.Settings{
		Name: "Brushwick & Daughters (invented)", Currency: "EUR", TimeZone: zone, Locale: "en", VATBasisPoints: 2000,
		JobTypes: []events.JobType{
			{JobType: "new-dwelling", Name: "New dwelling, sprayed"},
			{JobType: "occupied", Name: "Occupied redecoration"},
			{JobType: "stairwell", Name: "Stairwell and joinery"},
			{JobType: "exterior", Name: "Exterior"},
			{JobType: "fitted-units", Name: "Fitted units"},
		},
		Grades: []events.Grade{
			{Grade: "foreman", CostPerHourE4: 385_000}, {Grade: "painter", CostPerHourE4: 312_000},
			{Grade: "apprentice", CostPerHourE4: 178_000},
		},
		People: []events.FirmPerson{
			{Person: "ilvo", Name: "Ilvo", Grade: "foreman"}, {Person: "marn", Name: "Marn", Grade: "painter"},
			{Person: "sefa", Name: "Sefa", Grade: "painter"}, {Person: "tove", Name: "Tove", Grade: "painter"},
			{Person: "quill", Name: "Quill", Grade: "apprentice"}, {Person: "brae", Name: "Brae", Grade: "foreman"},
		},
	}
}

// crews work together; the first is the foreman.
var crews = [][]string{{"ilvo", "marn", "quill"}, {"brae", "sefa", "tove"}}

// products are invented, with prices that rise over the years.
var products = []events.Product{
	{Product: "floor-sheet", Name: "Floor sheet, adhesive", Unit: events.SquareMetre, PriceE4: 9_500, PackMilli: 50_000},
	{Product: "masking-film", Name: "Masking film", Unit: events.SquareMetre, PriceE4: 1_400, PackMilli: 66_000},
	{Product: "masking-tape", Name: "Masking tape, 14 days", Unit: events.Metre, PriceE4: 900, PackMilli: 50_000, CleanRemovalDays: 14},
	{Product: "cover-board", Name: "Cover board", Unit: events.SquareMetre, PriceE4: 21_000, Reusable: true},
	{Product: "cap-cover", Name: "Cap for sockets and detectors", Unit: events.Each, PriceE4: 2_500, PackMilli: 20_000},
	{Product: "filler", Name: "Filler", Unit: events.Kilogram, PriceE4: 34_000, PackMilli: 5_000},
	{Product: "acrylic-sealant", Name: "Acrylic sealant", Unit: events.Each, PriceE4: 29_000},
	{Product: "abrasive", Name: "Abrasive sheet", Unit: events.Sheet, PriceE4: 8_000, PackMilli: 50_000},
	{Product: "primer", Name: "Primer, water-borne", Unit: events.Litre, PriceE4: 92_000, PackMilli: 10_000,
		VolumeSolidsBasisPoints: 3800, RecoatMinutes: 240},
	{Product: "wall-paint", Name: "Wall paint, matt", Unit: events.Litre, PriceE4: 61_000, PackMilli: 15_000,
		VolumeSolidsBasisPoints: 4200, RecoatMinutes: 240},
	{Product: "trim-enamel", Name: "Trim enamel, satin", Unit: events.Litre, PriceE4: 198_000, PackMilli: 2_500,
		VolumeSolidsBasisPoints: 4000, RecoatMinutes: 960},
	{Product: "masonry-paint", Name: "Masonry paint", Unit: events.Litre, PriceE4: 84_000, PackMilli: 15_000,
		VolumeSolidsBasisPoints: 4600, RecoatMinutes: 360},
}

// work is one task as the firm's book has it: what a unit takes and consumes.
// Minutes and uses are invented, in a range that is common practice.
type work struct {
	task, surface, method string
	unit                  events.Unit
	minutesMilli          int64 // for one unit
	product               string
	useMilli              int64 // of the product, for one unit
	location              string
}

var book = map[string]work{
	"set-up":       {task: "set-up", unit: events.Hour, minutesMilli: 60_000},
	"travel":       {task: "travel", unit: events.Hour, minutesMilli: 60_000},
	"floor":        {"protect-floor", "floor", "", events.SquareMetre, 1_800, "floor-sheet", 1_050, "all rooms"},
	"floor-board":  {"protect-floor", "floor", "", events.SquareMetre, 2_400, "cover-board", 60, "stair and landing"},
	"glass":        {"protect-glass", "glass", "", events.SquareMetre, 5_000, "masking-film", 1_100, "windows"},
	"worktop":      {"protect-worktop", "worktop", "", events.SquareMetre, 4_000, "floor-sheet", 1_050, "kitchen"},
	"sockets":      {"protect-socket-switch", "", "", events.Each, 3_500, "cap-cover", 1_000, "all rooms"},
	"lights":       {"protect-light-fitting", "", "", events.Each, 6_000, "masking-film", 400, "ceilings"},
	"detectors":    {"protect-detector", "", "", events.Each, 3_000, "cap-cover", 1_000, "ceilings"},
	"radiators":    {"protect-radiator", "", "", events.Each, 11_000, "masking-film", 2_500, "all rooms"},
	"units":        {"protect-unit", "", "", events.Each, 14_000, "masking-film", 4_000, "kitchen"},
	"handrail":     {"protect-handrail", "wood", "", events.Metre, 3_000, "masking-film", 500, "stair"},
	"edges":        {"mask-edge", "", "", events.Metre, 1_200, "masking-tape", 1_150, "skirtings and frames"},
	"openings":     {"mask-opening", "", "", events.SquareMetre, 5_500, "masking-film", 1_100, "doorways"},
	"wash":         {"wash", "plaster", "", events.SquareMetre, 2_800, "", 0, "walls"},
	"sand-wood":    {"sand", "wood", "extracted", events.SquareMetre, 6_000, "abrasive", 100, "joinery"},
	"sand-wall":    {"sand", "plaster", "extracted", events.SquareMetre, 2_200, "abrasive", 40, "walls"},
	"fill":         {"fill", "plaster", "", events.SquareMetre, 2_500, "filler", 60, "walls"},
	"caulk":        {"caulk", "", "", events.Metre, 1_500, "acrylic-sealant", 80, "joints"},
	"prime-wood":   {"prime", "wood", "brush", events.SquareMetre, 7_000, "primer", 90, "joinery"},
	"prime-wall":   {"prime", "plaster", "roller", events.SquareMetre, 4_000, "primer", 85, "walls"},
	"spray-walls":  {"coat", "plaster", "spray", events.SquareMetre, 1_900, "wall-paint", 150, "walls and ceilings"},
	"roll-walls":   {"coat", "plaster", "roller", events.SquareMetre, 5_700, "wall-paint", 125, "walls"},
	"roll-ceiling": {"coat", "board", "roller", events.SquareMetre, 6_400, "wall-paint", 125, "ceilings"},
	"masonry":      {"coat", "render", "roller", events.SquareMetre, 6_900, "masonry-paint", 200, "elevations"},
	"spray-units":  {"coat", "wood", "spray", events.SquareMetre, 9_000, "trim-enamel", 140, "unit fronts"},
	"trim":         {"coat-trim", "wood", "brush", events.Metre, 4_800, "trim-enamel", 15, "skirtings and frames"},
	"doors":        {"coat-door", "wood", "brush", events.Each, 52_000, "trim-enamel", 300, "doors"},
	"lift":         {"lift-protection", "", "", events.SquareMetre, 900, "", 0, "all rooms"},
	"clean":        {"clean", "floor", "", events.SquareMetre, 1_100, "", 0, "all rooms"},
	"snagging":     {"snag", "", "", events.Each, 25_000, "", 0, "all rooms"},
}

// scope is the work of a kind of job for one unit of its size.
type scope struct {
	jobType string
	titles  []string
	size    float64 // usual size
	lines   []scopeLine
	margin  float64 // what the firm adds to its cost
}

type scopeLine struct {
	work string
	each float64 // quantity for one unit of size
	coat int64   // number of the coat; 0 where it is no coat
}

// scopes: size is floor area, except for the exterior (elevation) and fitted
// units (fronts).
var scopes = []scope{
	{"new-dwelling", []string{"New house, two floors", "New flat", "Row of three dwellings"}, 140, []scopeLine{
		{"set-up", .03, 0}, {"floor", .6, 0}, {"glass", .16, 0}, {"sockets", .25, 0}, {"openings", .06, 0}, {"edges", .5, 0},
		{"fill", .7, 0}, {"sand-wall", 2.6, 0}, {"prime-wall", 2.6, 0}, {"spray-walls", 3.4, 1}, {"spray-walls", 3.4, 2},
		{"trim", .5, 1}, {"lift", .8, 0}, {"clean", .9, 0}, {"snagging", .03, 0}}, 1.52},
	{"occupied", []string{"Living room and hall", "Three bedrooms", "Whole flat, lived in"}, 70, []scopeLine{
		{"travel", .03, 0}, {"floor", .95, 0}, {"sockets", .2, 0}, {"lights", .06, 0}, {"detectors", .03, 0}, {"radiators", .06, 0},
		{"edges", 1.1, 0}, {"wash", 1.8, 0}, {"fill", .9, 0}, {"sand-wall", 1.8, 0}, {"roll-ceiling", .95, 1},
		{"roll-walls", 2.4, 1}, {"roll-walls", 2.4, 2}, {"doors", .06, 1}, {"lift", 1.2, 0}, {"clean", 1, 0}, {"snagging", .05, 0}}, 1.48},
	{"stairwell", []string{"Stairwell, three floors", "Stair, landing and nine doors", "Hall, stair and joinery"}, 45, []scopeLine{
		{"travel", .04, 0}, {"floor-board", 1, 0}, {"handrail", .3, 0}, {"detectors", .06, 0}, {"lights", .08, 0}, {"edges", 1.4, 0},
		{"sand-wood", .9, 0}, {"fill", .6, 0}, {"caulk", .8, 0}, {"prime-wood", .9, 0}, {"roll-walls", 2.2, 1},
		{"trim", 1.3, 1}, {"trim", 1.3, 2}, {"doors", .2, 1}, {"lift", 1.3, 0}, {"clean", 1, 0}, {"snagging", .06, 0}}, 1.55},
	{"exterior", []string{"Rendered house front", "Garden side and gable", "All elevations"}, 130, []scopeLine{
		{"set-up", .04, 0}, {"glass", .15, 0}, {"openings", .05, 0}, {"floor", .25, 0}, {"edges", .3, 0}, {"wash", 1, 0},
		{"fill", .15, 0}, {"prime-wall", .4, 0}, {"masonry", 1, 1}, {"masonry", 1, 2}, {"lift", .45, 0}, {"snagging", .015, 0}}, 1.5},
	{"fitted-units", []string{"Kitchen fronts, sprayed", "Wardrobe wall", "Library shelves"}, 26, []scopeLine{
		{"travel", .05, 0}, {"set-up", .08, 0}, {"floor", .8, 0}, {"worktop", .25, 0}, {"units", .3, 0}, {"openings", .2, 0},
		{"edges", 1.6, 0}, {"sand-wood", 1.1, 0}, {"prime-wood", 1.1, 0}, {"spray-units", 1.1, 1}, {"spray-units", 1.1, 2},
		{"lift", 1.4, 0}, {"clean", .9, 0}, {"snagging", .08, 0}}, 1.6},
}
