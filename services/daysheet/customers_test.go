package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/sealing"
)

// noRedirects returns a client that shows where it is led to.
func noRedirects() *http.Client {
	return &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// send sends JSON, or a form where body is one, and returns the status and the answer.
func send(t *testing.T, c *client, method, path, body string, headers ...string) (status int, answer string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, c.base+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	client := *c.http
	client.CheckRedirect = noRedirects().CheckRedirect
	got, err := client.Do(r)
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	defer got.Body.Close()
	raw, err := io.ReadAll(got.Body)
	if err != nil {
		t.Fatal(err)
	}
	return got.StatusCode, string(raw)
}

func mustSend(t *testing.T, c *client, want int, method, path, body string, headers ...string) string {
	t.Helper()
	status, answer := send(t, c, method, path, body, headers...)
	if status != want {
		t.Fatalf("%s %s: status %d, want %d: %s", method, path, status, want, answer)
	}
	return answer
}

// irisName and what else is personal of the invented customer. None of it stands
// anywhere else.
const (
	irisName    = "Iris Inventadottir"
	irisAddress = "Made-up Lane 77"
	irisPhone   = "555-INVENTED-0101"
	irisNote    = "rings-the-bell-twice"
)

func irisBody() string {
	return fmt.Sprintf(`{"name":%q,"address":"%s\n0000 Nowhere","contacts":[%q],"note":%q}`, irisName, irisAddress, irisPhone,
		irisNote)
}

func personal() []string {
	return []string{irisName, irisAddress, irisPhone, irisNote, "Inventadottir"}
}

// filesWith returns the files below a folder that hold one of the texts, also in
// UTF-16, as some stores keep texts.
func filesWith(t *testing.T, folder string, texts ...string) (found []string) {
	t.Helper()
	read := 0
	err := filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		raw, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		read += len(raw)
		for _, text := range texts {
			if bytes.Contains(raw, []byte(text)) || bytes.Contains(raw, []byte(strings.Join(strings.Split(text, ""), "\x00"))) {
				found = append(found, path+" holds "+text)
			}
		}
		return nil
	})
	if err != nil || read < 10_000 {
		t.Fatalf("%d bytes looked at: %v", read, err)
	}
	return found
}

// openJob opens a job of a customer with some work on it.
func openJob(t *testing.T, c *client, job, customer string, more ...events.Event) {
	t.Helper()
	batch := append([]events.Event{
		{ID: "opened-" + job, Type: events.JobOpened, Data: fmt.Appendf(nil, `{"job_type":"exterior","title":"Invented façade","customer":%q}`, customer)},
		{ID: "hours-" + job, Type: events.HoursBooked, Data: []byte(`{"person":"una","grade":"painter","task":"coat","minutes":90}`)},
		{ID: "photo-" + job, Type: events.PhotoAttached, Data: fmt.Appendf(nil, `{"photo":%q}`, mustSendPhoto(t, c, 40))},
	}, more...)
	for i := range batch {
		batch[i].Source, batch[i].Subject, batch[i].Time = "/tests", job, "2026-06-01T08:00:00Z"
	}
	if _, err := c.record(t.Context(), batch); err != nil {
		t.Fatal(err)
	}
}

func reader(a *app) *client {
	return a.inProcess(httpd.Caller{Firm: demoFirm, Name: "reader", Scopes: []httpd.Scope{httpd.ScopeRead}})
}

