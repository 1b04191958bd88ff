package reports

import "testing"

// TestHoursOf: expected values are worked out by hand in the comments.
func TestHoursOf(t *testing.T) {
	total := func(minutes, milli int64, by ...string) Total {
		return Total{By: by, Minutes: minutes, QuantityMilli: milli}
	}
	sums := [][]Total{
		{
			// Half of the coating and all of the masking (more was taped than planned): 300 + 120 = 420 of 720
			// measured minutes, and the same share of the 120 for travel: 70.
			total(600, 0, "hall", "coat", "estimate"), total(120, 0, "hall", "mask-edge", "variation"),
			total(120, 0, "hall", "travel", "estimate"), total(500, 0, "hall", "coat", "actual"),
			total(20, 0, "hall", "clean", "actual"),
			// Planned by time alone: nothing to earn by.
			total(240, 0, "flat", "coat", "estimate"), total(60, 0, "flat", "coat", "actual"),
			// Hours without a plan.
			total(45, 0, "shop", "coat", "actual"),
		},
		{
			total(0, 100_000, "hall", "coat", "m2", "estimate"), total(0, 50_000, "hall", "coat", "m2", "actual"),
			total(0, 60_000, "hall", "mask-edge", "m", "variation"), total(0, 70_000, "hall", "mask-edge", "m", "actual"),
			total(0, 10_000, "flat", "coat", "m2", "actual"),
		},
	}
	got := HoursOf(sums)
	for job, want := range map[string]JobHours{
		"hall": {Planned: 840, Earned: 490, Booked: 520, Measured: true}, "flat": {Planned: 240, Booked: 60},
		"shop": {Booked: 45},
	} {
		if got[job] != want {
			t.Errorf("%s is %+v, not %+v", job, got[job], want)
		}
	}
	if len(got) != 3 || len(HoursOf(nil)) != 0 {
		t.Errorf("hours of %v", got)
	}
}
