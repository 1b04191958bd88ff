package reports

import (
	"testing"

	"daysheet/events"
)

// TestEarnedValue compares with worked examples of earned value management that
// are published for teaching. The formulas are those of EIA-748 and ISO 21508
// (from memory); every figure was worked out again by hand. Amounts are in whole
// currency units.
func TestEarnedValue(t *testing.T) {
	const none = -1
	for _, c := range []struct {
		name, source                        string
		bac, pv, ev, ac                     int64
		cpi, spi, tcpi                      int64 // thousandths
		eacCPI, eacBudget, eacBoth, etc, va float64
	}{
		{"fence at the end of day 3", "exercise in a project management course; it prints 4479, 1679 and -479 " +
			"because it rounds CPI first", 4000, 3000, 2500, 2800, 893, 833, 1250, 4480, 4300, 4816, 1680, -480},
		{"per cent of a project", "poster of formulas of earned value", 100, 50, 40, 45, 889, 800, 1091,
			112.5, 105, 129.375, 67.5, -12.5},
		{"half a year", "exercise with data only, worked out by hand", 200_000, 120_000, 100_000, 90_000, 1111, 833, 909,
			180_000, 190_000, 198_000, 90_000, 20_000},
		{"400 loaves at hour 3", "exercise; it prints an SPI of 0.6, which is cut off and not rounded",
			80_000, 24_000, 16_000, 30_000, 533, 667, 1280, 150_000, 94_000, 210_000, 120_000, -70_000},
		{"a building", "exercise without a planned value", 5_000_000, none, 1_500_000, 1_800_000, 833, none, 1094,
			6_000_000, 5_300_000, none, 4_200_000, -1_000_000},
	} {
		v := EarnedValue{BAC: c.bac * 1e4, PV: c.pv * 1e4, EV: c.ev * 1e4, AC: c.ac * 1e4, Scheduled: c.pv != none}
		byCPI, ok := v.EACByCPI()
		both, planned := v.EACByCPIAndSPI()
		cpi, _ := v.CPI()
		spi, _ := v.SPI()
		tcpi, _ := v.TCPI(v.BAC)
		if !ok || planned != (c.pv != none) {
			t.Errorf("%s: an estimate at completion has no meaning: %v, %v", c.name, ok, planned)
		}
		for _, f := range []struct {
			figure    string
			got, want int64
		}{
			{"Cost index (CPI)", cpi, c.cpi}, {"Schedule index (SPI)", spi, max(c.spi, 0)}, {"Index needed (TCPI)", tcpi,
				c.tcpi},
			{"Final cost at this pace (EAC by CPI)", byCPI, int64(c.eacCPI * 1e4)}, {"Final cost by the budget (EAC by " +
				"budget)", v.EACByBudget(), int64(c.eacBudget * 1e4)},
			{"EAC by both", both, int64(max(c.eacBoth, 0) * 1e4)}, {"Still to spend (ETC)", byCPI - v.AC, int64(c.etc * 1e4)},
			{"Left over in the end (VAC)", v.BAC - byCPI, int64(c.va * 1e4)}, {"Cost variance (CV)", v.CV(),
				(c.ev - c.ac) * 1e4},
		} {
			if f.got != f.want {
				t.Errorf("%s (%s): %s is %d, want %d", c.name, c.source, f.figure, f.got, f.want)
			}
		}
		// Identity: to come to EAC by CPI, the rest must go as it went so far.
		if again, ok := v.TCPI(byCPI); !ok || again != cpi {
			t.Errorf("%s: TCPI to EAC is %d, want CPI %d", c.name, again, cpi)
		}
	}
}

// TestEarnedValueOfNothing requires that a figure without a meaning says so.
func TestEarnedValueOfNothing(t *testing.T) {
	var v EarnedValue
	if _, ok := v.CPI(); ok {
		t.Error("CPI of nothing spent has a meaning")
	}
	if _, ok := v.SPI(); ok {
		t.Error("SPI without a schedule has a meaning")
	}
	if _, ok := (EarnedValue{Scheduled: true}).SPI(); ok {
		t.Error("SPI with nothing planned yet has a meaning")
	}
	if _, ok := (EarnedValue{BAC: 5, AC: 5}).TCPI(5); ok {
		t.Error("TCPI with nothing left of the budget has a meaning")
	}
	if _, ok := (EarnedValue{BAC: 5, AC: 1}).EACByCPI(); ok {
		t.Error("EAC with nothing earned has a meaning")
	}
	if e4, how := (EarnedValue{AC: 7}).Forecast(); e4 != 7 || how != forecastNone {
		t.Errorf("without a budget the forecast is %d, %s", e4, how)
	}
	early := EarnedValue{BAC: 1000, EV: 199, AC: 400}
	if e4, how := early.Forecast(); e4 != 1201 || how != forecastByBudget {
		t.Errorf("below a fifth earned the forecast is %d, %s", e4, how)
	}
	early.EV = 200
	if e4, how := early.Forecast(); e4 != 2000 || how != forecastByCPI {
		t.Errorf("from a fifth earned the forecast is %d, %s", e4, how)
	}
}

// TestSchedule requires planned value by working days. 2 March 2026 is a Monday.
func TestSchedule(t *testing.T) {
	s := schedule{"2026-03-02", "2026-03-13"} // ten working days
	for day, want := range map[string]int64{"2026-03-01": 0, "2026-03-02": 100, "2026-03-06": 500, "2026-03-08": 500,
		"2026-03-09": 600, "2026-03-13": 1000, "2026-04-01": 1000} {
		if got := s.planned(1000, events.Day(day)); got != want {
			t.Errorf("planned by %s: %d, want %d", day, got, want)
		}
	}
	weekend := schedule{"2026-03-07", "2026-03-08"}
	if got := weekend.planned(1000, "2026-03-07"); got != 500 {
		t.Errorf("a weekend's work is planned by days: %d, want 500", got)
	}
	if s := scheduleOf(JobRow{Due: "2026-03-01", Start: "2026-03-02"}); s != (schedule{}) {
		t.Errorf("a job due before its start has the schedule %v", s)
	}
	if s := scheduleOf(JobRow{Due: "2026-03-09", Accepted: "2026-03-02"}); s.start != "2026-03-02" {
		t.Errorf("without a planned start the acceptance begins the schedule: %v", s)
	}
}
