package measure

import (
	"fmt"

	"daysheet/events"
)

// Place is where a surface is; rules differ for floors. The zero value is a wall
// or ceiling.
type Place string

// Floor is a floor, also one that is sheeted and not coated.
const Floor Place = "floor"

// Face says how an opening stands to the other face of its wall. Only IS 1200
// asks. The zero value deducts here, so that no area is billed that may not be.
type Face string

// The faces.
const (
	FaceDeducts    Face = ""                 // same finish on both, and this face bears the deduction
	FaceSpared     Face = "other-deducts"    // same finish on both, and the other face bears it
	FacesDifferent Face = "different-finish" // the face with the narrower reveal bears it; equal ones half each
)

// Bounds of what is measured, far above any building.
const (
	lengthMaxMm = int64(1_000_000)
	countMax    = int64(1_000)
	listMax     = 500
)

// Opening is a door, window, recess or hole, or several of one size. Its smallest
// clear size counts.
type Opening struct {
	Name          string
	WidthMm       int64
	HeightMm      int64
	Count         int64 // at least 1
	RevealMm      int64 // depth of the reveal that is coated; 0 for none
	Sill          bool  // the sill is coated with the reveal; else head and two jambs
	AtEdge        bool  // reaches the edge of the surface, so that it is no void inside it
	Face          Face
	OtherRevealMm int64 // depth of the reveal on the other face, for FacesDifferent
}

// Interruption is a post, beam or pipe that crosses the surface.
type Interruption struct {
	Name     string
	WidthMm  int64
	LengthMm int64
}

// Surface is a flat or unrolled area, all walls of a room for example.
type Surface struct {
	Name             string
	Place            Place
	LengthMm         int64
	HeightMm         int64
	Openings         []Opening
	Interruptions    []Interruption
	SkirtingHeightMm int64 // skirting or plinth that is not coated with the surface; 0 for none
	SkirtingLengthMm int64
}

// Walls returns the walls of a room of the given inner size, unrolled.
func Walls(lengthMm, widthMm, heightMm int64, openings ...Opening) Surface {
	return Surface{Name: "walls", LengthMm: 2 * (lengthMm + widthMm), HeightMm: heightMm, Openings: openings}
}

// check refuses what cannot be, and bounds every number so that no sum of them
// can overflow.
func (s Surface) check() error {
	bounded := []bounded{{"length_mm", s.LengthMm, 1, lengthMaxMm}, {"height_mm", s.HeightMm, 1, lengthMaxMm},
		{"skirting_height_mm", s.SkirtingHeightMm, 0, lengthMaxMm},
		{"skirting_length_mm", s.SkirtingLengthMm, 0, lengthMaxMm},
		{"openings", int64(len(s.Openings)), 0, listMax}, {"interruptions", int64(len(s.Interruptions)), 0, listMax}}
	for i, o := range s.Openings {
		at := fmt.Sprintf("openings[%d].", i)
		bounded = append(bounded, o.bounds(at)...)
		if o.Face != FaceDeducts && o.Face != FaceSpared && o.Face != FacesDifferent {
			return events.Refuse(at+"face", string(o.Face), "leave it out or use %s or %s", FaceSpared, FacesDifferent)
		}
	}
	for i, n := range s.Interruptions {
		at := fmt.Sprintf("interruptions[%d].", i)
		bounded = append(bounded, boundedLength(at+"width_mm", n.WidthMm), boundedLength(at+"length_mm", n.LengthMm))
	}
	if s.Place != "" && s.Place != Floor {
		return events.Refuse("place", string(s.Place), "leave it out or use %s", Floor)
	}
	return within(bounded...)
}

func (o Opening) bounds(at string) []bounded {
	return []bounded{
		boundedLength(at+"width_mm", o.WidthMm), boundedLength(at+"height_mm", o.HeightMm),
		{at + "count", o.Count, 1, countMax},
		{at + "reveal_mm", o.RevealMm, 0, lengthMaxMm}, {at + "other_reveal_mm", o.OtherRevealMm, 0, lengthMaxMm},
	}
}

// bounded is a number with what it may be.
type bounded struct {
	field              string
	value, least, most int64
}

func boundedLength(field string, mm int64) bounded { return bounded{field, mm, 1, lengthMaxMm} }

// within refuses the first number that is out of its bounds.
func within(all ...bounded) error {
	for _, b := range all {
		if b.value < b.least || b.value > b.most {
			return events.Refuse(b.field, b.value, "a whole number from %d to %d", b.least, b.most)
		}
	}
	return nil
}
