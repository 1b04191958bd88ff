package measure

import "daysheet/events"

// Take is how much of a product a job takes: what is used, and what has to be
// bought for it. Amounts are thousandths of the product's unit.
type Take struct {
	NetMilli    int64 // as measured
	UsedMilli   int64 // with waste: what the job is costed at
	PacksMilli  int64 // UsedMilli in thousandths of a pack; 0 where it is sold by any amount
	Packs       int64 // whole packs to buy
	BoughtMilli int64
	LeftMilli   int64 // goes back to the store
}

// TakeOff adds waste to a measured quantity and rounds it up to whole packs. Waste
// is a share of the net quantity, not of what is used: 5 per cent on 60 m are 3
// m. A packMilli of 0 is sold by any amount. It refuses numbers that cannot be.
func TakeOff(netMilli, wasteBasisPoints, packMilli int64) (Take, error) {
	err := within(bounded{"net_milli", netMilli, 0, events.QuantityMilliMax},
		bounded{"waste_basis_points", wasteBasisPoints, 0, 100_000},
		bounded{"pack_milli", packMilli, 0, events.QuantityMilliMax})
	if err != nil {
		return Take{}, err
	}
	wanted := netMilli * (10_000 + wasteBasisPoints) // exact, in ten-thousandths of UsedMilli
	t := Take{NetMilli: netMilli, UsedMilli: nearest(wanted, 1, 10_000)}
	t.BoughtMilli = t.UsedMilli
	if packMilli > 0 {
		t.PacksMilli = nearest(wanted, 1, 10*packMilli)
		t.Packs = whole(wanted, 10_000, packMilli)
		t.BoughtMilli = t.Packs * packMilli
	}
	t.LeftMilli = t.BoughtMilli - t.UsedMilli
	return t, nil
}

// Strips returns how many strips of film or paper side by side cover a width where
// each laps over the one before. It refuses a lap that is as wide as the strip.
func Strips(coverMm, stripMm, lapMm int64) (strips int64, err error) {
	err = within(boundedLength("cover_mm", coverMm), boundedLength("strip_mm", stripMm),
		bounded{"lap_mm", lapMm, 0, stripMm - 1})
	if err != nil {
		return 0, err
	}
	return max(1, whole(coverMm-lapMm, 1, stripMm-lapMm)), nil
}

// Sheeting that public rules ask for, rounded up to whole millimetres.
const (
	LeadSafeInsideMm  = 1829 // 6 ft beyond the worked surface: 40 CFR 745.85(a)(2)
	LeadSafeOutsideMm = 3048 // 10 ft: 40 CFR 745.85(a)(2)
	AbatementUpWallMm = 458  // floor sheet 18 in up the wall: public specification for hazardous abatement
	AbatementLapMm    = 305  // wall sheet 12 in over the floor sheet: the same
)

// SheetAlong returns the floor sheet in thousandths of m² along a worked run of
// wall that has to reach beyondMm from it, in front and at both ends. It refuses
// lengths that cannot be.
func SheetAlong(runMm, beyondMm int64) (milli int64, err error) {
	if err := within(boundedLength("run_mm", runMm), boundedLength("beyond_mm", beyondMm)); err != nil {
		return 0, err
	}
	return areaMilli((runMm+2*beyondMm)*beyondMm, 1), nil
}

// SheetUpWalls returns the sheet in thousandths of m² for a whole floor that is
// turned up the walls, corners folded and not cut. It refuses lengths that cannot
// be; upMm may be 0.
func SheetUpWalls(lengthMm, widthMm, upMm int64) (milli int64, err error) {
	err = within(boundedLength("length_mm", lengthMm), boundedLength("width_mm", widthMm),
		bounded{"up_mm", upMm, 0, lengthMaxMm})
	if err != nil {
		return 0, err
	}
	return areaMilli((lengthMm+2*upMm)*(widthMm+2*upMm), 1), nil
}