// TestErasingACustomer records one, reads, erases, and looks for the name everywhere:
// in answers, on pages, and in every byte of the data folder, while the server runs and
// after. Chains, audit and every report stay as they were.
func TestErasingACustomer(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	c := mustInvent(t, a, 3)
	openJob(t, c, "iris-job", "c-1042")
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1042", strings.Replace(irisBody(), irisNote, "older-"+irisNote, 1))
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1042", irisBody())
	mustSend(t, c, 201, "PUT", "/v1/customers/c-7", `{"name":"Otto Othermade"}`)
	if found := filesWith(t, folder, personal()...); len(found) > 0 {
		t.Errorf("before the erasure: %v", found)
	}
	addresses := []string{"/v1/customers", "/v1/customers/c-1042", "/v1/customers/c-1042/export", "/customers", "/jobs/iris-job",
		"/customers/c-1042", "/v1/jobs/iris-job/events", "/v1/jobs/firm/events", "/v1/events", "/v1/jobs"}
	for i, path := range addresses {
		if got := string(mustGet(t, c, path)); strings.Contains(got, irisName) != (i < 6) {
			t.Errorf("%s before the erasure: %.2000s", path, got)
		}
	}
	if export := string(mustGet(t, reader(a), "/v1/customers/c-1042/export")); !strings.Contains(export, "older-"+irisNote) ||
		strings.Contains(export, `"photos":[]`) || !strings.Contains(export, `"hours-iris-job"`) {
		t.Errorf("the export leaves something out: %s", export)
	}
	mustCatchUp(t, a)
	jobs := []string{"iris-job"}
	before := everyReport(t, c, jobs)

	erased := mustSend(t, c, 200, "POST", "/v1/customers/c-1042/erase", `{"reason":"asked for"}`)
	if again := mustSend(t, c, 200, "POST", "/v1/customers/c-1042/erase", `{"reason":"asked twice"}`); !strings.Contains(again, "asked for") ||
		!strings.Contains(erased, `"day":"20`) {
		t.Errorf("erased %s, and again %s", erased, again)
	}
	for i, path := range addresses {
		got := string(mustGet(t, c, path))
		for _, text := range personal() {
			if strings.Contains(got, text) {
				t.Errorf("%s still says %s", path, text)
			}
		}
		if i < 6 && !strings.Contains(got, "erased on ") {
			t.Errorf("%s does not say when the customer was erased: %s", path, got)
		}
	}
	if got := string(mustGet(t, reader(a), "/v1/customers/c-7")); !strings.Contains(got, "Otto Othermade") {
		t.Errorf("another customer: %s", got)
	}
	mustSend(t, c, 409, "PUT", "/v1/customers/c-1042", irisBody())
	mustCatchUp(t, a)
	if after := everyReport(t, c, jobs); !maps.Equal(before, after) {
		t.Error("reports changed by the erasure")
	}
	mustClose(t, a)
	if found := filesWith(t, folder, personal()...); len(found) > 0 {
		t.Errorf("after the erasure: %v", found)
	}
	if _, err := os.Stat(filepath.Join(folder, keysFolder, demoFirm, "c-1042")); !os.IsNotExist(err) {
		t.Errorf("the key is there: %v", err)
	}
	if code := run(t.Context(), []string{"verify", "--data", folder}); code != 0 {
		t.Errorf("verify ends with %d", code)
	}
}

// TestCustomerRefusals: scopes, rules, what is not there, and changes that cross.
func TestCustomerRefusals(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	c := mustInvent(t, a, 1)
	caller := func(firm string, scopes ...httpd.Scope) *client {
		return a.inProcess(httpd.Caller{Firm: firm, Name: "somebody", Scopes: scopes})
	}
	phone, office := caller(demoFirm, httpd.ScopeRecord), caller(demoFirm, httpd.ScopeRead, httpd.ScopeRecord)
	mustSend(t, office, 201, "PUT", "/v1/customers/c-1", irisBody())
	mustSend(t, office, 200, "PUT", "/v1/customers/c-1", irisBody()) // the same again
	var known struct{ Event string }
	if err := json.Unmarshal(mustGet(t, c, "/v1/customers/c-1"), &known); err != nil {
		t.Fatal(err)
	}
	eraseEvent := fmt.Sprintf(`{"specversion":"1.0","id":"erase-c-1-now","source":"/t","type":%q,"subject":"firm",`+
		`"time":"2026-06-01T08:00:00Z","data":{"customer":"c-1","reason":"lost phone"}}`, events.CustomerErased)
	for name, test := range map[string]struct {
		c                  *client
		want               int
		method, path, body string
		headers            []string
	}{
		"a phone reads":              {phone, 403, "GET", "/v1/customers/c-1", "", nil},
		"a phone writes":             {phone, 403, "PUT", "/v1/customers/c-1", irisBody(), nil},
		"a phone lists":              {phone, 403, "GET", "/v1/customers", "", nil},
		"a phone exports":            {phone, 403, "GET", "/v1/customers/c-1/export", "", nil},
		"a phone's page":             {phone, 403, "GET", "/customers/c-1", "", nil},
		"a reader records":           {reader(a), 403, "PUT", "/v1/customers/c-1", irisBody(), nil},
		"the office erases":          {office, 403, "POST", "/v1/customers/c-1/erase", `{"reason":"x"}`, nil},
		"the office erases by event": {office, 403, "POST", "/v1/events", eraseEvent, []string{"Content-Type", "application/cloudevents+json"}},
		"another firm reads":         {caller("another", httpd.ScopeAdmin), 404, "GET", "/v1/customers/c-1", "", nil},
		"another firm erases":        {caller("another", httpd.ScopeAdmin), 404, "POST", "/v1/customers/c-1/erase", `{"reason":"x"}`, nil},
		"nobody of this key":         {c, 404, "GET", "/v1/customers/c-9", "", nil},
		"no key":                     {c, 422, "GET", "/v1/customers/Iris", "", nil},
		"a path":                     {c, 404, "PUT", "/v1/customers/..%2f..%2fetc", irisBody(), nil},
		"no name":                    {c, 422, "PUT", "/v1/customers/c-2", `{"name":"  "}`, nil},
		"control characters":         {c, 422, "PUT", "/v1/customers/c-2", `{"name":"a\u0000b"}`, nil},
		"too long":                   {c, 422, "PUT", "/v1/customers/c-2", `{"name":"x","note":"` + strings.Repeat("x", 4001) + `"}`, nil},
		"no reason":                  {c, 422, "POST", "/v1/customers/c-1/erase", `{"reason":"  "}`, nil},
		"based on another record":    {c, 412, "PUT", "/v1/customers/c-1", `{"name":"x"}`, []string{"If-Match", `"another-event"`}},
		"based on this record":       {c, 201, "PUT", "/v1/customers/c-1", `{"name":"x"}`, []string{"If-Match", `"` + known.Event + `"`}},
	} {
		if status, answer := send(t, test.c, test.method, test.path, test.body, test.headers...); status != test.want {
			t.Errorf("%s: status %d, want %d: %s", name, status, test.want, answer)
		}
	}
	if got := string(mustGet(t, c, "/v1/customers/c-1")); !strings.Contains(got, `"state":"known"`) {
		t.Errorf("after the refusals: %s", got)
	}
}

