package demo

import "daysheet/events"

// phase puts the work of a job into its order.
type phase int

const (
	settingUp phase = iota
	protecting
	preparing
	priming
	firstCoat
	secondCoat
	lifting
	cleaning
)

// work is one line of a kind of job: so much for each square metre of floor.
type work struct {
	phase                 phase
	task, surface, method string
	perFloor              float64 // units for a square metre of floor
	product               string
	use                   float64 // of the product, for one unit of work
}

// kindOfJob is how jobs of one type are made up.
type kindOfJob struct {
	jobType  string
	share    int     // of 10 jobs
	floor    float64 // typical floor area in square metres
	markup   float64 // on what the hours are charged at
	outdoors bool
	titles   []string
	rooms    []string
	works    []work
}

var kindsOfJob = []kindOfJob{
	{newDwelling, 2, 190, 1, false,
		[]string{"New dwelling, two floors", "New dwelling with loft", "Row of two new dwellings"},
		[]string{"hall", "living room", "kitchen", "bedroom 1", "bedroom 2", "bathroom", "loft"},
		[]work{
			{protecting, "protect-floor", "screed", "", 1, "floor-card", 1.05},
			{protecting, "protect-glass", "glass", "", .11, "masking-film", 1.1},
			{protecting, "protect-socket-switch", "", "", .22, "cover-cap", 1},
			{protecting, "mask-edge", "", "", .7, "edge-tape", 1.15},
			{protecting, "mask-opening", "", "", .08, "masking-film", 1.1},
			{preparing, "fill", "board", "", .45, "filler", .25},
			{preparing, "sand", "board", "dry", .6, "abrasive", .03},
			{preparing, "caulk", "", "", .9, "", 0},
			{priming, "prime", "board", "spray", 2.6, "primer", .1},
			{firstCoat, "coat", "ceiling", "spray", 1, "ceiling-paint", .17},
			{firstCoat, "coat", "board", "spray", 2.4, "spray-paint", .17},
			{secondCoat, "coat", "board", "spray", 2.4, "spray-paint", .15},
			{secondCoat, "coat-door", "wood", "spray", .05, "trim-paint", .45},
		}},
	{occupied, 3, 120, 1, false,
		[]string{"Flat in use, all rooms", "Living floor, furniture stays", "Flat in use, hall and bedrooms"},
		[]string{"hall", "living room", "kitchen", "bedroom 1", "bedroom 2", "study"},
		[]work{
			{protecting, "protect-floor", "wood-floor", "", .9, "floor-fleece", 0},
			{protecting, "protect-joinery", "wood", "", .15, "masking-film", 1.1},
			{protecting, "protect-socket-switch", "", "", .25, "cover-cap", 1},
			{protecting, "protect-light-fitting", "", "", .06, "", 0},
			{protecting, "protect-radiator", "metal", "", .05, "", 0},
			{protecting, "protect-unit", "", "", .06, "masking-film", 4},
			{protecting, "mask-edge", "", "", 1, "fine-tape", 1.15},
			{preparing, "wash", "plaster", "wet", .8, "", 0},
			{preparing, "fill", "plaster", "", .35, "filler", .3},
			{preparing, "sand", "plaster", "dry", .5, "abrasive", .03},
			{firstCoat, "coat", "ceiling", "roller", .8, "ceiling-paint", .14},
			{firstCoat, "coat", "plaster", "roller", 1.9, "wall-paint", .14},
			{secondCoat, "coat", "plaster", "roller", 1.9, "wall-paint", .12},
			{secondCoat, "coat-trim", "wood", "brush", .5, "trim-paint", .03},
		}},
	{stairwell, 2, 75, .74, false,
		[]string{"Stairwell, three floors", "Stairwell with handrails", "Stairwell and flat doors"},
		[]string{"ground floor", "landing 1", "landing 2", "landing 3", "cellar stairs"},
		[]work{
			{protecting, "protect-floor", "stone", "", 1, "floor-card", 1.1},
			{protecting, "protect-handrail", "metal", "", .35, "masking-film", .6},
			{protecting, "protect-light-fitting", "", "", .06, "", 0},
			{protecting, "mask-edge", "", "", 1.4, "fine-tape", 1.15},
			{preparing, "wash", "plaster", "wet", 1.6, "", 0},
			{preparing, "fill", "plaster", "", .5, "filler", .3},
			{preparing, "sand", "wood", "dry", .8, "abrasive", .06},
			{priming, "prime", "metal", "brush", .3, "primer", .1},
			{firstCoat, "coat", "plaster", "roller", 2.6, "wall-paint", .14},
			{firstCoat, "coat-trim", "wood", "brush", 1.3, "trim-paint", .03},
			{secondCoat, "coat-trim", "wood", "brush", 1.3, "trim-paint", .03},
			{secondCoat, "coat-door", "wood", "brush", .09, "trim-paint", .4},
		}},
	{exterior, 2, 130, 1.05, true,
		[]string{"House outside, four sides", "Street front and eaves", "Outbuilding and fence"},
		[]string{"street side", "garden side", "left gable", "right gable"},
		[]work{
			{protecting, "protect-floor", "paving", "", .5, "floor-fleece", 0},
			{protecting, "protect-glass", "glass", "", .18, "masking-film", 1.15},
			{protecting, "mask-edge", "", "", .8, "edge-tape", 1.15},
			{preparing, "wash", "render", "wet", 1.4, "", 0},
			{preparing, "fill", "render", "", .25, "filler", .35},
			{preparing, "sand", "wood", "dry", .4, "abrasive", .05},
			{priming, "prime", "wood", "brush", .4, "primer", .11},
			{firstCoat, "coat", "render", "roller", 1.4, "render-paint", .2},
			{firstCoat, "coat-trim", "wood", "brush", .6, "trim-paint", .03},
			{secondCoat, "coat", "render", "roller", 1.4, "render-paint", .18},
		}},
	{fittedUnits, 1, 80, 1.1, false,
		[]string{"Kitchen units, sprayed in place", "Fitted wardrobes", "Kitchen and hall units"},
		[]string{"kitchen", "dining room", "hall", "dressing room"},
		[]work{
			{protecting, "protect-floor", "wood-floor", "", 1, "floor-card", 1.05},
			{protecting, "protect-worktop", "stone", "", .15, "masking-film", 1.2},
			{protecting, "mask-opening", "", "", .4, "masking-film", 1.1},
			{protecting, "mask-edge", "", "", 1.2, "fine-tape", 1.15},
			{preparing, "wash", "wood", "wet", 1, "", 0},
			{preparing, "sand", "wood", "dry", 1, "abrasive", .06},
			{priming, "prime", "wood", "spray", 1, "primer", .12},
			{firstCoat, "coat", "wood", "spray", 1, "trim-paint", .14},
			{secondCoat, "coat", "wood", "spray", 1, "trim-paint", .13},
			{secondCoat, "coat-door", "wood", "spray", .35, "trim-paint", .35},
		}},
}

// unitOf returns the usual unit of a standard task.
func unitOf(task string) events.Unit {
	t, _ := events.StandardTask(task)
	return t.Unit
}
