package measure

import (
	"strings"

	"daysheet/events"
)

// Rules beside those that an estimate can name, to compare with.
const (
	Gross = "gross" // nothing is deducted
	SMM7  = "smm7"  // voids up to 0.5 m² are measured over
	NRM2  = "nrm2"  // voids up to 1 m² are measured over
)

// rule is a rule of measurement as thresholds. An amount exactly at a threshold
// is on its lower side: measured over, or counted in the smaller unit.
type rule struct {
	name, source string
	gross        bool  // nothing is deducted
	openingMm2   int64 // single openings up to this are measured over
	floorMm2     int64 // the same in floors; 0 where it is no other
	oneFaceMm2   int64 // openings up to this are deducted on one face of the wall only; 0 for no such class
	edgeDeducted bool  // openings at the edge of the surface are deducted whatever their size
	revealsAdded bool  // reveals are added to the area above oneFaceMm2; else measured apart for every opening
	postMm       int64 // interruptions up to this width are measured over; 0 where they are taken as openings
	skirtingMm   int64 // skirtings up to this height are measured over
	gapMm        int64 // gaps up to this length are measured over
	stepMm       int64 // lengths are taken to the nearest multiple
	stepMilli    int64 // areas are taken to the nearest multiple, in thousandths of m²
	metreMm      int64 // pieces of up to this girth are counted by the metre
	columnMm     int64 // columns of up to this face are counted by the metre
	eachMilli    int64 // separate areas of up to this are counted by number
}

// rules returns every rule. The standards are told from second-hand accounts; SMM7
// and NRM2 are from memory.
func rules() []rule {
	return []rule{
		{name: events.MeasureNet, source: "every opening is deducted"},
		{
			name: events.MeasureDIN18363, source: "ATV DIN 18363, section 5",
			openingMm2: 2_500_000, floorMm2: 500_000, postMm: 300, skirtingMm: 100, gapMm: 1000,
			metreMm: 899, columnMm: 1000, eachMilli: 2499, // "less than" 90 cm and 2.5 m²
		},
		{
			name: events.MeasureIS1200, source: "IS 1200-13:1994, 3.2",
			openingMm2: 500_000, oneFaceMm2: 3_000_000, revealsAdded: true,
			stepMm: 10, stepMilli: 10, metreMm: 100,
		},
		{name: Gross, source: "nothing is deducted", gross: true},
		{
			name: SMM7, source: "SMM7 M60, from memory", openingMm2: 500_000, edgeDeducted: true,
			stepMm: 10, metreMm: 300, eachMilli: 500,
		},
		{
			name: NRM2, source: "NRM2 section 29, from memory", openingMm2: 1_000_000, edgeDeducted: true,
			stepMm: 10, metreMm: 300, eachMilli: 1000,
		},
	}
}

// Rules returns the names of the rules that [Measure] knows.
func Rules() []string {
	var names []string
	for _, r := range rules() {
		names = append(names, r.name)
	}
	return names
}

func ruleNamed(name string) (rule, error) {
	for _, r := range rules() {
		if r.name == name {
			return r, nil
		}
	}
	return rule{}, events.Refuse("rule", name, "use one of %s", strings.Join(Rules(), ", "))
}

// Piece is something to be coated, for the question what it is counted in.
type Piece struct {
	GirthMm   int64 // width unrolled across its length
	AreaMilli int64 // thousandths of m²
	Separate  bool  // stands alone, not part of a larger area
	Column    bool  // a column or pilaster; GirthMm is its face
}

// CountedIn returns the unit in which the rule counts a piece: separate small
// areas by number, narrow ones by the metre, all else by the square metre. It
// refuses a rule that is not known.
func CountedIn(ruleName string, p Piece) (events.Unit, error) {
	r, err := ruleNamed(ruleName)
	switch {
	case err != nil:
		return "", err
	case p.Separate && p.AreaMilli <= r.eachMilli:
		return events.Each, nil
	case p.GirthMm <= r.metreMm, p.Column && p.GirthMm <= r.columnMm:
		return events.Metre, nil
	}
	return events.SquareMetre, nil
}
