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
