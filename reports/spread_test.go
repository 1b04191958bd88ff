package reports

import (
	"fmt"
	"testing"

	"daysheet/events"
)

// TestSpreadOf compares quartiles with definition 7 of Hyndman and Fan, "Sample
// quantiles in statistical packages" (The American Statistician, 1996); the values
// are those of the default of R's quantile, from memory.
func TestSpreadOf(t *testing.T) {
	for _, c := range []struct {
		values         []int64
		q1, median, q3 int64
	}{
		{[]int64{100, 200, 300, 400, 500, 600, 700, 800, 900, 1000}, 325, 550, 775},
		{[]int64{400, 100, 300, 200}, 175, 250, 325},
		{[]int64{500, 100, 300, 400, 200}, 200, 300, 400},
		{[]int64{7}, 7, 7, 7},
		{[]int64{-10, 10}, -5, 0, 5},
	} {
		var figures []ofJob
		for i, v := range c.values {
			figures = append(figures, ofJob{JobRow{Job: fmt.Sprint(i)}, v})
		}
		s, ok := spreadOf(figures)
		if !ok || s.q1 != c.q1 || s.median != c.median || s.q3 != c.q3 {
			t.Errorf("%v: quartiles %d, %d, %d, want %d, %d, %d", c.values, s.q1, s.median, s.q3, c.q1, c.median, c.q3)
		}
	}
	if _, ok := spreadOf(nil); ok {
		t.Error("nothing has a spread")
	}
}

// TestSeason requires the meteorological seasons of the northern half.
func TestSeason(t *testing.T) {
	for day, want := range map[string]string{"2025-12-01": "1 Winter", "2026-02-28": "1 Winter", "2026-03-01": "2 Spring",
		"2026-08-31": "3 Summer", "2026-11-30": "4 Autumn", "": ""} {
		if got := season(events.Day(day)); got != want {
			t.Errorf("%s is in %q, want %q", day, got, want)
		}
	}
}
