package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"daysheet/reports"
	"daysheet/services/daysheet/demo"
	"daysheet/services/httpd"
)

// today is when the invented firm of the tests stands still.
var today = time.Date(2026, 6, 30, 18, 0, 0, 0, time.UTC)

// mustOpen opens a ledger in folder for the test.
func mustOpen(t *testing.T, folder string) *app {
	t.Helper()
	a, err := openApp(context.Background(), &Globals{Data: folder, quiet: true}, appConfig{})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func mustClose(t *testing.T, a *app) {
	t.Helper()
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
}

// mustInvent fills the ledger with an invented firm through the API.
func mustInvent(t *testing.T, a *app, jobs int) *client {
	t.Helper()
	c := owner(a)
	firm, err := demo.Generate(demo.Options{Seed: 7, Today: today, Jobs: jobs})
	if err != nil {
		t.Fatal(err)
	}
	for s := range firm.Submissions() {
		if _, err := c.record(t.Context(), s.Events); err != nil {
			t.Fatal(err)
		}
	}
	mustCatchUp(t, a)
	return c
}

func mustCatchUp(t *testing.T, a *app) {
	t.Helper()
	if err := a.catchUp(t.Context(), demoFirm); err != nil {
		t.Fatal(err)
	}
}

// owner is a client of the invented firm that may do everything.
func owner(a *app) *client {
	return a.inProcess(httpd.Caller{Firm: demoFirm, Name: "owner", Scopes: httpd.Scopes()})
}

func mustGet(t *testing.T, c *client, path string) []byte {
	t.Helper()
	answer, err := c.request(t.Context(), http.MethodGet, path, "", nil)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return raw
}

// shown is a report as a program reads it.
type shown struct {
	Tables []struct {
		Name  string
		Rows  []anyMap
		Total anyMap
	}
}

func (s shown) rows(t *testing.T, table string) []anyMap {
	t.Helper()
	for _, tb := range s.Tables {
		if tb.Name == table {
			return tb.Rows
		}
	}
	t.Fatalf("the report has no table %s", table)
	return nil
}

func mustReport(t *testing.T, c *client, path string) shown {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(mustGet(t, c, path)))
	d.UseNumber()
	var s shown
	if err := d.Decode(&s); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return s
}

// everyReport returns each report of the firm, whole and for each job, as bytes.
func everyReport(t *testing.T, c *client, jobs []string) map[string]string {
	t.Helper()
	out := map[string]string{}
	const jobsMost = 6 // of each report, so that the tests end
	jobs = jobs[:min(len(jobs), jobsMost)]
	for _, d := range reports.Definitions() {
		for _, format := range []string{"json", "csv"} {
			path := "/v1/reports/" + d.Name + "?format=" + format
			if !d.NeedsJob {
				out[path] = withoutPosition(mustGet(t, c, path))
			}
			for _, job := range jobs {
				if d.WholeFirm {
					break
				}
				path := path + "&job=" + job
				out[path] = withoutPosition(mustGet(t, c, path))
			}
		}
	}
	return out
}

// withoutPosition drops the positions that an answer names: another ledger with
// the same events may have taken them in other commits.
func withoutPosition(raw []byte) string { return string(position.ReplaceAll(raw, nil)) }

// TestReportsAgreeWithAPlainLoop compares every report with an independent
// account of the exported events.
func TestReportsAgreeWithAPlainLoop(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	c := mustInvent(t, a, 24)
	l := recompute(t, mustGet(t, c, "/v1/events"))
	if len(l.jobs) != 28 {
		t.Fatalf("%d jobs in the export, want 28", len(l.jobs))
	}
	for job, j := range l.jobs {
		compareJob(t, c, job, j)
	}
	compareJobTypes(t, c, l, "", "9999")
	compareJobTypes(t, c, l, "2025-03-01", "2025-12-31")
	all := newSums()
	allBudget := newSums()
	for _, j := range l.jobs {
		if j.finished != "" {
			budget, actual := j.sides()
			all.add(actual)
			allBudget.add(budget)
		}
	}
	compareConsumables(t, mustReport(t, c, "/v1/reports/consumables"), "all jobs", allBudget, all)
	compareTasks(t, mustReport(t, c, "/v1/reports/estimate-vs-actual"), "all jobs", allBudget, all)
}

