package reporting

import (
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"golang.org/x/net/html"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
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
			if src, ok := attribute(n, "src"); n.Data == "script" && (!ok || !strings.HasPrefix(src, assetsAt)) {
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
		"/": {"Flat, four rooms, in use", "Running", "Stairwell, two floors", "8:40", "Hall and landing"},
		"/jobs/stair-1": {
			"Una: 16:00\u00a0h, Coat surface, Ground floor", "Taken back, because booked twice the hours",
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
			minus + "16:00", "Coat surface"},
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
		"/explain?colour=red": 422} {
		a := s.get("north", path, "Accept", browser)
		if a.status != status || !strings.HasPrefix(a.header.Get("Content-Type"), "text/html") ||
			!strings.Contains(a.body, "<h1>") {
			t.Errorf("GET %s: status %d, %s", path, a.status, a.header.Get("Content-Type"))
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

func TestAssets(t *testing.T) {
	s := newStack(t)
	found := 0
	walk(s.page("/reports/job-types"), func(n *html.Node) {
		address, _ := attribute(n, "href")
		if n.Data == "script" {
			address, _ = attribute(n, "src")
		}
		if !strings.HasPrefix(address, assetsAt) {
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
		stale := assetsAt + "0000000000000000" + address[strings.LastIndex(address, "/"):]
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
	newest, older := count("/jobs/long")
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
		if src, _ := attribute(n, "src"); n.Data == "script" && !strings.HasSuffix(src, "/live.js") {
			t.Errorf("the page asks for %s", src)
		}
		if _, isOpen := attribute(n, "open"); n.Data == "details" && isOpen {
			open++
		}
	})
	if open == 0 {
		t.Error("no table of a figure is open")
	}
	if said := textOf(s.page("/licences")); !strings.Contains(said, "without the chart library") {
		t.Errorf("the licence page says %q", said)
	}
}

// TestLibraryNeedsItsLicences: the licence of the library asks that its text and
// notice go with it (Apache License 2.0, section 4).
func TestLibraryNeedsItsLicences(t *testing.T) {
	lib := fstest.MapFS{chartLibrary: {Data: []byte("library")}, "echarts.LICENSE": {Data: []byte("licence")}}
	if _, err := loadAssets(lib); err == nil {
		t.Error("the library was taken without its notice")
	}
}
