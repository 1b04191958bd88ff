package reports

import (
	"testing"
)

// TestByHand holds figures that were worked out by hand from the events of the
// scenarios, so that rewriting the expected reports cannot bless nonsense. A
// painter costs 32.00 an hour, an apprentice 18.00; money is in
// ten-thousandths, shares in hundredths of a per cent.
func TestByHand(t *testing.T) {
	for _, c := range []struct {
		scenario           string
		question           int
		table, row, column string
		want               int64
		because            string
	}{
		{"job-won", 0, "hours", "All hours", "budget_minutes", 720, "60 + 120 + 540"},
		{"job-won", 0, "hours", "All hours", "actual_minutes", 690, "45 + 105 + 300 + 240"},
		{"job-won", 0, "money", "Labour", "budget_e4", 384_0000, "12 h x 32.00"},
		{"job-won", 0, "money", "Labour", "actual_e4", 368_0000, "11.5 h x 32.00"},
		{"job-won", 0, "money", "Material", "budget_e4", 89_0000, "10 l x 6.50 + 1 roll x 24.00"},
		{"job-won", 0, "money", "Material", "actual_e4", 82_5000, "9 l x 6.50 + 1 roll x 24.00"},
		{"job-won", 0, "margin", "Actual", "margin_e4", 449_5000, "900.00 - 368.00 - 82.50"},
		{"job-won", 0, "margin", "Actual", "margin_basis_points", 4994, "449.50 / 900.00 = 0.49944"},
		{"job-won", 0, "margin", "Budget", "margin_basis_points", 4744, "(900.00 - 473.00) / 900.00 = 0.47444"},
		{"job-won", 1, "tasks", "Rub down", "actual_minutes_per_unit_milli", 2625, "105 min / 40 m2"},
		{"job-won", 1, "tasks", "Protect floor", "difference_basis_points", -2500, "(45 - 60) / 60"},

		{"job-lost-to-protection", 0, "hours", "Protection", "actual_share_of_budget_basis_points", 33333, "200 / 60"},
		{"job-lost-to-protection", 0, "money", "Labour", "actual_e4", 550_3333,
			"Anna 200, 640 and 40 min: 106.6667 + 341.3333 + 21.3333; Ben 270 min: 81.00"},
		{"job-lost-to-protection", 0, "money", "Material", "actual_e4", 123_6000, "5 x 4.20 + 8.4 x 6.50 + 2 x 24.00"},
		{"job-lost-to-protection", 0, "margin", "Actual", "margin_e4", -33_9333, "640.00 - 550.3333 - 123.60"},
		{"job-lost-to-protection", 0, "margin", "Actual", "margin_basis_points", -530, "-33.9333 / 640.00 = -0.05302"},
		{"job-lost-to-protection", 1, "tasks", "Coat surface", "actual_minutes_per_unit_milli", 10667, "640 / 60"},
		{"job-lost-to-protection", 3, "job-types", "Redecoration", "lost_jobs_count", 1, "the one job made a loss"},

		{"hours-voided", 0, "tasks", "Coat surface", "actual_minutes", 500, "both bookings stand before the void"},
		{"hours-voided", 1, "tasks", "Coat surface", "actual_minutes", 250, "one is void"},

		{"variation-agreed", 0, "money", "Price", "budget_e4", 550_0000, "400.00 + 150.00"},
		{"variation-agreed", 0, "money", "Labour", "variation_e4", 64_0000, "2 h x 32.00"},
		{"variation-agreed", 1, "tasks", "Coat surface", "budget_minutes", 330, "240 + 90"},
		{"variation-agreed", 1, "tasks", "Coat surface", "actual_minutes_per_unit_milli", 6182, "340 / 55 = 6.1818"},

		{"two-tapes-one-task", 0, "use", "Mask edge", "above_plan_milli", 6000, "176 used on a and b - 60 - 220/2"},
		{"two-tapes-one-task", 0, "use", "Mask edge", "used_milli", 187_000, "66 + 110 + 11, c included"},

		{"estimate-revised", 0, "money", "Price", "budget_e4", 400_0000, "the only one issued"},
		{"estimate-revised", 1, "money", "Price", "budget_e4", 440_0000, "the last one issued"},
		{"estimate-revised", 2, "money", "Price", "budget_e4", 400_0000, "the first was accepted"},
		{"estimate-revised", 3, "money", "Price", "budget_e4", 400_0000, "a third was issued, not accepted"},
		{"estimate-revised", 4, "money", "Price", "budget_e4", 500_0000, "the third was accepted"},

		{"job-retyped", 0, "job-types", "Stairwell", "actual_minutes", 320, "all of the job"},
		{"job-retyped", 0, "job-types", "All types", "jobs_count", 1, "one job, under one type"},

		{"job-reopened", 0, "jobs", "1 job", "price_e4", 400_0000, "the first bill"},
		{"job-reopened", 3, "money", "Price", "actual_e4", 430_0000, "the last bill is for the whole job"},
		{"job-reopened", 3, "margin", "Actual", "margin_e4", 270_0000, "430.00 - 5 h x 32.00"},

		{"material-returned", 0, "consumables", "Edge tape", "used_quantity_milli", 4000, "6 - 2 rolls"},
		{"material-returned", 0, "consumables", "Edge tape", "used_cost_e4", 20_0000, "4 x 50.00 / 10, by the last purchase"},
		{"material-returned", 0, "consumables", "Edge tape", "budget_cost_e4", 16_8000, "4 x 4.20, before the purchase"},

		{"damage-made-good", 0, "money", "Damage", "actual_e4", 120_0000, "expected; the other 300.00 are not ours"},
		{"damage-made-good", 1, "money", "Damage", "actual_e4", 115_5000, "90.00 + 25.50 in place of 120.00"},

		{"product-unpriced", 0, "consumables", "All products", "used_cost_e4", 18_7500, "the primer's own price"},
		{"product-unpriced", 2, "marks", "unpriced", "entries_count", 4, "improver, filler twice, Cara"},

		{"task-unknown", 0, "tasks", "Strip paper", "actual_minutes_per_unit_milli", 5000, "150 / 30"},
		{"task-unknown", 2, "hours", "Other", "actual_minutes", 75, "on no list"},

		{"as-of-the-past", 0, "hours", "All hours", "actual_minutes", 200, "before the late booking"},
		{"as-of-the-past", 2, "jobs", "2 jobs", "actual_minutes", 420, "200 + 100 + 120"},

		{"types-compared", 0, "job-types", "Redecoration", "margin_e4", 182_0000, "(300 - 96) + (90 - 112)"},
		{"types-compared", 0, "job-types", "Redecoration", "margin_basis_points", 4667, "182 / 390 = 0.46667"},
		{"types-compared", 0, "job-types", "Redecoration", "worst_margin_e4", -22_0000, "90.00 - 3.5 h x 32.00"},
		{"types-compared", 0, "job-types", "Stairwell", "lost_jobs_count", 0, "160 - 5 x 32 is even; one has no price"},
		{"types-compared", 0, "job-types", "All types", "cost_e4", 386_0000, "96 + 112 + 160 + 18"},
		{"types-compared", 0, "job-types", "All types", "margin_e4", 182_0000, "the job without a price has none"},
	} {
		r := readScenario(t, "testdata/"+c.scenario+".txt").reportsOf(t)[c.question]
		cell := find(t, r, c.table, c.row, c.column)
		if cell.Number != c.want || cell.Blank {
			t.Errorf("%s, question %d: %s of %s is %d (blank: %v), by hand it is %d: %s",
				c.scenario, c.question+1, c.column, c.row, cell.Number, cell.Blank, c.want, c.because)
		}
	}
}

