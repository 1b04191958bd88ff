package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
)

// signer is the invented person who signs; the name stands nowhere else.
const signer = "Sigurd Signomade"

func signing(id string, more string) string {
	return fmt.Sprintf(`{"id":%q,"name":%q,"role":"site manager","drawn":"M10 20L30 40","remarks":"Two touch-ups"%s}`, id, signer, more)
}

// mustLink makes a link to a job and returns its id and its secret.
func mustLink(t *testing.T, c *client, job, purpose string) (id, secret string) {
	t.Helper()
	var made struct {
		Link   struct{ ID string }
		Secret string
	}
	answer := mustSend(t, c, 201, "POST", "/v1/jobs/"+job+"/links", fmt.Sprintf(`{"purpose":%q,"days":3}`, purpose))
	if err := json.Unmarshal([]byte(answer), &made); err != nil {
		t.Fatal(err)
	}
	return made.Link.ID, made.Secret
}

// nobody is a client without any credential: what it sends goes through the server.
func nobody(t *testing.T, a *app) *client {
	t.Helper()
	return &client{http: http.DefaultClient, base: mustServe(t, a), close: func() error { return nil }}
}

func snag(job string) events.Event {
	return events.Event{ID: "snag-of-" + job, Type: events.SnagRaised,
		Data: []byte(`{"location":"Hall","finding":"A run below the window","raised_by":"customer"}`)}
}

