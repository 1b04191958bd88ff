package measure

import (
	"fmt"
	"strconv"

	"daysheet/events"
)

// Line says what the rule made of one thing in a surface.
type Line struct {
	Name          string
	AreaMilli     int64  // of all of its kind, thousandths of m²
	ChangeMilli   int64  // what it changed the measured area by; below zero for a deduction
	SeparateMilli int64  // measured beside the area, as reveals are
	Why           string // one sentence
}

// Measured is a surface by a rule. GrossMilli and the changes of all lines add up
// to AreaMilli. All are thousandths of a square metre.
type Measured struct {
	Rule          string
	Source        string
	GrossMilli    int64
	AreaMilli     int64
	SeparateMilli int64 // reveals that the rule measures apart from the area
	Lines         []Line
}

// Measure returns the area of a surface by a rule. It refuses a rule that is not
// known, sizes that cannot be, and deductions that are more than the surface.
func Measure(ruleName string, s Surface) (Measured, error) {
	r, err := ruleNamed(ruleName)
	if err != nil {
		return Measured{}, err
	}
	if err := s.check(); err != nil {
		return Measured{}, err
	}
	m := Measured{Rule: r.name, Source: r.source, GrossMilli: r.area(s.LengthMm, s.HeightMm, 1)}
	m.AreaMilli = m.GrossMilli
	for _, o := range s.Openings {
		m.add(r.opening(s.Place, o))
		if o.RevealMm > 0 {
			m.add(r.reveal(o))
		}
	}
	for _, n := range s.Interruptions {
		m.add(r.interruption(n))
	}
	if s.SkirtingHeightMm > 0 && s.SkirtingLengthMm > 0 {
		m.add(r.skirting(s))
	}
	if m.AreaMilli < 0 {
		return Measured{}, events.Refuse("openings", metres(m.GrossMilli-m.AreaMilli)+" m2",
			"deduct not more than the surface, which is %s m2", metres(m.GrossMilli))
	}
	return m, nil
}

func (m *Measured) add(l Line) {
	m.AreaMilli += l.ChangeMilli
	m.SeparateMilli += l.SeparateMilli
	m.Lines = append(m.Lines, l)
}

// mm returns a length as the rule takes it.
func (r rule) mm(length int64) int64 { return toStep(length, r.stepMm) }

func (r rule) area(aMm, bMm, count int64) int64 {
	return areaMilli(r.mm(aMm)*r.mm(bMm)*count, r.stepMilli)
}

// opening says what becomes of one kind of opening. The size of a single one
// decides, not their sum.
func (r rule) opening(place Place, o Opening) Line {
	single := r.mm(o.WidthMm) * r.mm(o.HeightMm)
	limit := r.openingMm2
	if place == Floor && r.floorMm2 > 0 {
		limit = r.floorMm2
	}
	l := Line{Name: o.Name, AreaMilli: r.area(o.WidthMm, o.HeightMm, o.Count)}
	size := metres(areaMilli(single, 1)) + " m2 each"
	switch {
	case r.gross:
		l.Why = size + ": this rule deducts nothing"
	case r.edgeDeducted && o.AtEdge:
		l.ChangeMilli, l.Why = -l.AreaMilli, size+": deducted whatever its size, because it reaches the edge"
	case single <= limit:
		l.Why = fmt.Sprintf("%s is not over %s m2: measured over", size, metres(areaMilli(limit, 1)))
	case single <= r.oneFaceMm2:
		l = r.oneFace(l, o, size)
	case limit == 0:
		l.ChangeMilli, l.Why = -l.AreaMilli, size+": every opening is deducted"
	default:
		l.ChangeMilli = -l.AreaMilli
		l.Why = fmt.Sprintf("%s is over %s m2: deducted", size, metres(areaMilli(max(limit, r.oneFaceMm2), 1)))
	}
	return l
}

// oneFace decides on which face of the wall an opening of the middle class is
// deducted.
func (r rule) oneFace(l Line, o Opening, size string) Line {
	size = fmt.Sprintf("%s is not over %s m2: deducted on one face only, ", size, metres(areaMilli(r.oneFaceMm2, 1)))
	switch different := o.Face == FacesDifferent; {
	case o.Face == FaceSpared:
		l.Why = size + "and the other face bears it"
	case different && o.RevealMm > o.OtherRevealMm:
		l.Why = size + "and the other face has the narrower reveal"
	case different && o.RevealMm == o.OtherRevealMm:
		l.ChangeMilli = -share(l.AreaMilli, 1, 2, r.stepMilli)
		l.Why = size + "half on each, because the reveals are equal"
	case different:
		l.ChangeMilli, l.Why = -l.AreaMilli, size+"and this face has the narrower reveal"
	default:
		l.ChangeMilli, l.Why = -l.AreaMilli, size+"and this face bears it"
	}
	return l
}

// reveal measures head and jambs, and the sill where it is coated.
func (r rule) reveal(o Opening) Line {
	edge := r.mm(o.WidthMm) + 2*r.mm(o.HeightMm)
	if o.Sill {
		edge += r.mm(o.WidthMm)
	}
	l := Line{Name: o.Name + ", reveal", AreaMilli: areaMilli(edge*r.mm(o.RevealMm)*o.Count, r.stepMilli)}
	switch {
	case !r.revealsAdded:
		l.SeparateMilli, l.Why = l.AreaMilli, "reveals are measured apart, whatever the size of the opening"
	case r.mm(o.WidthMm)*r.mm(o.HeightMm) > r.oneFaceMm2:
		l.ChangeMilli = l.AreaMilli
		l.Why = fmt.Sprintf("added, because the opening is over %s m2", metres(areaMilli(r.oneFaceMm2, 1)))
	default:
		l.Why = fmt.Sprintf("not added, because the opening is not over %s m2", metres(areaMilli(r.oneFaceMm2, 1)))
	}
	return l
}

// interruption goes by width where the rule has one, else by area like an
// opening.
func (r rule) interruption(n Interruption) Line {
	l := Line{Name: n.Name, AreaMilli: r.area(n.WidthMm, n.LengthMm, 1)}
	width := r.mm(n.WidthMm)
	over := width*r.mm(n.LengthMm) > r.openingMm2
	limit := metres(areaMilli(r.openingMm2, 1)) + " m2"
	if r.postMm > 0 {
		over, limit = width > r.postMm, metres(r.postMm)+" m wide"
	}
	switch {
	case r.gross:
		l.Why = "this rule deducts nothing"
	case over:
		l.ChangeMilli, l.Why = -l.AreaMilli, "over "+limit+": deducted"
	default:
		l.Why = "not over " + limit + ": measured over"
	}
	return l
}

func (r rule) skirting(s Surface) Line {
	l := Line{Name: "skirting", AreaMilli: r.area(s.SkirtingLengthMm, s.SkirtingHeightMm, 1)}
	switch {
	case r.gross:
		l.Why = "this rule deducts nothing"
	case r.mm(s.SkirtingHeightMm) <= r.skirtingMm:
		l.Why = fmt.Sprintf("not over %s m high: measured over", metres(r.skirtingMm))
	case r.skirtingMm == 0:
		l.ChangeMilli, l.Why = -l.AreaMilli, "this rule knows no height of skirting that is measured over: deducted"
	default:
		l.ChangeMilli, l.Why = -l.AreaMilli, fmt.Sprintf("over %s m high: deducted", metres(r.skirtingMm))
	}
	return l
}

// metres says thousandths with no more places than needed, for sentences.
func metres(milli int64) string { return strconv.FormatFloat(float64(milli)/1000, 'f', -1, 64) }
