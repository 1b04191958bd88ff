package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"io"
	"mime"
	"net"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
)

// tried notes a row of the table of inputs tried, which task "hostile" prints.
func tried(t *testing.T, kind, input, answer string) {
	t.Helper()
	t.Logf("| %s | %s | %s |", kind, strings.ReplaceAll(input, "|", "\\|"), answer)
}

// raw sends bytes as they stand and reads the answer.
func raw(t *testing.T, address, text string) *http.Response {
	t.Helper()
	line, err := net.Dial("tcp", strings.TrimPrefix(address, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer line.Close()
	if err := line.SetDeadline(time.Now().Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(line, text); err != nil {
		t.Fatal(err)
	}
	answer, err := http.ReadResponse(bufio.NewReader(line), nil)
	if err != nil {
		t.Fatalf("%q is answered with %v", text, err)
	}
	defer answer.Body.Close()
	content, err := io.ReadAll(io.LimitReader(answer.Body, 8<<20))
	if err != nil {
		t.Fatal(err)
	}
	answer.Body = io.NopCloser(bytes.NewReader(content))
	return answer
}

// safeFile is what a file may be called in a header.
var safeFile = regexp.MustCompile(`^[A-Za-z0-9._-]{1,200}$`)

// TestHostileHeaders: nothing that comes in with a request breaks out of a header of the
// answer: no line of its own, no file of another name, no address of another site.
func TestHostileHeaders(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	openJob(t, owner(a), "one", "c-1")
	mustCatchUp(t, a)
	secret, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "all", Scopes: httpd.Scopes()})
	if err != nil {
		t.Fatal(err)
	}
	address := mustServe(t, a)
	values := map[string]string{
		"line break":         "one%0d%0aX-Made:%20up",
		"line feed":          "one%0aSet-Cookie:%20made=up",
		"unicode line break": "one%E2%80%A8X-Made:%20up%C2%85",
		"quotes":             "one%22;%20filename=%22b.exe",
		"not ASCII":          "%C3%BC%E2%80%AEfdp.exe",
		"a way out":          "..%2f..%2fone",
		"another site":       "%2f%2fexample.invalid%2f",
		"a script":           "javascript:alert(1)",
	}
	for _, line := range []string{
		"GET /v1/reports/job-summary.csv?job=%s", "GET /v1/reports/job-types.csv?job_type=%s", "GET /v1/reports/job-costing.csv?job=one&table=%s",
		"GET /v1/explain?format=csv&job=%s", "GET /v1/jobs?after=%s", "GET /v1/jobs/%s", "GET /v1/jobs/%s/evidence", "GET /jobs/%s/handover.pdf",
		"GET /jobs/one/day/%s/pdf", "GET /jobs/%s/records?after=1", "GET /v1/customers/%s/export", "GET /office/export/%s.csv",
		"GET /v1/photos/%s", "GET /keys/%s", "GET /check/%s/paper.pdf", "GET /h/%s", "GET /sign-in?next=%s", "GET /sign-in?code=x&next=%s",
		"POST /sign-in next=%s", "POST /office/record/hours-booked job=%s", "POST /customers key=%s", "POST /jobs/%s/links purpose=read",
		"POST /setup firm=%s", "POST /pair code=%s",
	} {
		for name, value := range values {
			method, rest, _ := strings.Cut(line, " ")
			path, form, _ := strings.Cut(rest, " ")
			fill := func(text string) string { return strings.ReplaceAll(text, "%s", value) }
			asked := fmt.Sprintf("%s %s HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\nConnection: close\r\nContent-Type: "+
				"application/x-www-form-urlencoded\r\nContent-Length: %d\r\n\r\n%s", method, fill(path), secret, len(fill(form)), fill(form))
			answer := raw(t, address, asked)
			if why := breaksOut(answer); why != "" || answer.StatusCode >= http.StatusInternalServerError {
				t.Errorf("%s with %s: %d, %s", line, name, answer.StatusCode, why)
			}
			if name == "line break" {
				tried(t, "header", fmt.Sprintf("`%s` with %d kinds of bad value, as `%s`", line, len(values), value), strconv.Itoa(answer.StatusCode))
			}
		}
	}
	for name, header := range map[string]string{
		"a line break in the id of a request": "X-Request-Id: abcdefgh\x0bX-Made: up", "an id that is no id": "X-Request-Id: <script>alert(1)</script>",
		"a cookie that is none": "Cookie: daysheet=\"; daysheet=;;;=", "a tag without an end": "If-None-Match: \"" + strings.Repeat("x", 4000),
		"another host": "X-Forwarded-Host: example.invalid", "languages without end": "Accept-Language: " + strings.Repeat("de,", 3000),
		"kinds without end": "Accept: " + strings.Repeat("a/b;q=0.1,", 1500),
	} {
		answer := raw(t, address, "GET /v1/jobs HTTP/1.1\r\nHost: x\r\nConnection: close\r\nAuthorization: Bearer "+secret+"\r\n"+header+"\r\n\r\n")
		content, err := io.ReadAll(answer.Body)
		if why := breaksOut(answer); err != nil || why != "" || answer.StatusCode >= http.StatusInternalServerError ||
			bytes.Contains(content, []byte("example.invalid")) || strings.Contains(answer.Header.Get("X-Request-Id"), "<") {
			t.Errorf("%s: %d, %s, %v", name, answer.StatusCode, why, err)
		}
		tried(t, "header", name, strconv.Itoa(answer.StatusCode))
	}
}

// breaksOut says what a header of an answer holds that it should not; empty for nothing.
func breaksOut(answer *http.Response) string {
	for _, cookie := range answer.Cookies() {
		if cookie.Name == "made" {
			return "a cookie that was made up"
		}
	}
	if answer.Header.Get("X-Made") != "" {
		return "a header that was made up"
	}
	if to := answer.Header.Get("Location"); to != "" {
		u, err := url.Parse(to)
		if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "/\\") {
			return "the address " + to
		}
	}
	if kept := answer.Header.Get("Content-Disposition"); kept != "" {
		_, parameters, err := mime.ParseMediaType(kept)
		if err != nil || !safeFile.MatchString(parameters["filename"]) {
			return "the file " + kept
		}
	}
	return ""
}