// TestSigningOffByLink: the customer sees the one job, signs, keeps a copy; sending it
// again records nothing twice; nobody else gets in, and the link dies when it is told to.
func TestSigningOffByLink(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042", snag("iris-job"))
	openJob(t, c, "other-job", "c-1042", snag("other-job"))
	guest := nobody(t, a)
	id, secret := mustLink(t, c, "iris-job", "sign-off")
	page := mustSend(t, guest, 200, "GET", "/h/"+secret, "")
	for _, text := range []string{"Invented façade", "A run below the window", "snag-of-iris-job", `name="role"`} {
		if !strings.Contains(page, text) {
			t.Errorf("the page lacks %q: %s", text, page)
		}
	}
	sign := func(want int, body string) string {
		t.Helper()
		return mustSend(t, guest, want, "POST", "/h/"+secret+"/sign-off", body)
	}
	sign(422, signing("signed-off-1", `,"snags":["snag-of-other-job"]`))
	sign(422, strings.Replace(signing("signed-off-1", ""), "M10 20L30 40", "<script>", 1))
	sign(400, "{")
	sign(400, signing("signed-off-1", `,"firm":"another"`))
	var first, second struct{ Next string }
	body := signing("signed-off-1", `,"snags":["snag-of-iris-job"],"time":"2026-06-02T10:00:00+02:00"`)
	var working sync.WaitGroup // the answer is lost, and the page sends again meanwhile
	for _, into := range []any{&first, &second} {
		working.Go(func() {
			status, answer := send(t, guest, "POST", "/h/"+secret+"/sign-off", body)
			if err := json.Unmarshal([]byte(answer), into); status != 200 || err != nil {
				t.Errorf("signed with %d: %s", status, answer)
			}
		})
	}
	working.Wait()
	if again := sign(200, body); first.Next == "" || first != second || !strings.Contains(again, first.Next) {
		t.Errorf("the copies are at %q, %q and %s", first.Next, second.Next, again)
	}
	sign(409, strings.Replace(body, signer, "Somebody Else", 1))
	sign(409, strings.Replace(body, "signed-off-1", "signed-off-2", 1))

	// The report of this one job comes with the link: as a part of the page, as a PDF,
	// and with its own photos alone.
	if pdf := mustSend(t, guest, 200, "GET", "/h/"+secret+"/report.pdf", ""); !strings.HasPrefix(pdf, "%PDF-") {
		t.Errorf("the PDF begins with %.20q", pdf)
	}
	_, after, _ := strings.Cut(page, `<img src="`)
	photo, _, _ := strings.Cut(after, `"`)
	if picture := mustSend(t, guest, 200, "GET", photo, ""); !strings.HasPrefix(picture, "\xff\xd8") || !strings.HasPrefix(photo, "/h/"+secret) {
		t.Errorf("the photo at %s begins with %.20q", photo, picture)
	}
	stray := mustSendPhoto(t, c, 50)
	mustSend(t, guest, 404, "GET", "/h/"+secret+"/photos/"+stray, "")

	copied := mustSend(t, guest, 200, "GET", first.Next, "")
	for _, text := range []string{signer, "site manager", "M10 20L30 40", "Two touch-ups", "This page is your copy"} {
		if !strings.Contains(copied, text) {
			t.Errorf("the copy lacks %q: %s", text, copied)
		}
	}
	mustSend(t, guest, 403, "POST", first.Next+"/sign-off", signing("signed-off-3", ""))
	if page := mustSend(t, guest, 200, "GET", "/h/"+secret, ""); strings.Contains(page, "<form") || !strings.Contains(page, signer) {
		t.Errorf("the page after signing: %s", page)
	}
	recorded := string(mustGet(t, c, "/v1/jobs/iris-job/events"))
	if strings.Count(recorded, string(events.JobSignedOff)) != 1 || !strings.Contains(recorded, `"recorded_by":"link `+id+`"`) ||
		strings.Contains(recorded, signer) || !strings.Contains(recorded, `"customer":"c-1042"`) {
		t.Errorf("recorded: %s", recorded)
	}
	if export := string(mustGet(t, c, "/v1/customers/c-1042/export")); !strings.Contains(export, signer) {
		t.Errorf("the export lacks the signature: %s", export)
	}
	links := string(mustGet(t, c, "/v1/jobs/iris-job/links"))
	if strings.Contains(links, secret) || strings.Count(links, `"standing":"holds"`) != 2 {
		t.Errorf("links: %s", links)
	}
	mustSend(t, c, 200, "POST", "/v1/jobs/iris-job/links/"+id+"/revoke", "")
	if gone := mustSend(t, guest, 410, "GET", "/h/"+secret, ""); !strings.Contains(gone, "taken this link back") {
		t.Errorf("a link that was taken back: %s", gone)
	}
	for _, path := range []string{"/report.pdf", strings.TrimPrefix(photo, "/h/"+secret)} {
		mustSend(t, guest, 410, "GET", "/h/"+secret+path, "")
	}
	if problem := sign(410, body); !strings.Contains(problem, "taken this link back") {
		t.Errorf("signing by it: %s", problem)
	}

	mustSend(t, c, 200, "POST", "/v1/customers/c-1042/erase", `{"reason":"asked for"}`)
	if copied = mustSend(t, guest, 200, "GET", first.Next, ""); strings.Contains(copied, signer) || !strings.Contains(copied, "was erased on") {
		t.Errorf("the copy of who was erased: %s", copied)
	}
	if found := filesWith(t, folder, signer, "Signomade", secret, strings.TrimPrefix(first.Next, "/h/")); len(found) > 0 {
		t.Errorf("on disk: %v", found)
	}
}