// TestWordsByHand holds the words that must stand where a number would mislead.
func TestWordsByHand(t *testing.T) {
	for _, c := range []struct {
		scenario           string
		question           int
		table, row, column string
		want               string
	}{
		{"task-unknown", 0, "tasks", "Caulk", "remark", "planned, never done"},
		{"task-unknown", 1, "tasks", "Caulk", "remark", "planned, not done yet"},
		{"task-unknown", 0, "tasks", "gild-cornice", "remark", "done, never planned"},
		{"task-unknown", 0, "tasks", "Coat surface", "remark", "done, but no hours booked"},
		{"types-compared", 0, "job-types", "Redecoration", "worst_job", "Bathroom"},
		{"types-compared", 3, "jobs", "Bathroom", "price_from", "budget"},
		{"types-compared", 3, "jobs", "Attic room", "price_from", "billed"},
		{"product-unpriced", 0, "consumables", "filler", "remark", "counted at no cost"},
		{"hours-voided", 2, "job", "hall", "state", "running"},
		{"variation-agreed", 0, "job", "hall", "state", "signed off"},
		{"job-reopened", 3, "job", "hall", "finished", "2026-02-21"},
	} {
		r := readScenario(t, "testdata/"+c.scenario+".txt").reportsOf(t)[c.question]
		if got := find(t, r, c.table, c.row, c.column).Text; got != c.want {
			t.Errorf("%s, question %d: %s of %s is %q, want %q", c.scenario, c.question+1, c.column, c.row, got, c.want)
		}
	}
}

// TestUnitsShareMinutes requires that a task measured in two units shows its
// minutes once, and no rate that the hours cannot tell apart.
func TestUnitsShareMinutes(t *testing.T) {
	r := readScenario(t, "testdata/task-unknown.txt").reportsOf(t)[0]
	var rows [][]Cell
	for _, row := range r.Tables[0].Rows {
		if row[0].Text == "Lift protection" {
			rows = append(rows, row)
		}
	}
	if len(rows) != 2 {
		t.Fatalf("lifting was measured in m2 and each: %d rows", len(rows))
	}
	minutes, rate := column(t, r.Tables[0], "actual_minutes"), column(t, r.Tables[0], "actual_minutes_per_unit_milli")
	if rows[0][minutes].Number != 30 || rows[0][minutes].Blank || !rows[1][minutes].Blank {
		t.Errorf("minutes are shown as %+v and %+v, want 30 and blank", rows[0][minutes], rows[1][minutes])
	}
	if !rows[0][rate].Blank || !rows[1][rate].Blank {
		t.Errorf("minutes per unit are shown although the hours are of both units")
	}
	var sum int64
	for _, row := range r.Tables[0].Rows {
		sum += row[minutes].Number
	}
	if total := r.Tables[0].Total[minutes].Number; sum != total {
		t.Errorf("the rows add up to %d minutes, the total says %d", sum, total)
	}
}

// find returns the cell of a table by the first cell of its row and its column.
func find(t *testing.T, r Report, table, first, key string) Cell {
	t.Helper()
	for _, tab := range r.Tables {
		if tab.Name != table {
			continue
		}
		k := column(t, tab, key)
		for _, row := range append(tab.Rows[:len(tab.Rows):len(tab.Rows)], tab.Total) {
			if len(row) > 0 && row[0].Text == first {
				return row[k]
			}
		}
	}
	t.Fatalf("report %s has no row %q in a table %q", r.Name, first, table)
	return Cell{}
}

func column(t *testing.T, table Table, key string) int {
	t.Helper()
	for i, c := range table.Columns {
		if c.Key == key {
			return i
		}
	}
	t.Fatalf("table %s has no column %q", table.Name, key)
	return 0
}