// TestHostileEvents: events that are no events, or made to cost more than they weigh, are
// refused with a sentence, and nothing of them is recorded.
func TestHostileEvents(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := owner(a)
	openJob(t, c, "one", "c-1")
	before := string(mustGet(t, c, "/v1/events"))
	event := func(data string) string {
		return `{"specversion":"1.0","id":"hostile-01","source":"/t","subject":"one","type":"daysheet.hours.booked.v1",` +
			`"time":"2026-06-01T09:00:00Z","data":` + data + `}`
	}
	hours := func(minutes string) string {
		return event(`{"person":"una","grade":"painter","task":"coat","minutes":` + minutes + `}`)
	}
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	if _, err := w.Write(bytes.Repeat([]byte(" "), 16<<20)); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	const most = 5000
	for _, bad := range []struct{ kind, name, body, coding string }{
		{"depth", "lists in lists, 100,000 deep", strings.Repeat("[", 100_000), ""},
		{"depth", "objects in data, 5,000 deep", event(strings.Repeat(`{"a":`, most) + "1" + strings.Repeat("}", most)), ""},
		{"keys", "a key twice in data", event(`{"person":"una","person":"bo","grade":"painter","task":"coat","minutes":60}`), ""},
		{"keys", "an id twice", strings.Replace(hours("60"), `"id":`, `"id":"hostile-02","id":`, 1), ""},
		{"keys", "a key twice, once escaped", event(`{"person":"una","p\u0065rson":"bo","grade":"painter","task":"coat","minutes":60}`), ""},
		{"keys", "50,000 unknown keys", event(`{"minutes":60` + manyKeys(50_000) + `}`), ""},
		{"numbers", "1e400", hours("1e400"), ""},
		{"numbers", "a number of 100,000 digits", hours(strings.Repeat("9", 100_000)), ""},
		{"numbers", "more than 64 bits", hours("99999999999999999999"), ""},
		{"numbers", "1e-400", hours("1e-400"), ""},
		{"numbers", "less than nothing", hours("-60"), ""},
		{"numbers", "half a minute", hours("0.5"), ""},
		{"numbers", "NaN", hours("NaN"), ""},
		{"numbers", "a text", hours(`"60"`), ""},
		{"text", "half a surrogate", strings.Replace(hours("60"), "una", `\ud800`, 1), ""},
		{"text", "bytes that are no UTF-8", strings.Replace(hours("60"), "una", "\xff\xfe", 1), ""},
		{"text", "a zero in a key", strings.Replace(hours("60"), "una", `u\u0000na`, 1), ""},
		{"text", "an id of 100,000 letters", strings.Replace(hours("60"), "hostile-01", strings.Repeat("x", 100_000), 1), ""},
		{"text", "a job that leads out of the folder", strings.Replace(hours("60"), `"one"`, `"../../etc"`, 1), ""},
		{"text", "a subject of the log", strings.Replace(hours("60"), `"one"`, `"one.>"`, 1), ""},
		{"text", "something behind the event", hours("60") + hours("60"), ""},
		{"text", "nothing", "", ""},
		{"count", "a batch of 20,000 events", "[" + strings.TrimSuffix(strings.Repeat(`{},`, 20_000), ",") + "]", ""},
		{"count", "a body of 2 MiB", hours(strings.Repeat(" ", 2<<20) + "60"), ""},
		{"packed", "16 MiB of nothing in 16 kB, gzip", packed.String(), "gzip"},
		{"packed", "the same, said to be brotli", packed.String(), "br"},
	} {
		kind := "application/cloudevents+json"
		if strings.HasPrefix(bad.body, "[") {
			kind = "application/cloudevents-batch+json"
		}
		headers := []string{"Content-Type", kind}
		if bad.coding != "" {
			headers = append(headers, "Content-Encoding", bad.coding)
		}
		status, answer := send(t, c, "POST", "/v1/events", bad.body, headers...)
		if status < 400 || status >= 500 || len(answer) > 16<<10 || !strings.Contains(answer, `"title"`) {
			t.Errorf("%s is answered with %d: %.300s", bad.name, status, answer)
		}
		tried(t, bad.kind, bad.name, strconv.Itoa(status))
	}
	if after := string(mustGet(t, c, "/v1/events")); after != before {
		t.Errorf("something was recorded: %s", strings.TrimPrefix(after, before))
	}
}