// TestLinksLetNobodyElseIn: guesses, other firms, other scopes, and a visitor of the
// office who opens a link.
func TestLinksLetNobodyElseIn(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "")
	guest := nobody(t, a)
	id, secret := mustLink(t, c, "iris-job", "read")
	stranger := a.inProcess(httpd.Caller{Firm: "another", Name: "stranger", Scopes: httpd.Scopes()})
	for name, test := range map[string]struct {
		c            *client
		want         int
		method, path string
		body         string
	}{
		"another firm makes":    {stranger, 404, "POST", "/v1/jobs/iris-job/links", `{"purpose":"read"}`},
		"another firm revokes":  {stranger, 404, "POST", "/v1/jobs/iris-job/links/" + id + "/revoke", ""},
		"another firm signs":    {stranger, 404, "POST", "/v1/jobs/iris-job/sign-off", signing("signed-off-1", "")},
		"another firm's page":   {stranger, 404, "GET", "/jobs/iris-job/links", ""},
		"a reader makes":        {reader(a), 403, "POST", "/v1/jobs/iris-job/links", `{"purpose":"read"}`},
		"a reader signs":        {reader(a), 403, "POST", "/v1/jobs/iris-job/sign-off", signing("signed-off-1", "")},
		"no such job":           {c, 404, "POST", "/v1/jobs/nowhere/links", `{"purpose":"read"}`},
		"no such purpose":       {c, 422, "POST", "/v1/jobs/iris-job/links", `{"purpose":"admin"}`},
		"for ever":              {c, 422, "POST", "/v1/jobs/iris-job/links", `{"purpose":"read","days":401}`},
		"signing by a read one": {guest, 403, "POST", "/h/" + secret + "/sign-off", signing("signed-off-1", "")},
		"the API by a link":     {guest, 401, "GET", "/v1/jobs/iris-job", ""},
		"the page by a link":    {guest, 401, "GET", "/jobs/iris-job", ""},
	} {
		if status, answer := send(t, test.c, test.method, test.path, test.body); status != test.want {
			t.Errorf("%s: status %d, want %d: %s", name, status, test.want, answer)
		}
	}
	mine := string(mustGet(t, stranger, "/v1/jobs/iris-job/links"))
	if !strings.Contains(mine, `"links":[]`) {
		t.Errorf("another firm lists %s", mine)
	}
	// Guessing is slowed down, and those who hold a link are let in all the same.
	limited := 0
	for n := range 60 {
		status, answer := send(t, guest, "GET", fmt.Sprintf("/h/guess-%d", n), "")
		switch status {
		case 404:
			if limited > 0 || !strings.Contains(answer, "no such link") {
				t.Errorf("guess %d: %s", n, answer)
			}
		case 429:
			limited++
		default:
			t.Errorf("guess %d is answered with %d", n, status)
		}
	}
	if limited < 20 {
		t.Errorf("%d of 60 guesses were turned away", limited)
	}
	mustSend(t, guest, 200, "GET", "/h/"+secret, "")
}

// TestALinkIsToldToNobody: it stands in no log, no problem and no address that another
// page is told.
func TestALinkIsToldToNobody(t *testing.T) {
	folder := t.TempDir()
	log, err := os.Create(filepath.Join(folder, "program.log"))
	if err != nil {
		t.Fatal(err)
	}
	before := os.Stderr
	os.Stderr = log
	a, err := openApp(t.Context(), &Globals{Data: filepath.Join(folder, "data"), LogJSON: true, Debug: true}, appConfig{})
	os.Stderr = before
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { mustClose(t, a) })
	c := owner(a)
	openJob(t, c, "iris-job", "c-1")
	guest := nobody(t, a)
	_, secret := mustLink(t, c, "iris-job", "sign-off")
	answer, err := http.Get(guest.base + "/h/" + secret)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	if _, err := io.Copy(io.Discard, answer.Body); err != nil {
		t.Fatal(err)
	}
	for header, want := range map[string]string{"Referrer-Policy": "no-referrer", "Cache-Control": "no-store",
		"X-Robots-Tag": "noindex, nofollow"} {
		if got := answer.Header.Get(header); got != want {
			t.Errorf("%s is %q", header, got)
		}
	}
	if problem := mustSend(t, guest, 422, "POST", "/h/"+secret+"/sign-off", signing("x", "")); strings.Contains(problem, secret) {
		t.Errorf("a problem tells the secret: %s", problem)
	}
	if metrics := string(mustGet(t, c, "/metrics")); strings.Contains(metrics, secret) || !strings.Contains(metrics, `route="/h/:secret"`) {
		t.Error("metrics tell the secret, or nothing of the route")
	}
	mustSend(t, guest, 404, "GET", "/h/guess-0000", "")
	raw, err := os.ReadFile(log.Name())
	if err != nil {
		t.Fatal(err)
	}
	if text := string(raw); strings.Contains(text, secret) || strings.Contains(text, "guess-0000") || !strings.Contains(text, `"path":"/h/:secret"`) {
		t.Errorf("the log tells of links: %s", text)
	}
}