func expect(t *testing.T, where, what string, got, want int64) {
	t.Helper()
	if got != want {
		t.Errorf("%s: %s is %d in the report and %d by the plain loop", where, what, got, want)
	}
}

func compareJob(t *testing.T, c *client, job string, j *jobSums) {
	t.Helper()
	budget, actual := j.sides()
	summary := mustReport(t, c, "/v1/reports/job-summary?job="+job)
	want := map[string][2]int64{
		"Labour": {total(budget.labour), total(actual.labour)}, "Material": {total(budget.usedCost), total(actual.usedCost)},
		"Damage": {budget.damage, actual.damage}, "Overhead": {budget.overhead, actual.overhead}, "Price": {budget.price, actual.price},
	}
	for _, row := range summary.rows(t, "money") {
		w, ok := want[text(row, "measure")]
		if !ok {
			continue
		}
		delete(want, text(row, "measure"))
		expect(t, job, text(row, "measure")+" budget", whole(row, "budget_e4"), w[0])
		expect(t, job, text(row, "measure")+" actual", whole(row, "actual_e4"), w[1])
	}
	if len(want) > 0 {
		t.Errorf("%s: the summary leaves out %v", job, want)
	}
	compareTasks(t, mustReport(t, c, "/v1/reports/estimate-vs-actual?job="+job), job, budget, actual)
	compareConsumables(t, mustReport(t, c, "/v1/reports/consumables?job="+job), job, budget, actual)
}

func compareTasks(t *testing.T, r shown, where string, budget, actual *sums) {
	t.Helper()
	minutes := map[string][2]int64{}
	for _, row := range r.rows(t, "tasks") {
		task, unit := text(row, "task"), text(row, "unit")
		m := minutes[task]
		minutes[task] = [2]int64{m[0] + whole(row, "budget_minutes"), m[1] + whole(row, "actual_minutes")}
		if key := task + "/" + unit; row["actual_quantity_milli"] != nil {
			expect(t, where, key, whole(row, "actual_quantity_milli"), actual.done[key])
			expect(t, where, key+" planned", whole(row, "budget_quantity_milli"), budget.done[key])
		}
	}
	for task := range union(budget.minutes, actual.minutes) {
		expect(t, where, task+" budget minutes", minutes[task][0], budget.minutes[task])
		expect(t, where, task+" actual minutes", minutes[task][1], actual.minutes[task])
	}
}

func compareConsumables(t *testing.T, r shown, where string, budget, actual *sums) {
	t.Helper()
	seen := map[string]bool{}
	for _, row := range r.rows(t, "consumables") {
		key := text(row, "product") + "/" + text(row, "unit")
		seen[key] = true
		expect(t, where, key+" planned", whole(row, "budget_quantity_milli"), budget.used[key])
		expect(t, where, key+" used", whole(row, "used_quantity_milli"), actual.used[key])
		expect(t, where, key+" planned cost", whole(row, "budget_cost_e4"), budget.usedCost[key])
		expect(t, where, key+" used cost", whole(row, "used_cost_e4"), actual.usedCost[key])
	}
	for key := range union(budget.used, actual.used) {
		if !seen[key] {
			t.Errorf("%s: the report leaves out %s", where, key)
		}
	}
}

func compareJobTypes(t *testing.T, c *client, l *ledgerSums, from, to string) {
	t.Helper()
	type typeSums struct{ jobs, budget, actual, cost, price int64 }
	want := map[string]typeSums{}
	for _, j := range l.jobs {
		if j.finished == "" || j.finished < from || j.finished > to {
			continue
		}
		budget, actual := j.sides()
		w := want[j.kind]
		w.jobs++
		w.budget += total(budget.minutes)
		w.actual += total(actual.minutes)
		w.cost += total(actual.labour) + total(actual.usedCost) + actual.damage + actual.overhead
		w.price += actual.price // every finished job of the invented firm is billed
		want[j.kind] = w
	}
	query := url.Values{}
	if from != "" {
		query.Set("from", from)
		query.Set("to", to)
	}
	rows := mustReport(t, c, "/v1/reports/job-types?"+query.Encode()).rows(t, "job-types")
	if len(rows) != len(want) || len(want) == 0 {
		t.Fatalf("%d job types in the report, %d by the plain loop", len(rows), len(want))
	}
	for _, row := range rows {
		kind := text(row, "job_type")
		w := want[kind]
		expect(t, kind, "jobs", whole(row, "jobs_count"), w.jobs)
		expect(t, kind, "budget minutes", whole(row, "budget_minutes"), w.budget)
		expect(t, kind, "actual minutes", whole(row, "actual_minutes"), w.actual)
		expect(t, kind, "cost", whole(row, "cost_e4"), w.cost)
		expect(t, kind, "price", whole(row, "price_e4"), w.price)
	}
}

