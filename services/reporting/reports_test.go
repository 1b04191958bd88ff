package reporting

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math/big"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
)

// row is a row of a report as a program reads it.
type row map[string]any

type reportAnswer struct {
	Report   string `json:"report"`
	AsOf     uint64 `json:"as_of"`
	Currency string `json:"currency"`
	Tables   []struct {
		Name    string       `json:"name"`
		Columns []columnBody `json:"columns"`
		Rows    []row        `json:"rows"`
		Total   row          `json:"total"`
	} `json:"tables"`
	Notes []string `json:"notes"`
}

// questions are filters under which every report is asked.
func questions() []string {
	return []string{"", "?job=stair-1", "?job=flat-2", "?job=hall-4", "?job_type=exterior",
		"?from=2026-05-01&to=2026-05-31",
		"?job=stair-1&as_of=8", "?as_of=14"}
}

// fits reports whether a report can be asked the question.
func fits(d reports.Definition, question string) bool {
	ofJob := strings.Contains(question, "job=")
	ofSome := ofJob || strings.Contains(question, "from=") || strings.Contains(question, "to=") ||
		strings.Contains(question, "job_type=")
	return !(d.NeedsJob && !ofJob || d.WholeFirm && ofSome)
}

// Law 5 of the design: every figure explains itself.
func TestEveryFigureIsTheSumOfItsFacts(t *testing.T) {
	s := newStack(t)
	tell(s)
	explained := map[reports.Form]int{}
	for _, d := range reports.Definitions() {
		for _, question := range questions() {
			if !fits(d, question) {
				continue
			}
			var r reportAnswer
			s.read("north", "/v1/reports/"+d.Name+question, &r)
			for _, table := range r.Tables {
				for i, cells := range append(slices.Clone(table.Rows), table.Total) {
					where := fmt.Sprintf("%s%s, table %s, row %d", d.Name, question, table.Name, i)
					s.checkExplained(where, table.Columns, cells, explained)
				}
			}
		}
	}
	for _, form := range []reports.Form{reports.FormMinutes, reports.FormMoney, reports.FormQuantity,
		reports.FormCount} {
		if explained[form] == 0 {
			t.Errorf("no figure in the form %s was explained", form)
		}
	}
	t.Logf("figures explained: %v", explained)
}

// checkExplained asks for the facts of each figure of a row, page by page, and
// adds them up.
func (s *stack) checkExplained(where string, columns []columnBody, cells row, explained map[reports.Form]int) {
	s.t.Helper()
	addresses, _ := cells["explain"].(map[string]any)
	for _, c := range columns {
		address, ok := addresses[c.Key].(string)
		if !ok {
			continue
		}
		var sum sums
		want := number(s.t, cells[c.Key])
		for next := address + "&limit=7"; next != ""; {
			var e explainBody
			s.read("north", next, &e)
			for _, f := range e.Facts {
				sign := int64(f.Sign)
				sum = sums{sum.Minutes + sign*f.Minutes, sum.QuantityMilli + sign*f.QuantityMilli,
					sum.CostE4 + sign*f.CostE4, sum.Facts + sign}
			}
			if next = e.Next; next == "" && e.Sum != sum {
				s.t.Errorf("%s, %s: facts add up to %+v, the answer says %+v", where, c.Key, sum, e.Sum)
			}
		}
		got := map[string]int64{"minutes": sum.Minutes, "quantity": sum.QuantityMilli, "money": sum.CostE4,
			"count": sum.Facts}
		if got[c.Form] != want {
			s.t.Errorf("%s, %s is %d, its facts add up to %d (%s)", where, c.Key, want, got[c.Form], address)
		}
		explained[reports.Form(c.Form)]++
	}
}

func number(t *testing.T, v any) int64 {
	t.Helper()
	n, ok := v.(json.Number)
	if !ok {
		t.Fatalf("%v (%T) is no number", v, v)
	}
	whole, err := n.Int64()
	must(t, err)
	return whole
}

