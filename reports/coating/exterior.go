package coating

// This file is the classification of coatings for masonry outside by EN 1062-1.

// WaterClass returns the class W1 to W3 of EN 1062-1 for a transmission of liquid
// water in kg/(m²·√h). W3 lets least through; exactly 0.5 is W2, exactly 0.1 W3.
// ok is false for a value below zero.
func WaterClass(transmission float64) (class int, ok bool) {
	return descending(transmission, 0.5, 0.1)
}

// VapourClass returns the class V1 to V3 of EN 1062-1 for a transmission of water
// vapour in g/(m²·d). V1 lets most through; exactly 150 is V2, exactly 15 V3. ok
// is false for a value below zero.
func VapourClass(transmission float64) (class int, ok bool) {
	return descending(transmission, 150, 15)
}

// descending returns 1 above first, 2 above second, else 3.
func descending(value, first, second float64) (class int, ok bool) {
	switch {
	case !(value >= 0):
		return 0, false
	case value > first:
		return 1, true
	case value > second:
		return 2, true
	}
	return 3, true
}

// VapourClassOfLayer is [VapourClass] for the same property told as the
// equivalent air layer s_d in metres: the greater, the less passes. Exactly 0.14
// is V2, exactly 1.4 V3.
func VapourClassOfLayer(metres float64) (class int, ok bool) {
	switch {
	case !(metres >= 0):
		return 0, false
	case metres < 0.14:
		return 1, true
	case metres < 1.4:
		return 2, true
	}
	return 3, true
}

// FilmClass returns the class E1 to E5 of EN 1062-1 for a dry film in
// micrometres. The bounds are from memory. ok is false without a film.
func FilmClass(dryFilmUm float64) (class int, ok bool) {
	if !(dryFilmUm > 0) {
		return 0, false
	}
	for i, most := range []float64{50, 100, 200, 400} {
		if dryFilmUm <= most {
			return i + 1, true
		}
	}
	return 5, true
}
