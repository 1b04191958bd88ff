package measure

import (
	"strings"

	"daysheet/events"
)

// Factor is what the flat area of one kind of item is multiplied with, because
// more of it is coated than its outline: 130 hundredths for a panelled door.
type Factor struct {
	Item       string
	Hundredths int64
	Overall    bool // once for both sides together; else for each side
	Source     string
}

const (
	joinery    = "IS 1200-15:1987"
	corrugated = "IS 1200-13:1994, 3.4"
)

// Factors returns the factors for uneven surfaces.
func Factors() []Factor {
	return []Factor{
		{"panelled", 130, false, joinery},
		{"ledged-battened", 130, false, joinery},
		{"flush", 120, false, joinery},
		{"part-glazed", 100, false, joinery},
		{"fully-glazed", 80, false, joinery},
		{"louvred", 180, false, joinery},
		{"trellis", 200, true, joinery},
		{"carved", 200, false, joinery},
		{"weatherboard", 120, false, joinery},
		{"matchboard", 105, false, joinery},
		{"steel-plain", 110, false, joinery},
		{"steel-glazed", 50, false, joinery},
		{"steel-corrugated-door", 125, false, joinery},
		{"collapsible-gate", 150, true, joinery},
		{"rolling-shutter", 110, false, joinery},
		{"grille", 100, true, joinery},
		{"corrugated-steel", 114, false, corrugated},
		{"corrugated-cement", 120, false, corrugated},
		{"semi-corrugated", 110, false, corrugated},
	}
}

// FactoredArea returns the area in thousandths of m² that count items of the given
// outline are coated on, on one or two sides. Any unit of length will do: feet in
// thousandths give thousandths of a square foot. It refuses an item without a
// factor and sizes that cannot be.
func FactoredArea(item string, widthMm, heightMm, count, sides int64) (milli int64, err error) {
	err = within(boundedLength("width_mm", widthMm), boundedLength("height_mm", heightMm),
		bounded{"count", count, 1, countMax}, bounded{"sides", sides, 1, 2})
	if err != nil {
		return 0, err
	}
	var items []string
	for _, f := range Factors() {
		if f.Item == item {
			if f.Overall {
				sides = 1
			}
			return nearest(widthMm*heightMm*count, f.Hundredths*sides, 100_000), nil
		}
		items = append(items, f.Item)
	}
	return 0, events.Refuse("item", item, "use one of %s", strings.Join(items, ", "))
}