// TestAnErasureThatComesAsAnEvent destroys the key as well: an import brings erasures.
func TestAnErasureThatComesAsAnEvent(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	defer mustClose(t, a)
	c := mustInvent(t, a, 1)
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1", irisBody())
	if _, err := c.record(t.Context(), []events.Event{{ID: "erase-c-1-now", Source: "/t", Type: events.CustomerErased,
		Subject: events.FirmJob, Time: "2026-06-01T08:00:00Z", Data: []byte(`{"customer":"c-1","reason":"asked for"}`)}}); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(folder, keysFolder, demoFirm, "c-1")); !os.IsNotExist(err) {
		t.Errorf("the key is there: %v", err)
	}
	if got := string(mustGet(t, c, "/v1/customers/c-1")); !strings.Contains(got, "erased on 2026-06-01") {
		t.Errorf("read %s", got)
	}
}

// TestKeysAndLogOfDifferentAge: a lost key is a sentence everywhere; a folder of keys
// from before an erasure, and a log from before it, both give way to the erasure.
func TestKeysAndLogOfDifferentAge(t *testing.T) {
	folder := t.TempDir()
	keys := filepath.Join(folder, keysFolder)
	a := mustOpen(t, folder)
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1")
	mustSend(t, c, 201, "PUT", "/v1/customers/c-1", irisBody())
	mustSend(t, c, 201, "PUT", "/v1/customers/c-2", `{"name":"Otto Othermade"}`)
	mustClose(t, a)
	backup := t.TempDir()
	if err := os.CopyFS(backup, os.DirFS(folder)); err != nil {
		t.Fatal(err)
	}

	if err := os.Remove(filepath.Join(keys, demoFirm, "c-1")); err != nil {
		t.Fatal(err)
	}
	a = mustOpen(t, folder)
	c = owner(a)
	for _, path := range []string{"/v1/customers", "/v1/customers/c-1", "/v1/customers/c-1/export", "/customers/c-1", "/jobs/iris-job"} {
		if got := string(mustGet(t, c, path)); !strings.Contains(got, "he key of customer c-1 is not in the folder of keys") {
			t.Errorf("%s without the key: %s", path, got)
		}
	}
	mustSend(t, c, 409, "PUT", "/v1/customers/c-1", irisBody())
	mustClose(t, a)

	// The folder of keys is restored, and the customer erased.
	restored, err := sealing.OpenKeys(keys)
	if err != nil {
		t.Fatal(err)
	}
	if done, err := restored.Restore(filepath.Join(backup, keysFolder), nil); err != nil || done.Keys != 1 {
		t.Fatalf("restored %+v, %v", done, err)
	}
	if code := run(t.Context(), []string{"erase", "--data", folder, "--firm", demoFirm, "--customer", "c-1", "--reason", "asked for"}); code != 0 {
		t.Fatalf("erase ends with %d", code)
	}
	// The whole folder of data is put back from the backup, but for the list.
	list, err := os.ReadFile(filepath.Join(keys, "erased.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(backup, keysFolder, "erased.json"), list, 0o600); err != nil {
		t.Fatal(err)
	}
	a = mustOpen(t, backup)
	mustCatchUp(t, a)
	if got := string(mustGet(t, owner(a), "/v1/jobs/firm/events?limit=500")); !strings.Contains(got, "Erased before this copy of the ledger was restored") {
		t.Errorf("the erasure was not recorded again: %s", got)
	}
	mustClose(t, a)
	// Only the log knows of the erasure: the list and the key are those of the backup.
	if err := os.Remove(filepath.Join(backup, keysFolder, "erased.json")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(backup, keysFolder, demoFirm, "c-1"),
		[]byte("daysheet key 1\n"+strings.Repeat("A", 43)+"=\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	a = mustOpen(t, backup)
	defer mustClose(t, a)
	if _, err := os.Stat(filepath.Join(backup, keysFolder, demoFirm, "c-1")); !os.IsNotExist(err) {
		t.Errorf("the key is there: %v", err)
	}
	var states struct {
		Customers []struct{ Customer, State string }
	}
	if err := json.Unmarshal(mustGet(t, owner(a), "/v1/customers?limit=1"), &states); err != nil || len(states.Customers) != 1 ||
		states.Customers[0].State != "erased" {
		t.Errorf("customers %+v, %v", states, err)
	}
	if got := string(mustGet(t, owner(a), "/v1/customers?limit=1&after=c-1")); !strings.Contains(got, "Otto Othermade") {
		t.Errorf("the next page: %s", got)
	}
}

// TestCustomersByForm uses the pages as a browser without scripts does.
func TestCustomersByForm(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	c := mustInvent(t, a, 1)
	form := []string{"Content-Type", "application/x-www-form-urlencoded", "Accept", "text/html"}
	post := func(want int, path string, pairs ...string) string {
		t.Helper()
		values := url.Values{}
		for i := 0; i < len(pairs); i += 2 {
			values.Set(pairs[i], pairs[i+1])
		}
		return mustSend(t, c, want, "POST", path, values.Encode(), form...)
	}
	holds := func(page string, texts ...string) {
		t.Helper()
		for _, text := range texts {
			if !strings.Contains(page, text) {
				t.Errorf("the page lacks %q: %s", text, page)
			}
		}
	}
	holds(post(422, "/customers", "name", "", "note", irisNote), `role="alert"`, "it must be given", irisNote)
	post(303, "/customers", "name", irisName, "address", irisAddress+"\r\nNowhere", "contacts", irisPhone+"\r\n\r\nb@c.invalid",
		"customer", "c-5")
	holds(post(422, "/customers", "name", "Another", "customer", "c-5"), "a customer has this key already")
	post(303, "/customers", "name", "Otto <Othermade>")
	holds(string(mustGet(t, c, "/customers")), irisName, "Otto &lt;Othermade&gt;", `href="/customers/c-5"`)
	found := string(mustGet(t, c, "/customers?search=made-up+lane"))
	holds(found, irisName)
	if strings.Contains(found, "Otto") {
		t.Error("the search finds everybody")
	}
	page := string(mustGet(t, c, "/customers/c-5"))
	holds(page, irisAddress+"<br>Nowhere", "b@c.invalid", `name="seen"`)
	_, seen, _ := strings.Cut(page, `name="seen" value="`)
	seen, _, _ = strings.Cut(seen, `"`)
	post(303, "/customers/c-5", "name", irisName, "note", irisNote, "seen", seen)
	holds(post(422, "/customers/c-5", "name", "Late change", "seen", seen), "recorded again since it was read", "Late change")
	holds(post(422, "/customers/c-5/erase", "reason", "asked for", "confirm", "c-6"), "type the key of the customer", "asked for")
	holds(string(mustGet(t, c, "/customers/c-5")), irisNote)
	post(303, "/customers/c-5/erase", "reason", "asked for", "confirm", "c-5")
	page = string(mustGet(t, c, "/customers/c-5"))
	holds(page, "This customer was erased on", "asked for")
	if strings.Contains(page, irisName) || strings.Contains(page, "Erase for good") {
		t.Errorf("the page of who was erased: %s", page)
	}
	if page = string(mustGet(t, reader(a), "/customers")); strings.Contains(page, "<textarea") {
		t.Error("who may only read is offered a form")
	}
}
