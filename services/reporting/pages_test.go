package reporting

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/gin-gonic/gin"
	"golang.org/x/net/html"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

const browser = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"

// pagePaths are the pages of the story, one of each kind and each state.
func pagePaths() []string {
	paths := []string{"/", "/?state=running", "/?state=estimated", "/jobs/stair-1", "/jobs/flat-2", "/jobs/hall-4",
		"/help", "/licences",
		"/explain?job=stair-1&kind=labour&side=actual&of=minutes", "/explain?kind=material&of=cost&limit=2",
		"/explain?task=none"}
	for _, d := range reports.Definitions() {
		paths = append(paths, "/reports/"+d.Name)
		if !d.WholeFirm {
			paths = append(paths, "/reports/"+d.Name+"?job=stair-1", "/reports/"+d.Name+"?job=hall-4",
				"/reports/"+d.Name+"?from=2031-01-01")
		}
	}
	return paths
}

// walk visits every element of a page.
func walk(n *html.Node, visit func(*html.Node)) {
	if n.Type == html.ElementNode {
		visit(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walk(c, visit)
	}
}

func attribute(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// TestPagesHoldNoCode parses each page: the content policy forbids scripts,
// styles and handlers in the page, and what a user wrote must stay text.
func TestPagesHoldNoCode(t *testing.T) {
	s := newStack(t)
	tell(s)
	for _, path := range pagePaths() {
		page := s.page(path)
		ids := map[string]bool{}
		walk(page, func(n *html.Node) {
			for _, a := range n.Attr {
				switch {
				case a.Key == "style", strings.HasPrefix(a.Key, "on"), strings.HasPrefix(strings.ToLower(a.Val), "javascript:"):
					t.Errorf("%s: <%s %s=%q>", path, n.Data, a.Key, a.Val)
				case a.Key == "id" && ids[a.Val]:
					t.Errorf("%s: the id %q stands twice", path, a.Val)
				case a.Key == "id":
					ids[a.Val] = true
				case strings.Contains(a.Val, "://"):
					t.Errorf("%s: leads to another site: %s=%q", path, a.Key, a.Val)
				}
			}
			if n.Data == "style" || n.Data == "script" && n.FirstChild != nil {
				t.Errorf("%s: holds a <%s> of its own", path, n.Data)
			}
			if src, ok := attribute(n, "src"); n.Data == "script" && (!ok || !strings.HasPrefix(src, pages.FilesAt)) {
				t.Errorf("%s: a script from %q", path, src)
			}
		})
	}
}

// page reads a page as a browser would.
func (s *stack) page(path string) *html.Node {
	s.t.Helper()
	a := s.get("north", path, "Accept", browser)
	if a.status != http.StatusOK || !strings.HasPrefix(a.header.Get("Content-Type"), "text/html") {
		s.t.Fatalf("GET %s: status %d, %s: %s", path, a.status, a.header.Get("Content-Type"), a.body)
	}
	page, err := html.Parse(strings.NewReader(a.body))
	must(s.t, err)
	return page
}

// TestLinksLeadSomewhere follows every link of every page within the server.
func TestLinksLeadSomewhere(t *testing.T) {
	s := newStack(t)
	tell(s)
	seen := map[string]bool{}
	for _, path := range pagePaths() {
		walk(s.page(path), func(n *html.Node) {
			for _, name := range []string{"href", "src", "data-src"} {
				address, ok := attribute(n, name)
				if address, _, _ = strings.Cut(address, "#"); !ok || address == "" || seen[address] {
					continue
				}
				seen[address] = true
				if a := s.get("north", address, "Accept", browser); a.status != http.StatusOK {
					t.Errorf("%s leads to %s: status %d", path, address, a.status)
				}
			}
		})
	}
	if len(seen) < 100 {
		t.Errorf("only %d links found", len(seen))
	}
}

func textOf(n *html.Node) string {
	if n.Type == html.TextNode {
		return n.Data
	}
	var b strings.Builder
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		b.WriteString(textOf(c))
	}
	return b.String()
}

func TestWhatPagesSay(t *testing.T) {
	s := newStack(t)
	tell(s)
	for path, wanted := range map[string][]string{
		"/":                     {"Flat, four rooms, in use", "Running", "Stairwell, two floors", "8:40", "Hall and landing"},
		"/jobs/stair-1/records": {"Una: 16:00\u00a0h, Coat surface, Ground floor", "Taken back, because booked twice the hours"},
		"/jobs/stair-1": {
			"All 30 records",
			"coat 2: 105\u00a0m²",
			"14.9\u00a0l of Wall paint, matt", "Damage made good: handrail, First floor, sanded and oiled",
			"Job closed, billed 2,645.00\u00a0EUR",
			"Snag raised by the customer: edge above the door not straight", "past the last day for clean removal",
			"over", "under", "price +165.00\u00a0EUR",
		},
		"/jobs/flat-2":                    {"<script>alert(1)</script>", "18.4\u00a0m", "run on the door frame"},
		"/reports/job-types":              {"Exterior", "Finished from"},
		"/reports/consumables?job=flat-2": {"=Tape, 30 mm"},
		"/explain?job=stair-1&kind=labour&side=actual&task=coat&of=minutes": {"25:25\u00a0h", "takes back", "counts",
			wording.Minus + "16:00", "Coat surface"},
	} {
		said := strings.Join(strings.Fields(strings.ReplaceAll(textOf(s.page(path)), "\u00a0", "\u2063")), " ")
		said = strings.ReplaceAll(said, "\u2063", "\u00a0")
		for _, want := range wanted {
			if !strings.Contains(said, want) {
				t.Errorf("%s does not say %q: %s", path, want, said)
			}
		}
	}
}

func TestErrorPage(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	for path, status := range map[string]int{"/jobs/nowhere": 404, "/reports/job-types?from=soon": 422,
		"/explain?colour=red": 422, "/nowhere": 404, "/v1/reports/job-summary?job=nowhere": 404,
		"/v1/explain?colour=red": 422, "/reports/job-types/figures/none.json": 404} {
		a := s.get("north", path, "Accept", browser)
		if a.status != status || !strings.HasPrefix(a.header.Get("Content-Type"), "text/html") ||
			!strings.Contains(a.body, "<h1>") || !strings.Contains(a.body, `<a href="/">Back to the jobs</a>`) {
			t.Errorf("GET %s: status %d, %s: %s", path, a.status, a.header.Get("Content-Type"), a.body)
		}
	}
}

// TestFirstDay opens the pages of a firm that recorded nothing: each says what
// to record.
func TestFirstDay(t *testing.T) {
	s := newStack(t)
	for path, want := range map[string]string{
		"/": "Open a job and issue its estimate", "/reports/job-summary": "sign-off", "/reports/job-types": "sign it off",
		"/reports/estimate-vs-actual": "book hours", "/reports/consumables": "record them when they are used",
		"/explain": "Record the work on its job",
	} {
		if said := textOf(s.page(path)); !strings.Contains(said, want) {
			t.Errorf("%s does not say %q: %s", path, want, said)
		}
	}
}

func TestFigureIsItsTable(t *testing.T) {
	s := newStack(t)
	tell(s)
	var chart struct {
		Option struct {
			Series []struct {
				Name string
				Data []struct{ Value any }
			}
			YAxis []struct{ Data []string }
			Aria  struct{ Label struct{ Description string } }
		}
		Form string
	}
	s.read("north", "/reports/estimate-vs-actual/figures/hours-by-task.json?job=stair-1", &chart)
	at := slices.Index(chart.Option.YAxis[0].Data, "Coat surface")
	if at < 0 || len(chart.Option.Series) != 2 || chart.Form != "minutes" || chart.Option.Aria.Label.Description == "" {
		t.Fatalf("the chart is %+v", chart)
	}
	budget, actual := chart.Option.Series[0].Data[at].Value, chart.Option.Series[1].Data[at].Value
	if budget != json.Number("21") || actual.(json.Number).String()[:6] != "25.416" {
		t.Errorf("coats: %v hours against %v, not 21 against 25.4167", actual, budget)
	}
}

// TestPhonesAreLinkedWhereTheyAreServed: a process that serves reports alone has no
// page of phones to lead to, and only an owner may pair them.
func TestPhonesAreLinkedWhereTheyAreServed(t *testing.T) {
	for _, served := range []bool{true, false} {
		s := newStackWith(t, func(server *httpd.Server, deps Deps) error {
			err := Mount(server, deps)
			if served {
				server.Engine.GET("/crew/pair", func(c *gin.Context) { c.Status(http.StatusNoContent) })
			}
			return err
		})
		for who, wanted := range map[string]bool{"owner": served, "north": false} {
			if a := s.get(who, "/help", "Accept", browser); strings.Contains(a.body, `href="/crew/pair"`) != wanted {
				t.Errorf("served %t, shown to %s: %s", served, who, a.body)
			}
		}
	}
}

func TestAssets(t *testing.T) {
	s := newStack(t)
	found := 0
	walk(s.page("/reports/job-types"), func(n *html.Node) {
		address, _ := attribute(n, "href")
		if n.Data == "script" {
			address, _ = attribute(n, "src")
		}
		if !strings.HasPrefix(address, pages.FilesAt) {
			return
		}
		found++
		open, err := http.Get(s.address + address) // without a token
		must(t, err)
		open.Body.Close()
		if open.StatusCode != http.StatusOK || !strings.Contains(open.Header.Get("Cache-Control"), "immutable") ||
			!open.Uncompressed {
			t.Errorf("%s: status %d, Cache-Control %q", address, open.StatusCode, open.Header.Get("Cache-Control"))
		}
		stale := pages.FilesAt + "0000000000000000" + address[strings.LastIndex(address, "/"):]
		if a := s.get("north", stale); a.status != http.StatusNotFound {
			t.Errorf("%s: status %d", stale, a.status)
		}
	})
	if found < 3 {
		t.Errorf("%d files found on the page", found)
	}
}

// TestOlderRecords pages through a long timeline.
func TestOlderRecords(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	all := []events.Event{s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "exterior", Title: "Long"})}
	for range timelineMost + 20 {
		all = append(all, s.act(events.HoursBooked, "2026-06-02", events.Hours{Person: "una", Task: "coat", Minutes: 5}))
	}
	s.record("north", "long", all...)
	count := func(path string) (records int, older string) {
		walk(s.page(path), func(n *html.Node) {
			if class, _ := attribute(n, "class"); class == "by" {
				records++
			}
			if href, _ := attribute(n, "href"); textOf(n) == "Older records" {
				u, err := url.Parse(href)
				must(t, err)
				older = u.RequestURI()
			}
		})
		return records, older
	}
	if last, older := count("/jobs/long"); last != lastRecords || older != "" {
		t.Errorf("the page of the job holds %d records and leads to %q", last, older)
	}
	newest, older := count("/jobs/long/records")
	if newest != timelineMost || older == "" {
		t.Fatalf("the first page holds %d records and leads to %q", newest, older)
	}
	if rest, end := count(older); rest != 21 || end != "" {
		t.Errorf("the second page holds %d records and leads to %q", rest, end)
	}
}

