package reporting

import (
	"context"
	"strings"
	"sync/atomic"
	"testing"

	"daysheet/reports"
	"daysheet/services/httpd"
)

// countedStore counts what is asked of a store.
type countedStore struct {
	Store
	asked *atomic.Int64
}

func (c countedStore) Sum(ctx context.Context, q reports.Query) ([]reports.Total, error) {
	c.asked.Add(1)
	return c.Store.Sum(ctx, q)
}

// TestReportsAreMadeOnce: a report, its page and the charts on it ask the store once,
// until something is recorded, and never for another firm, filter or position.
func TestReportsAreMadeOnce(t *testing.T) {
	var asked atomic.Int64
	s := newStackWith(t, func(server *httpd.Server, deps Deps) error {
		deps.Store = countedStore{deps.Store, &asked}
		return Mount(server, deps)
	})
	tell(s)
	ask := func(firm, path string) (answer, int64) {
		before := asked.Load()
		a := s.get(firm, path, "Accept", "application/json")
		return a, asked.Load() - before
	}
	const path = "/v1/reports/job-types"
	first, n := ask("north", path)
	if n == 0 {
		t.Fatal("the store was not asked")
	}
	again, n := ask("north", path)
	if n != 0 || again.body != first.body {
		t.Errorf("asked again, it took %d sums:\n%s\n%s", n, first.body, again.body)
	}
	if page, n := ask("north", "/reports/job-types"); n != 0 || page.status != 200 {
		t.Errorf("its page took %d sums, status %d", n, page.status)
	}
	for _, other := range []string{path + "?job_type=exterior", path + "?as_of=3", "/v1/reports/consumables"} {
		if a, n := ask("north", other); n == 0 || a.body == first.body {
			t.Errorf("%s took %d sums: %s", other, n, a.body)
		}
	}
	if a, n := ask("south", path); n == 0 || a.body == first.body {
		t.Errorf("the other firm's took %d sums: %s", n, a.body)
	}
	s.record("north", "stair-1", s.act("daysheet.hours.booked.v1", "2026-06-02",
		map[string]any{"person": "una", "task": "coat", "minutes": 600}))
	later, n := ask("north", path)
	if n == 0 || later.body == first.body {
		t.Errorf("after more hours it took %d sums: %s", n, later.body)
	}
	s.record("north", "firm", s.act("daysheet.firm.settings-changed.v1", "2026-06-02", map[string]any{
		"name": "North Yard", "currency": "EUR", "time_zone": "Europe/Vienna",
		"grades":    []any{map[string]any{"grade": "painter", "cost_per_hour_e4": 240_000}},
		"job_types": []any{map[string]any{"job_type": "stairwell", "name": "Stairs renamed"}}}))
	if renamed, _ := ask("north", path); !strings.Contains(renamed.body, "Stairs renamed") {
		t.Errorf("the new name is not in %s", renamed.body)
	}
}

// TestKeptReportsStayAsTheyAre: whoever gets a report may change its tables.
func TestKeptReportsStayAsTheyAre(t *testing.T) {
	said := reports.Phrase{Format: "Kept"}
	kept := reports.Report{Tables: []reports.Table{{Title: "Kept", Columns: []reports.Column{{Title: "Kept"}}}},
		Notes: []reports.Phrase{said}, Figures: []reports.Figure{{Title: said}}}
	own := ofOnesOwn(kept)
	own.Tables[0].Title, own.Tables[0].Columns[0].Title = "", ""
	own.Notes[0], own.Figures[0].Title = reports.Phrase{}, reports.Phrase{}
	if kept.Tables[0].Title+kept.Tables[0].Columns[0].Title+kept.Notes[0].String()+kept.Figures[0].Title.String() != "KeptKeptKeptKept" {
		t.Errorf("%+v", kept)
	}
	if w := weigh(reports.Report{Tables: []reports.Table{{Columns: make([]reports.Column, 3), Rows: make([][]reports.Cell, 5)}},
		Figures: []reports.Figure{{Categories: make([]string, 4), Series: make([]reports.Series, 2)}}}); w != 1+7*3+4*3 {
		t.Errorf("it weighs %d", w)
	}
}
