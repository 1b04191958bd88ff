package main

import (
	"testing"

	"daysheet/services/httpd"
)

const (
	pastJobs = "../intake/history/testdata/past-jobs.csv"
	pastFirm = "quillmarsh" // the invented firm of the sheet
)

// TestPastJobsFromASpreadsheet imports the invented, untidy sheet of past jobs by
// the documented command and compares the reports with figures worked out by
// hand from its rows. The arithmetic stands in the tests beside the sheet; its
// only source is the sheet.
func TestPastJobsFromASpreadsheet(t *testing.T) {
	folder := t.TempDir()
	imported := ImportCmd{File: pastJobs}
	imported.Firm = pastFirm
	if err := imported.Run(t.Context(), &Globals{Data: folder}); err == nil {
		t.Fatal("a sheet with rows that cannot be right was imported whole")
	}
	imported.SkipBad = true
	for range 2 { // the second time nothing may be added
		if err := imported.Run(t.Context(), &Globals{Data: folder}); err != nil {
			t.Fatal(err)
		}
	}
	a := mustOpen(t, folder)
	defer mustClose(t, a)
	if err := a.catchUp(t.Context(), pastFirm); err != nil {
		t.Fatal(err)
	}
	c := a.inProcess(httpd.Caller{Firm: pastFirm, Name: "owner", Scopes: httpd.Scopes()})

	want := map[string]struct{ jobs, planned, done, billed, material int64 }{
		"exterior":              {5, 7710, 8515, 9775_00, 2137_62},
		"fitted-units":          {6, 4365, 5285, 7675_00, 4912_14},
		"new-dwelling-sprayed":  {5, 4020, 4420, 6580_00, 1499_30},
		"occupied-redecoration": {6, 4845, 6335, 7735_00, 2081_31},
		"stairwell-and-joinery": {6, 3510, 4970, 6530_00, 3217_97},
	}
	rows := mustReport(t, c, "/v1/reports/job-types").rows(t, "job-types")
	if len(rows) != len(want) {
		t.Errorf("%d job types in the report, want %d", len(rows), len(want))
	}
	for _, row := range rows {
		kind := text(row, "job_type")
		w := want[kind]
		expect(t, kind, "jobs", whole(row, "jobs_count"), w.jobs)
		expect(t, kind, "planned minutes", whole(row, "budget_minutes"), w.planned)
		expect(t, kind, "minutes", whole(row, "actual_minutes"), w.done)
		expect(t, kind, "billed", whole(row, "price_e4"), w.billed*100)
		// The sheet knows no wages, so that the cost is the material alone.
		expect(t, kind, "cost", whole(row, "cost_e4"), w.material*100)
	}
	tasks := map[string][4]int64{} // planned and done minutes, planned and done thousandths
	for _, row := range mustReport(t, c, "/v1/reports/estimate-vs-actual").rows(t, "tasks") {
		tasks[text(row, "task")] = [4]int64{whole(row, "budget_minutes"), whole(row, "actual_minutes"),
			whole(row, "budget_quantity_milli"), whole(row, "actual_quantity_milli")}
	}
	for task, w := range map[string][4]int64{
		"sand":          {525, 745, 148_200, 154_200},
		"coat-door":     {3555, 4375, 79_000, 85_000},
		"mask-edge":     {390, 435, 324_000, 325_000},
		"protect-floor": {1575, 1845, 858_800, 863_800},
		"coat":          {11_685, 13_650, 2_862_000, 2_866_000},
	} {
		if tasks[task] != w {
			t.Errorf("%s: %v in the report, want %v", task, tasks[task], w)
		}
	}
}