// TestPagesWithoutCharts mounts the program as it is built without the chart
// library: pages show the numbers opened, and ask for no script that is missing.
func TestPagesWithoutCharts(t *testing.T) {
	s := newStackWith(t, func(server *httpd.Server, deps Deps) error { return mount(server, deps, fstest.MapFS{}) })
	tell(s)
	open := 0
	walk(s.page("/reports/estimate-vs-actual?job=stair-1"), func(n *html.Node) {
		if _, charted := attribute(n, "data-src"); charted {
			t.Error("a chart is announced that cannot be drawn")
		}
		src, _ := attribute(n, "src")
		if n.Data == "script" && !strings.HasSuffix(src, "/live.js") && !strings.HasSuffix(src, "/tables.js") {
			t.Errorf("the page asks for %s", src)
		}
		if _, isOpen := attribute(n, "open"); n.Data == "details" && isOpen {
			open++
		}
	})
	if open == 0 {
		t.Error("no table of a figure is open")
	}
	said := textOf(s.page("/licences"))
	for _, want := range []string{"without the chart library", "before the licences of its modules were gathered"} {
		if !strings.Contains(said, want) {
			t.Errorf("the licence page does not say %q: %s", want, said)
		}
	}
}

// TestLicences reads the page of a program that was built after scripts/setup.
func TestLicences(t *testing.T) {
	s := newStack(t)
	said := textOf(s.page("/licences"))
	for _, want := range []string{"Apache ECharts: notice", "Go standard library", "github.com/gin-gonic/gin v",
		"github.com/duckdb/duckdb-go/v2 v", "No font is passed on", "Redistribution and use in source and binary forms"} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q: run scripts/setup, and build again", want)
		}
	}
	broken := fstest.MapFS{modulesFile: {Data: []byte("[{")}}
	if _, err := readNotices(broken, false); err == nil {
		t.Error("a list of licences that cannot be read was taken")
	}
}

