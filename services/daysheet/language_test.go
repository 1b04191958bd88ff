package main

import (
	"encoding/json"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
)

// mustSpeakGerman changes the locale of the invented firm and nothing else; one without
// settings gets a few.
func mustSpeakGerman(t *testing.T, a *app, c *client) {
	t.Helper()
	names, err := a.projector.Names(t.Context(), demoFirm)
	if err != nil {
		t.Fatal(err)
	}
	settings := events.Settings{Name: "Invented Decorators", Currency: "EUR", TimeZone: "UTC",
		JobTypes: []events.JobType{{JobType: "flat", Name: "Flat"}}, Grades: []events.Grade{{Grade: "painter"}}}
	if names.Settings != nil {
		settings = *names.Settings
	}
	settings.Locale = "de-AT"
	data, err := json.Marshal(settings)
	if err != nil {
		t.Fatal(err)
	}
	e := events.Event{ID: "speak-german-1", Source: "/tests", Type: events.FirmSettingsChanged, Subject: events.FirmJob,
		Time: today.Format(time.RFC3339), Data: data}
	if _, err := c.record(t.Context(), []events.Event{e}); err != nil {
		t.Fatal(err)
	}
	mustCatchUp(t, a)
}

// TestPagesInGerman compares pages with themselves in English: what is the same in both
// comes from the firm, or was forgotten.
func TestPagesInGerman(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	c := mustInvent(t, a, 1)
	form := []string{"Content-Type", "application/x-www-form-urlencoded", "Accept", "text/html"}
	send := func(want int, path string, pairs ...string) string {
		t.Helper()
		values := url.Values{}
		for i := 0; i < len(pairs); i += 2 {
			values.Set(pairs[i], pairs[i+1])
		}
		return mustSend(t, c, want, "POST", path, values.Encode(), form...)
	}
	send(303, "/customers", "name", irisName, "address", irisAddress, "contacts", irisPhone, "note", irisNote, "customer", "c-5")
	send(303, "/customers", "name", "Otto Othermade", "customer", "c-6")
	send(303, "/customers/c-6/erase", "reason", "asked for", "confirm", "c-6")
	openJob(t, c, "iris-job", "c-5")
	mustCatchUp(t, a)
	paths := []string{"/customers", "/customers?search=nobody", "/customers/c-5", "/customers/c-6", "/jobs/iris-job/photos"}
	english := map[string][]string{}
	for _, path := range paths {
		english[path] = browsertest.Words(t, string(mustGet(t, c, path)))
	}
	mustSpeakGerman(t, a, c)
	firms := []string{"daysheet", demoFirm, irisName, irisAddress, irisPhone, irisNote, "Otto Othermade", "c-5", "c-6", "Name", "iris-job", "Invented façade", "iris-job",
		irisName + " · daysheet"}
	firms = append(firms, "name", "customer", "address", "contacts", "note") // columns of a table, by their names
	for _, path := range paths {
		page := string(mustGet(t, c, path))
		if !strings.Contains(page, `<html lang="de">`) || strings.Contains(page, ` lang="en"`) {
			t.Errorf("%s is in another language", path)
		}
		for _, word := range browsertest.Words(t, page) {
			if slices.Contains(english[path], word) && !slices.Contains(firms, word) {
				t.Errorf("%s says %q in both languages", path, word)
			}
		}
	}
	missing := mustSend(t, c, 404, "GET", "/customers/c-7", "", "Accept", "text/html")
	if !strings.Contains(missing, "Unter diesem Schlüssel ist kein Kunde erfasst.") || strings.Contains(missing, ` lang="en"`) {
		t.Errorf("a customer who is not there: %s", missing)
	}
	for path, says := range map[string]string{"/customers/c-5/erase": "Zur Bestätigung den Schlüssel des Kunden, c-5, eingeben.",
		"/customers": "Das muss angegeben werden."} {
		if page := send(422, path, "reason", "asked for"); !strings.Contains(page, says) || strings.Contains(page, ` lang="en"`) {
			t.Errorf("%s does not say %q", path, says)
		}
	}
}