func manyKeys(n int) string {
	var keys strings.Builder
	for i := range n {
		fmt.Fprintf(&keys, `,"k%d":0`, i)
	}
	return keys.String()
}

// TestNoFormulaInAnyTable names everything that has a name so that a spreadsheet would
// reckon with it, and reads every table that goes out.
func TestNoFormulaInAnyTable(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 2)
	for i, sign := range []string{"=", "+", "-", "@", "\t=", "\r="} {
		name := strings.TrimSpace(sign+"1+cmd") + "|' /C calc'!A0"
		job := fmt.Sprintf("formula-%d", i)
		for _, e := range []events.Event{
			{Type: events.JobOpened, Subject: job, Data: fmt.Appendf(nil, `{"job_type":"stairwell","title":%q}`, name)},
			{Type: events.ProductListed, Subject: events.FirmJob, Data: fmt.Appendf(nil, `{"product":%q,"name":%q,"unit":"l","price_e4":1}`, job, name)},
			{Type: events.SnagRaised, Subject: job, Data: fmt.Appendf(nil, `{"location":%q,"finding":%q,"raised_by":"customer"}`, name, name)},
			{Type: events.MaterialUsed, Subject: job, Data: fmt.Appendf(nil, `{"product":%q,"quantity_milli":1000,"unit":"l"}`, job)},
		} {
			e.ID, e.Source, e.Time = fmt.Sprintf("%s-%s", e.Subject, e.Type[9:])+job, "/tests", "2026-06-01T08:00:00Z"
			if _, err := c.record(t.Context(), []events.Event{e}); err != nil {
				t.Fatal(err)
			}
		}
	}
	mustCatchUp(t, a)
	var paths []string
	for _, d := range reports.Definitions() {
		for _, job := range []string{"formula-0", "formula-3"} {
			query := "?"
			if !d.WholeFirm {
				query = "?job=" + job + "&"
			}
			paths = append(paths, "/v1/reports/"+d.Name+".csv"+query, "/v1/reports/"+d.Name+".csv"+query+"values=decimal")
		}
	}
	paths = append(paths, "/v1/explain?format=csv", "/v1/explain?format=csv&job=formula-0")
	for _, table := range []string{"people", "grades", "job-types", "tasks", "products", "recorded-purchases"} {
		paths = append(paths, "/office/export/"+table+".csv")
	}
	named := 0
	for _, path := range paths {
		rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(mustGet(t, c, path)), "\ufeff"))).ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		for _, field := range slices.Concat(rows...) {
			if _, err := strconv.ParseFloat(field, 64); err != nil && field != "" && strings.Contains("=+-@\t\r\n", field[:1]) {
				t.Errorf("%s holds %q", path, field)
			}
			if strings.Contains(field, "cmd|") {
				named++
			}
		}
	}
	if named == 0 {
		t.Error("no table holds a name that begins as a formula does")
	}
	tried(t, "formula", fmt.Sprintf("names that begin with = + - @, in %d tables as CSV", len(paths)), fmt.Sprintf("%d fields, each behind an apostrophe", named))
}
