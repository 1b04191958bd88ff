package coating

// This file is the classification of water-borne coatings for walls and ceilings
// inside by EN 13300:2001. Class 1 is the best.

// ScrubClass returns the wet-scrub class of EN 13300 for a loss of film in
// micrometres after cycles of scrubbing by EN ISO 11998. A loss of exactly 5, 20
// or 70 µm is in the worse class. ok is false for cycles other than 200 and 40,
// and for 70 µm or more at 200: such a coating must be scrubbed again with 40.
func ScrubClass(lossUm float64, cycles int) (class int, ok bool) {
	if !(lossUm >= 0) {
		return 0, false
	}
	switch {
	case cycles == 200 && lossUm < 5:
		return 1, true
	case cycles == 200 && lossUm < 20:
		return 2, true
	case cycles == 200 && lossUm < 70:
		return 3, true
	case cycles == 40 && lossUm < 70:
		return 4, true
	case cycles == 40:
		return 5, true
	}
	return 0, false
}

// ContrastClass returns the contrast ratio (opacity) class of EN 13300 for a
// ratio in per cent at a spreading rate in m²/l. ok is false without the rate: a
// class has a meaning only with the rate at which it was reached.
func ContrastClass(percent, spreadingRate float64) (class int, ok bool) {
	if !(percent >= 0 && percent <= 100 && spreadingRate > 0) {
		return 0, false
	}
	switch {
	case percent >= 99.5:
		return 1, true
	case percent >= 98:
		return 2, true
	case percent >= 95:
		return 3, true
	}
	return 4, true
}

// Gloss is a degree of gloss by EN 13300.
type Gloss string

// The degrees of gloss. The zero value is none.
const (
	Glossy   Gloss = "gloss"
	MidSheen Gloss = "mid-sheen"
	Matt     Gloss = "matt"
	DeadMatt Gloss = "dead-matt"
)

// GlossOf returns the degree of gloss for reflectometer values at 60 and at 85
// degrees. Only at 60 or more at 60 degrees the value at 85 is not asked.
func GlossOf(at60, at85 float64) Gloss {
	switch {
	case at60 >= 60:
		return Glossy
	case at85 >= 10:
		return MidSheen
	case at85 >= 5:
		return Matt
	}
	return DeadMatt
}

// Grain is a class of the largest grain by EN 13300 and EN 1062-1.
type Grain string

// The classes of grain. The zero value is none.
const (
	Fine       Grain = "fine"
	Medium     Grain = "medium"
	Coarse     Grain = "coarse"
	VeryCoarse Grain = "very-coarse"
)

// GrainOf returns the class of a largest grain in micrometres.
func GrainOf(largestUm float64) Grain {
	switch {
	case largestUm <= 100:
		return Fine
	case largestUm <= 300:
		return Medium
	case largestUm <= 1500:
		return Coarse
	}
	return VeryCoarse
}