func union(a, b map[string]int64) map[string]bool {
	keys := map[string]bool{}
	for k := range a {
		keys[k] = true
	}
	for k := range b {
		keys[k] = true
	}
	return keys
}

// TestTheLogIsTheTruth: reports are the same to the byte after a rebuild of the
// store, after the store was lost, and in another ledger that imported the export.
func TestTheLogIsTheTruth(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	c := mustInvent(t, a, 6)
	export := mustGet(t, c, "/v1/events")
	jobs := slices.Sorted(maps.Keys(recompute(t, export).jobs))
	before := everyReport(t, c, jobs)
	mustClose(t, a)

	g := &Globals{Data: folder, quiet: true}
	if err := (&RebuildCmd{}).Run(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	mustBeSame(t, "after a rebuild", folder, jobs, before)

	for _, file := range []string{factsFile, factsFile + ".wal"} {
		if err := os.RemoveAll(filepath.Join(folder, file)); err != nil {
			t.Fatal(err)
		}
	}
	mustBeSame(t, "after the store was lost", folder, jobs, before)

	if err := os.WriteFile(filepath.Join(folder, factsFile), []byte("not a database"), 0o600); err != nil {
		t.Fatal(err)
	}
	mustBeSame(t, "after the store was damaged", folder, jobs, before)

	other := t.TempDir()
	file := filepath.Join(t.TempDir(), "export.jsonl")
	exported := ExportCmd{Out: file}
	exported.Firm = demoFirm
	if err := exported.Run(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	if written, err := os.ReadFile(file); err != nil || !bytes.Equal(written, export) {
		t.Fatalf("the command exports %d bytes (%v), the server %d", len(written), err, len(export))
	}
	imported := ImportCmd{File: file}
	imported.Firm = demoFirm
	for range 2 { // the second time nothing is added
		if err := imported.Run(t.Context(), &Globals{Data: other, quiet: true}); err != nil {
			t.Fatal(err)
		}
	}
	mustBeSame(t, "in another ledger", other, jobs, before)
	exported.Out += ".again"
	if err := exported.Run(t.Context(), &Globals{Data: other, quiet: true}); err != nil {
		t.Fatal(err)
	}
	if again, err := os.ReadFile(exported.Out); err != nil || !bytes.Equal(again, export) {
		t.Errorf("the other ledger exports %d bytes (%v), the first %d", len(again), err, len(export))
	}
	if err := (&VerifyCmd{}).Run(t.Context(), g); err != nil {
		t.Fatalf("verify: %v", err)
	}
}

func mustBeSame(t *testing.T, when, folder string, jobs []string, want map[string]string) {
	t.Helper()
	a := mustOpen(t, folder)
	defer mustClose(t, a)
	mustCatchUp(t, a)
	for path, got := range everyReport(t, owner(a), jobs) {
		if got != want[path] {
			t.Fatalf("%s, %s differs:\n%s\nwas:\n%s", when, path, got, want[path])
		}
	}
}

// TestFirmsNeverMeet: another firm's token sees nothing of the invented firm.
func TestFirmsNeverMeet(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	mustInvent(t, a, 2)
	stranger := a.inProcess(httpd.Caller{Firm: "another", Name: "stranger", Scopes: httpd.Scopes()})
	for job := range recompute(t, mustGet(t, owner(a), "/v1/events")).jobs {
		for _, path := range []string{"/v1/jobs/%s", "/v1/jobs/%s/events"} {
			if _, err := stranger.request(t.Context(), http.MethodGet, fmt.Sprintf(path, job), "", nil); err == nil {
				t.Errorf("%s is open to another firm", fmt.Sprintf(path, job))
			}
		}
	}
	if got := mustGet(t, stranger, "/v1/events"); len(got) != 0 {
		t.Errorf("another firm exports %d bytes", len(got))
	}
	for path, report := range everyReport(t, stranger, nil) {
		if bytes.Contains([]byte(report), []byte("invented")) {
			t.Errorf("%s shows another firm's jobs", path)
		}
	}
}