// Worked out by hand from story_test.go.
func TestJobSummaryInJSON(t *testing.T) {
	s := newStack(t)
	tell(s)
	var r reportAnswer
	s.read("north", "/v1/reports/estimate-vs-actual?job=stair-1", &r)
	if r.Report != "estimate-vs-actual" || r.Currency != "EUR" || r.AsOf == 0 {
		t.Errorf("report %q, currency %q, as of %d", r.Report, r.Currency, r.AsOf)
	}
	for _, cells := range r.Tables[0].Rows {
		if cells["task"] == "coat" && cells["task_name"] == "Coat surface" {
			// 480 + 540 + 505; the voided booking of 960 does not count
			if got := number(t, cells["actual_minutes"]); got != 1525 {
				t.Errorf("coat: actual_minutes is %d, not 1525", got)
			}
			if got := number(t, cells["budget_minutes"]); got != 1260 {
				t.Errorf("coat: budget_minutes is %d, not 1260", got)
			}
			return
		}
	}
	t.Errorf("no row for the coats in %v", r.Tables[0].Rows)
}

func TestAsOf(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	before := s.record("north", "one", s.act("daysheet.job.opened.v1", "2026-06-01",
		map[string]any{"job_type": "exterior", "title": "One"}),
		s.act("daysheet.hours.booked.v1", "2026-06-01", map[string]any{"person": "una", "task": "coat", "minutes": 60}))
	const path = "/v1/reports/job-summary?job=one"
	then := s.get("north", path+"&as_of="+strconv.FormatUint(before, 10))
	s.record("north", "one", s.act("daysheet.hours.booked.v1", "2026-06-02", map[string]any{"person": "una",
		"task": "coat", "minutes": 30}))
	now := s.get("north", path)
	again := s.get("north", path+"&as_of="+strconv.FormatUint(before, 10))
	if then.body != again.body || then.header.Get("ETag") != again.header.Get("ETag") {
		t.Errorf("the answer as of %d changed:\n%s\n%s", before, then.body, again.body)
	}
	if now.body == then.body || now.header.Get("ETag") == then.header.Get("ETag") {
		t.Error("new hours changed neither the answer nor its ETag")
	}
	if a := s.get("north", path+"&as_of=4000"); a.status != http.StatusUnprocessableEntity ||
		!strings.Contains(a.body, "as_of") {
		t.Errorf("a position that was not reached: %d %s", a.status, a.body)
	}
}

func TestNotModified(t *testing.T) {
	s := newStack(t)
	tell(s)
	for _, path := range []string{"/v1/reports/job-types", "/v1/reports/job-types.csv",
		"/v1/explain?job=stair-1&kind=labour", "/v1/jobs/stair-1"} {
		first := s.get("north", path)
		tag := first.header.Get("ETag")
		if first.status != http.StatusOK || tag == "" {
			t.Fatalf("GET %s: status %d, ETag %q", path, first.status, tag)
		}
		for _, match := range []string{tag, "W/" + tag, `"other", ` + tag, "*"} {
			if a := s.get("north", path, "If-None-Match", match); a.status != http.StatusNotModified || a.body != "" ||
				a.header.Get("ETag") != tag {
				t.Errorf("GET %s with If-None-Match %s: status %d, ETag %q, body %q", path, match, a.status,
					a.header.Get("ETag"), a.body)
			}
		}
		if a := s.get("north", path, "If-None-Match", `"other"`); a.status != http.StatusOK || a.body != first.body {
			t.Errorf("GET %s with another tag: status %d", path, a.status)
		}
	}
	if json, csv := s.get("north", "/v1/reports/job-types.json"), s.get("north",
		"/v1/reports/job-types.csv"); json.header.Get("ETag") == csv.header.Get("ETag") {
		t.Error("JSON and CSV share an ETag")
	}
}

// TestTagsFollowNames: an answer as of a position is another one where the firm gives a
// thing another name since, and so has another tag.
func TestTagsFollowNames(t *testing.T) {
	s := newStack(t)
	tell(s)
	var now struct {
		AsOf uint64 `json:"as_of"`
	}
	s.read("north", "/v1/reports/consumables", &now)
	path := fmt.Sprintf("/v1/reports/consumables?as_of=%d", now.AsOf)
	first := s.get("north", path)
	s.record("north", events.FirmJob, s.act(events.ProductListed, "2026-06-28", events.Product{Product: "wall-matt",
		Name: "Another name", Unit: events.Litre, PriceE4: 97300}))
	tag := first.header.Get("ETag")
	second := s.get("north", path, "If-None-Match", tag)
	if !strings.Contains(second.body, "Another name") || second.status != http.StatusOK || second.header.Get("ETag") == tag {
		t.Errorf("status %d, tag %s, before %s: %s", second.status, second.header.Get("ETag"), tag, second.body)
	}
}

