package main

import (
	"encoding/csv"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// sendTable sends a table of customers as a form does, and returns what the page says.
func sendTable(t *testing.T, c *client, content string) (status int, page string) {
	t.Helper()
	const edge = "invented-edge"
	body := "--" + edge + "\r\nContent-Disposition: form-data; name=\"file\"; filename=\"c.csv\"\r\n\r\n" + content + "\r\n--" + edge + "--\r\n"
	return send(t, c, "POST", "/customers.csv", body, "Content-Type", "multipart/form-data; boundary="+edge, "Accept", "text/html")
}

// TestCustomersAsATable: customers go out as a table and come in again, with a dry run; what
// comes in unchanged makes no record, and one row that is wrong keeps all of them out.
func TestCustomersAsATable(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := owner(a)
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1", `{"name":"=Iris","address":"1 Invented Lane\nQuillmarsh","contacts":["a@mail.example","b"]}`)
	mustSend(t, c, 201, "PUT", "/v1/customers/c-2", `{"name":"Otto"}`)
	mustSend(t, c, 201, "PUT", "/v1/customers/c-9", `{"name":"Gone"}`)
	mustSend(t, c, 200, "POST", "/v1/customers/c-9/erase", `{"reason":"asked for"}`)
	events := func() int { return strings.Count(string(mustGet(t, c, "/v1/events")), "daysheet.customer.recorded.v1") }
	out, before := string(mustGet(t, c, "/customers.csv")), events()
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(out, "\ufeff"))).ReadAll()
	if err != nil || len(rows) != 3 || rows[1][0] != "'=Iris" || rows[1][3] != "a@mail.example\nb" {
		t.Fatalf("%v: %q", err, rows)
	}
	if status, page := sendTable(t, c, out); status != 200 || !strings.Contains(page, "something else: 0.") || strings.Contains(page, `name="content"`) {
		t.Errorf("the same table: status %d, %s", status, page)
	}
	added := out + "Otto,,2 Invented Lane,,\r\nBo,,,,\r\n,,,,\r\n"
	status, page := sendTable(t, c, strings.Replace(added, "Otto,c-2,,,\r\n", "", 1))
	if status != 200 || !strings.Contains(page, "something else: 2.") || events() != before {
		t.Fatalf("status %d: %s", status, page)
	}
	_, at, _ := strings.Cut(page, `name="content" value="`)
	content, _, _ := strings.Cut(at, `"`)
	form := url.Values{"content": {strings.ReplaceAll(content, "&#43;", "+")}}.Encode()
	for range 2 { // pressed twice, it records nothing twice
		if status, answer := send(t, c, "POST", "/customers.csv/record", form, "Content-Type", "application/x-www-form-urlencoded"); status != http.StatusSeeOther {
			t.Fatalf("status %d: %s", status, answer)
		}
	}
	if got := string(mustGet(t, c, "/v1/customers/c-2")); events() != before+2 || !strings.Contains(got, "2 Invented Lane") {
		t.Errorf("%d records were made, and Otto is %s", events()-before, got)
	}
	for wrong, want := range map[string]string{
		"name,customer\nGone,c-9\nNew,c-4\n": "Line 2: <span>customer is &#34;c-9&#34;: erased",
		"name,customer\nNew,C 4\n":           "Line 2: <span>customer is &#34;C 4&#34;: use 1 to 64",
		"name\nNew\nNew\n":                   "Line 3: <span>name is &#34;New&#34;: it stands twice",
		"name\n" + strings.Repeat("x", 201):  "at most 200 bytes",
		"Name;Kunde\nNew;C 4\n":              "Line 2: <span>Kunde is &#34;C 4&#34;: use 1 to 64",
		"who\nNew\n":                         "has every column that is needed; missing: name",
		"":                                   "it is empty",
	} {
		if status, page := sendTable(t, c, wrong); status != 422 || !strings.Contains(page, want) || strings.Contains(page, `name="content"`) {
			t.Errorf("%.40q: status %d, the page does not say %q", wrong, status, want)
		}
	}
	mustSpeakGerman(t, a, c)
	want := "<span>Kunde ist „C 4“: 1 bis 64 Zeichen aus a-z"
	if _, page := sendTable(t, c, "Name;Kunde\nNew;C 4\n"); !strings.Contains(page, want) {
		t.Errorf("in German the page does not say %q: %s", want, page)
	}
	if events() != before+2 {
		t.Error("a row of a table that is refused was recorded")
	}
}
