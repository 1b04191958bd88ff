package coating

// VOCCategory is one product category of directive 2004/42/EC, annex II A, with
// its limits of phase II (2010) in grams for a litre ready to use.
type VOCCategory struct {
	Category     string // letter of the directive
	Name         string
	WaterBorne   float64
	SolventBorne float64
}

// VOCCategories returns the categories in the order of the directive.
func VOCCategories() []VOCCategory {
	return []VOCCategory{
		{"a", "Matt walls and ceilings inside, gloss up to 25 at 60 degrees", 30, 30},
		{"b", "Glossy walls and ceilings inside, gloss over 25 at 60 degrees", 100, 100},
		{"c", "Walls of mineral substrate outside", 40, 430},
		{"d", "Trim and cladding of wood, metal or plastic", 130, 300},
		{"e", "Varnish and stain for trim", 130, 400},
		{"f", "Stain of minimal build", 130, 700},
		{"g", "Primer", 30, 350},
		{"h", "Binding primer", 30, 750},
		{"i", "One-pack performance coating", 140, 500},
		{"j", "Two-pack performance coating", 140, 500},
		{"k", "Multicoloured coating", 100, 100},
		{"l", "Coating for decorative effect", 200, 200},
	}
}

// VOCLimit returns the limit of a category in grams for a litre ready to use. ok
// is false for a letter that the directive does not have.
func VOCLimit(category string, waterBorne bool) (gramsPerLitre float64, ok bool) {
	for _, c := range VOCCategories() {
		switch {
		case c.Category != category:
		case waterBorne:
			return c.WaterBorne, true
		default:
			return c.SolventBorne, true
		}
	}
	return 0, false
}

// WallCategory returns the category of a coating for walls and ceilings inside
// with the given gloss at 60 degrees: exactly 25 is still matt.
func WallCategory(glossAt60 float64) string {
	if glossAt60 > 25 {
		return "b"
	}
	return "a"
}