// TestCSV reads every table back with an independent reader and compares it with
// the JSON of the same report.
func TestCSV(t *testing.T) {
	s := newStack(t)
	tell(s)
	for _, d := range reports.Definitions() {
		for _, question := range []string{"?job=stair-1", "?from=2026-01-01", "?as_of=0"} {
			if !fits(d, question) {
				continue
			}
			var r reportAnswer
			s.read("north", "/v1/reports/"+d.Name+question, &r)
			for _, table := range r.Tables {
				path := "/v1/reports/" + d.Name + ".csv" + question + "&table=" + table.Name
				a := s.get("north", path)
				if a.status != http.StatusOK || !strings.HasPrefix(a.header.Get("Content-Type"), "text/csv") {
					t.Fatalf("GET %s: status %d, %s", path, a.status, a.header.Get("Content-Type"))
				}
				if strings.Count(a.body, "\n") != strings.Count(a.body, "\r\n") {
					t.Errorf("%s: lines do not end in CRLF (RFC 4180 section 2)", path)
				}
				lines, err := csv.NewReader(strings.NewReader(a.body)).ReadAll()
				must(t, err)
				compareCSV(t, path, lines, table.Columns, table.Rows)
			}
		}
	}
}

func compareCSV(t *testing.T, path string, lines [][]string, columns []columnBody, rows []row) {
	t.Helper()
	if len(lines) != len(rows)+1 {
		t.Fatalf("%s: %d lines for %d rows", path, len(lines), len(rows))
	}
	var header []string
	for _, c := range columns {
		header = append(header, c.Key)
		if c.Form == string(reports.FormName) {
			header = append(header, c.Key+"_name")
		}
	}
	if !slices.Equal(lines[0], header) {
		t.Fatalf("%s: headed %q, not %q", path, lines[0], header)
	}
	for i, key := range header {
		for j, cells := range rows {
			if got, want := lines[j+1][i], inCSVFile(cells[key]); got != want {
				t.Errorf("%s: row %d, %s is %q, not %q", path, j, key, got, want)
			}
		}
	}
}

// inCSVFile returns how a value of JSON stands in CSV.
func inCSVFile(value any) string {
	switch v := value.(type) {
	case json.Number:
		return v.String()
	case string:
		if v != "" && strings.Contains("=+-@\t", v[:1]) {
			return "'" + v
		}
		return v
	}
	return ""
}

func TestCSVOptions(t *testing.T) {
	s := newStack(t)
	tell(s)
	if a := s.get("north", "/v1/reports/consumables.csv?job=stair-1&bom=1"); !strings.HasPrefix(a.body,
		"\xef\xbb\xbfproduct,") {
		t.Errorf("no byte order mark before %q", a.body[:min(20, len(a.body))])
	}
	if a := s.get("north", "/v1/reports/consumables.csv?job=stair-1"); !strings.Contains(a.body, `"'=Tape, 30 mm"`) {
		t.Errorf("a product named like a formula went out as it is:\n%s", a.body)
	}
	if a := s.get("north", "/v1/reports/consumables.csv?table=wages"); a.status != http.StatusUnprocessableEntity ||
		!strings.Contains(a.body, "consumables") {
		t.Errorf("an unknown table: %d %s", a.status, a.body)
	}
}

// TestDecimalCSV compares every table for spreadsheets with the whole numbers of
// the same table, by arithmetic on rational numbers.
func TestDecimalCSV(t *testing.T) {
	s := newStack(t)
	tell(s)
	parts := map[string]int64{"minutes": 60, "money": 10_000, "quantity": 1000, "rate": 1000, "index": 1000, "reading": 1000, "share": 100,
		"count": 1}
	seen := map[string]int{}
	for _, d := range reports.Definitions() {
		question := "?job=stair-1"
		if d.WholeFirm {
			question = "?as_of=0"
		}
		var r reportAnswer
		s.read("north", "/v1/reports/"+d.Name+question, &r)
		for _, table := range r.Tables {
			path := "/v1/reports/" + d.Name + ".csv" + question + "&values=decimal&table=" + table.Name
			lines, err := csv.NewReader(strings.NewReader(s.get("north", path).body)).ReadAll()
			must(t, err)
			if unique := slices.Compact(slices.Sorted(slices.Values(lines[0]))); len(unique) != len(lines[0]) {
				t.Errorf("%s: two columns have one name: %v", path, lines[0])
			}
			at := 0
			for _, c := range table.Columns {
				if parts[c.Form] > 0 {
					for i, cells := range table.Rows {
						checkDecimal(t, path+" "+lines[0][at], lines[i+1][at], cells[c.Key], parts[c.Form])
					}
					seen[c.Form]++
				}
				if at++; c.Form == "name" {
					at++
				}
			}
		}
	}
	for form := range parts {
		if seen[form] == 0 {
			t.Errorf("no column of the form %s was seen", form)
		}
	}
}