// TestSigningOnTheCrewsPhone uses the API of the phone, and the form without scripts of
// both pages.
func TestSigningOnTheCrewsPhone(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	phone := a.inProcess(httpd.Caller{Firm: demoFirm, Name: "phone-anna", Scopes: []httpd.Scope{httpd.ScopeRecord}})
	openJob(t, c, "no-customer", "")
	mustSend(t, phone, 201, "POST", "/v1/jobs/no-customer/sign-off", signing("signed-off-1", ""))
	mustSend(t, phone, 200, "POST", "/v1/jobs/no-customer/sign-off", signing("signed-off-1", ""))
	mustSend(t, phone, 409, "POST", "/v1/jobs/no-customer/sign-off", signing("signed-off-2", ""))
	if page := mustSend(t, phone, 200, "GET", "/crew/jobs/no-customer/sign-off", ""); !strings.Contains(page, signer) {
		t.Errorf("the page after signing: %s", page)
	}
	// Who signed a job without a customer can be handed out and erased too.
	if export := string(mustGet(t, c, "/v1/customers/signer-no-customer/export")); !strings.Contains(export, signer) {
		t.Errorf("the export: %s", export)
	}
	mustSend(t, c, 200, "POST", "/v1/customers/signer-no-customer/erase", `{"reason":"asked for"}`)
	if page := mustSend(t, phone, 200, "GET", "/crew/jobs/no-customer/sign-off", ""); strings.Contains(page, signer) {
		t.Errorf("the page after the erasure: %s", page)
	}
	openJob(t, c, "iris-job", "c-1", snag("iris-job"))
	form := []string{"Content-Type", "application/x-www-form-urlencoded", "Accept", "text/html"}
	_, secret := mustLink(t, c, "iris-job", "sign-off")
	for _, path := range []string{"/crew/jobs/iris-job/sign-off", "/h/" + secret + "/sign-off"} {
		page := mustSend(t, phone, 422, "POST", path, "id=signed-off-4&name=Kept+Name&role=&typed=yes&snags=snag-of-iris-job", form...)
		if !strings.Contains(page, "it must be given") || !strings.Contains(page, `value="Kept Name"`) ||
			!strings.Contains(page, `value="snag-of-iris-job" checked`) || !strings.Contains(page, `value="signed-off-4"`) {
			t.Errorf("%s, refused: %s", path, page)
		}
	}
	mustSend(t, phone, 415, "POST", "/crew/jobs/iris-job/sign-off", "x", "Content-Type", "text/plain")
	mustSend(t, phone, 413, "POST", "/h/"+secret+"/sign-off", "name="+strings.Repeat("x", 100<<10), form...)
	mustSend(t, phone, 303, "POST", "/h/"+secret+"/sign-off", "id=signed-off-4&name=Typed+Name&role=owner&typed=yes", form...)
	if page := mustSend(t, phone, 200, "GET", "/h/"+secret, ""); !strings.Contains(page, "The typed name is the signature") {
		t.Errorf("the page after signing: %s", page)
	}
	// The office makes a link by its page, and takes it back.
	office := mustSend(t, c, 200, "POST", "/jobs/iris-job/links", "purpose=read&days=7", append(form, "Origin", "https://ledger.example")...)
	_, after, ok := strings.Cut(office, "https://ledger.example/h/")
	made, _, _ := strings.Cut(after, "<")
	if !ok || len(made) != 43 {
		t.Fatalf("the page of links: %s", office)
	}
	mustSend(t, phone, 200, "GET", "/h/"+made, "")
	if page := mustSend(t, c, 422, "POST", "/jobs/iris-job/links", "purpose=read&days=many", form...); !strings.Contains(page, "a whole number") {
		t.Errorf("refused: %s", page)
	}
	page := string(mustGet(t, c, "/jobs/iris-job/links"))
	_, after, _ = strings.Cut(page, `action="/jobs/iris-job/links/`)
	id, _, _ := strings.Cut(after, "/")
	mustSend(t, c, 303, "POST", "/jobs/iris-job/links/"+id+"/revoke", "", form...)
	mustSend(t, phone, 410, "GET", "/h/"+made, "")
}