// TestBoardOfFinishedJobs pages through finished jobs, the last finished first,
// while one more is finished.
func TestBoardOfFinishedJobs(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	const jobs = groupMost + 20
	finish := func(n int, day events.Day) {
		key := fmt.Sprintf("job-%03d", n)
		s.record("north", key, s.act(events.JobOpened, "2025-01-02", events.Opening{JobType: "exterior", Title: key}),
			s.act(events.JobSignedOff, string(day), events.SignOff{Role: "owner"}))
	}
	start := events.Day("2025-02-01")
	var want []string
	for n := range jobs { // 2025-02-01 on, a day apart, but for two on the same day
		finish(n, start.Add(max(n, 1)))
	}
	for n := jobs - 1; n > 1; n-- {
		want = append(want, fmt.Sprintf("job-%03d", n))
	}
	want = append(want, "job-000", "job-001")
	read := func(path string) (keys []string, links map[string]string) {
		links = map[string]string{}
		page := s.page(path)
		walk(page, func(n *html.Node) {
			if scope, _ := attribute(n, "scope"); scope == "row" {
				keys = append(keys, strings.Fields(textOf(n))[0])
			}
			if href, _ := attribute(n, "href"); n.Data == "a" {
				links[textOf(n)] = href
			}
		})
		return keys, links
	}
	_, links := read("/")
	if said := textOf(s.page("/")); !strings.Contains(said, "those finished in the last 90 days") {
		t.Errorf("the board does not say what it shows: %s", said)
	}
	first, links := read(links["All finished jobs"])
	finish(jobs, "2026-06-01")
	second, back := read(links["Next page"])
	if got := append(first, second...); !slices.Equal(got, want) || len(first) != groupMost {
		t.Errorf("pages of %d and %d jobs: %v", len(first), len(second), got)
	}
	if back["Next page"] != "" || back["First page"] == "" {
		t.Errorf("the last page leads to %v", back)
	}
	if again, _ := read(back["First page"]); again[0] != fmt.Sprintf("job-%03d", jobs) {
		t.Errorf("the first page begins with %s, not with what was finished last", again[0])
	}
	if one, _ := read("/?state=signed-off"); one[0] != fmt.Sprintf("job-%03d", jobs) {
		t.Errorf("jobs signed off begin with %s", one[0])
	}
}

// TestLibraryNeedsItsLicences: the licence of the library asks that its text and
// notice go with it (Apache License 2.0, section 4).
func TestLibraryNeedsItsLicences(t *testing.T) {
	lib := fstest.MapFS{chartLibrary: {Data: []byte("library")}, "echarts.LICENSE": {Data: []byte("licence")}}
	if _, err := readNotices(lib, true); err == nil {
		t.Error("the library was taken without its notice")
	}
}