// checkDecimal: got is the whole number divided by its parts, exactly, or to the
// nearest ten-thousandth where that takes more places.
func checkDecimal(t *testing.T, where, got string, whole any, parts int64) {
	t.Helper()
	if whole == nil {
		if got != "" {
			t.Errorf("%s: %q stands for no figure", where, got)
		}
		return
	}
	is, ok := new(big.Rat).SetString(got)
	if !ok {
		t.Errorf("%s: %q is no number", where, got)
		return
	}
	off := is.Sub(is, big.NewRat(number(t, whole), parts))
	if off.Abs(off).Cmp(big.NewRat(1, 20_000)) > 0 || parts != 60 && off.Sign() != 0 {
		t.Errorf("%s: %q is not %v/%d", where, got, whole, parts)
	}
}

// TestConsumablesAreInTheOrderOfTheirNames, not of the keys, which nobody sees.
func TestConsumablesAreInTheOrderOfTheirNames(t *testing.T) {
	s := newStack(t)
	tell(s)
	var r reportAnswer
	s.read("north", "/v1/reports/consumables?job=stair-1", &r)
	var names []string
	for _, cells := range r.Tables[0].Rows {
		names = append(names, cells["product_name"].(string))
	}
	want := []string{"=Tape, 30 mm", "filler", "Floor board, reusable", "Wall paint, matt"}
	if !slices.Equal(names, want) {
		t.Errorf("products stand as %q, not %q", names, want)
	}
}

func TestDecimalColumns(t *testing.T) {
	s := newStack(t)
	tell(s)
	a := s.get("north", "/v1/reports/job-types.csv?values=decimal")
	header, _, _ := strings.Cut(a.body, "\r\n")
	for _, want := range []string{"actual_hours", "price_eur", "margin_percent"} {
		if !slices.Contains(strings.Split(header, ","), want) {
			t.Errorf("no column %s in %s", want, header)
		}
	}
	comma := s.get("north", "/v1/reports/job-types.csv?values=comma")
	rows := csv.NewReader(strings.NewReader(comma.body))
	rows.Comma = ';'
	all, err := rows.ReadAll()
	points := strings.NewReplacer(",", ".").Replace(fmt.Sprint(all))
	same, wrong := csv.NewReader(strings.NewReader(a.body)).ReadAll()
	if err != nil || wrong != nil || len(all) < 2 || points != strings.NewReplacer(",", ".").Replace(fmt.Sprint(same)) ||
		!strings.Contains(comma.body, ",") || strings.Contains(comma.body, ".") {
		t.Errorf("with commas: %v %v\n%s\nwith points\n%s", err, wrong, comma.body, a.body)
	}
	facts := s.get("north", "/v1/explain?format=csv&values=comma&kind=labour").body
	if header, _, _ := strings.Cut(facts, "\r\n"); !strings.HasSuffix(header, ";hours;quantity;cost_eur;sign") {
		t.Errorf("facts in decimals begin with %s", header)
	}
	for path, want := range map[string]string{
		"/v1/reports/job-types.csv":                             "job-types-2026-06-30.csv",
		"/v1/reports/job-summary.csv?job=stair-1":               "job-summary-stair-1-2026-06-30.csv",
		"/v1/reports/job-summary?format=csv&job_type=stairwell": "job-summary-stairwell-2026-06-30.csv",
	} {
		if got := s.get("north", path).header.Get("Content-Disposition"); got != `attachment; filename="`+want+`"` {
			t.Errorf("GET %s: Content-Disposition %s, not %s", path, got, want)
		}
	}
	if got := s.get("north", "/v1/explain?format=csv").header.Get("Content-Disposition"); !strings.HasPrefix(got,
		`attachment; filename="facts-position-`) {
		t.Errorf("facts are saved by %s", got)
	}
	for _, path := range []string{"/v1/reports/job-types.json", "/v1/reports/job-types?format=html"} {
		if got := s.get("north", path).header.Get("Content-Disposition"); got != "" {
			t.Errorf("GET %s is saved by %s", path, got)
		}
	}
	if a := s.get("north", "/v1/reports/job-types.csv?values=roman"); a.status != http.StatusUnprocessableEntity {
		t.Errorf("values=roman: %d", a.status)
	}
}

func TestNegotiation(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	const path = "/v1/reports/job-types"
	for _, c := range []struct{ path, accept, want string }{
		{path, "", "application/json"},
		{path, "*/*", "application/json"},
		{path, "text/csv", "text/csv"},
		{path, "text/html,application/xhtml+xml,*/*;q=0.8", "text/html"},
		{path, "application/json;q=0.3, text/csv;q=0.5", "text/csv"},
		{path, "text/*", "text/csv"},
		{path, "text/*, text/csv;q=0", "text/html"},
		{path + ".csv", "application/json", "text/csv"},
		{path + ".json", "text/csv", "application/json"},
		{path + "?format=html", "application/json", "text/html"},
		{path + ".json?format=csv", "application/json", "text/csv"},
		{path, "image/png", "406"},
		{path + "?format=xml", "*/*", "422"},
	} {
		a := s.get("north", c.path, "Accept", c.accept)
		got := a.header.Get("Content-Type")
		if a.status != http.StatusOK {
			got = strconv.Itoa(a.status)
			if !strings.HasPrefix(a.header.Get("Content-Type"), "application/problem+json") {
				t.Errorf("GET %s: a refusal as %s", c.path, a.header.Get("Content-Type"))
			}
		}
		if !strings.HasPrefix(got, c.want) {
			t.Errorf("GET %s with Accept %q: %s, not %s", c.path, c.accept, got, c.want)
		}
	}
}

func TestRefusals(t *testing.T) {
	s := newStack(t)
	tell(s)
	for _, c := range []struct {
		path   string
		status int
		says   string
	}{
		{"/v1/reports/job-summary?job=nowhere", 404, "nowhere"},
		{"/v1/reports/job-summary?job=south-only", 404, "south-only"},
		{"/v1/reports/job-summary?job=No%20Key", 422, "job"},
		{"/v1/reports/job-types?from=2026-02-30", 422, "from"},
		{"/v1/reports/job-types?from=2026-03-01&to=2026-02-01", 422, "to"},
		{"/v1/reports/job-types?colour=red", 422, "colour"},
		{"/v1/reports/job-types?job=a&job=b", 422, "once"},
		{"/v1/reports/wages", 404, ""},
		{"/v1/explain?colour=red", 422, "colour"},
		{"/v1/explain?job=stair-1&limit=501", 422, "limit"},
		{"/v1/explain?job=stair-1&after=nonsense", 422, "after"},
		{"/v1/explain?of=colour", 422, "of"},
		{"/v1/jobs?state=asleep", 422, "asleep"},
		{"/v1/jobs?limit=0", 422, "limit"},
		{"/v1/jobs/south-only", 404, "south-only"},
		{"/v1/jobs/south-only/events", 404, "south-only"},
		{"/jobs/south-only", 404, "south-only"},
		{"/reports/job-summary?job=south-only", 404, "south-only"},
		{"/reports/job-summary/figures/hours.json?job=south-only", 404, "south-only"},
		{"/reports/job-summary/figures/nothing.json", 404, "nothing"},
	} {
		a := s.get("north", c.path)
		if a.status != c.status || !strings.Contains(a.body, c.says) ||
			!strings.HasPrefix(a.header.Get("Content-Type"), "application/problem+json") {
			t.Errorf("GET %s: %d, not %d with %q: %s", c.path, a.status, c.status, c.says, a.body)
		}
		if strings.Contains(a.body, "secret") {
			t.Errorf("GET %s tells of another firm: %s", c.path, a.body)
		}
	}
	for _, path := range []string{"/", "/v1/jobs", "/v1/reports/job-types", "/v1/explain", "/v1/watch", "/help"} {
		if a := s.get("phone", path); a.status != http.StatusForbidden {
			t.Errorf("GET %s with a token that may only record: %d", path, a.status)
		}
	}
}
