package photos

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image/jpeg"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/httpd"
)

// bench is a server with photos on it, and a log.
type bench struct {
	address    string
	root       string
	thumbnails string
	log        *eventlog.Log
	secrets    map[string]string
}

// bytesMost is what a photo of the tests may have.
const bytesMost = 64 << 10

func newBench(t *testing.T) *bench {
	t.Helper()
	dir := t.TempDir()
	log, err := eventlog.Open(t.Context(), eventlog.Config{Dir: filepath.Join(dir, "log")})
	must(t, err)
	tokens, err := httpd.OpenTokens(filepath.Join(dir, "tokens.json"))
	must(t, err)
	b := &bench{root: filepath.Join(dir, "photos"), thumbnails: filepath.Join(dir, "thumbnails"), log: log,
		secrets: map[string]string{}}
	for name, token := range map[string]httpd.Token{
		"phone":  {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRecord}},
		"reader": {Firm: north, Scopes: []httpd.Scope{httpd.ScopeRead}},
		"south":  {Firm: south, Scopes: httpd.Scopes()},
	} {
		token.Name = name
		b.secrets[name], err = tokens.Add(t.Context(), "tests", token)
		must(t, err)
	}
	logger := slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))
	server := httpd.New(httpd.Config{Tokens: tokens, Logger: logger, BodyMax: 1 << 10})
	folder := NewFolder(b.root, Limits{Bytes: bytesMost, FirmBytes: 4 * bytesMost})
	must(t, Mount(server, Deps{
		Store: folder, Thumbnails: NewThumbnails(folder, b.thumbnails, logger), Commits: log.Commits, Take: true,
		BytesMax: folder.BytesMax(),
	}))
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	must(t, err)
	b.address = "http://" + listener.Addr().String()
	ctx, stop := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- server.Serve(ctx, listener) }()
	t.Cleanup(func() {
		http.DefaultClient.CloseIdleConnections()
		stop()
		if err := errors.Join(<-served, log.Close()); err != nil {
			t.Errorf("stop: %v", err)
		}
	})
	return b
}

// send asks as one of the bench's callers, and returns the answer with its body.
func (b *bench) send(t *testing.T, by, method, path string, body []byte, header ...string) (*http.Response, string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, b.address+path, bytes.NewReader(body))
	must(t, err)
	if by != "" {
		r.Header.Set("Authorization", "Bearer "+b.secrets[by])
	}
	for i := 0; i < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	answer, err := http.DefaultClient.Do(r)
	must(t, err)
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	must(t, err)
	return answer, string(raw)
}

func (b *bench) record(t *testing.T, list ...events.Event) {
	t.Helper()
	for _, e := range list {
		if _, err := b.log.Record(t.Context(), north, e.Subject, "phone", []events.Event{e}); err != nil {
			t.Fatal(err)
		}
	}
}

func event(id string, kind events.Type, data string) events.Event {
	return events.Event{ID: id, Source: "/phones/van-2", Type: kind, Subject: "stair-12", Time: "2026-03-04T16:20:00+01:00",
		Data: json.RawMessage(data)}
}

func TestSentAndRead(t *testing.T) {
	b := newBench(t)
	raw := jpegOf(t, drawn(400, 300, 1))
	name := nameOf(raw)
	at := "/v1/photos/" + name
	for _, status := range []int{http.StatusCreated, http.StatusOK} {
		// A Content-Type that is not true counts for nothing.
		answer, body := b.send(t, "phone", http.MethodPut, at, raw, "Content-Type", "text/html")
		var info Info
		if err := json.Unmarshal([]byte(body), &info); err != nil || answer.StatusCode != status || info.Digest != name ||
			info.Type != "image/jpeg" || info.Width != 400 || info.Height != 300 || info.Bytes != int64(len(raw)) {
			t.Fatalf("%d %s: %v", answer.StatusCode, body, err)
		}
	}
	for _, by := range []string{"phone", "reader"} {
		answer, body := b.send(t, by, http.MethodGet, at, nil)
		if answer.StatusCode != http.StatusOK || body != string(raw) {
			t.Errorf("%s reads %d, %d bytes", by, answer.StatusCode, len(body))
		}
		for header, want := range map[string]string{
			"Content-Type": "image/jpeg", "ETag": `"` + name + `"`, "Cache-Control": "private, max-age=31536000, immutable",
			"Content-Disposition": `inline; filename="` + name + `.jpg"`, "X-Content-Type-Options": "nosniff",
			"Cross-Origin-Resource-Policy": "same-origin", "Content-Length": fmt.Sprint(len(raw)),
		} {
			if got := answer.Header.Get(header); got != want {
				t.Errorf("%s is %q, want %q", header, got, want)
			}
		}
	}
	if answer, body := b.send(t, "reader", http.MethodHead, at, nil); answer.StatusCode != http.StatusOK || body != "" ||
		answer.ContentLength != int64(len(raw)) {
		t.Errorf("HEAD: %d, %d bytes told", answer.StatusCode, answer.ContentLength)
	}
	if answer, _ := b.send(t, "reader", http.MethodGet, at, nil, "If-None-Match", `"`+name+`"`); answer.StatusCode != http.StatusNotModified {
		t.Errorf("what the caller holds: %d", answer.StatusCode)
	}
	if answer, body := b.send(t, "reader", http.MethodGet, at, nil, "Range", "bytes=2-5"); answer.StatusCode != http.StatusPartialContent || body != string(raw[2:6]) {
		t.Errorf("a part: %d, %d bytes", answer.StatusCode, len(body))
	}
}

func TestThumbnailsAreServed(t *testing.T) {
	b := newBench(t)
	raw := pngOf(t, drawn(500, 250, 1))
	at := "/v1/photos/" + nameOf(raw)
	b.send(t, "phone", http.MethodPut, at, raw)
	var first string
	for n := range 2 {
		answer, body := b.send(t, "reader", http.MethodGet, at+"?width=320", nil)
		config, err := jpeg.DecodeConfig(strings.NewReader(body))
		if err != nil || answer.StatusCode != http.StatusOK || config.Width != 320 || config.Height != 160 ||
			answer.Header.Get("ETag") != `"`+nameOf(raw)+`-320"` || answer.Header.Get("Content-Type") != "image/jpeg" {
			t.Fatalf("%d, %d × %d, %v", answer.StatusCode, config.Width, config.Height, answer.Header)
		}
		if n == 0 {
			first = body
		}
		if body != first || len(files(t, b.thumbnails)) != 1 {
			t.Errorf("the thumbnail is another the next time, or is kept in %v", files(t, b.thumbnails))
		}
	}
	must(t, os.RemoveAll(b.thumbnails))
	must(t, os.WriteFile(b.thumbnails, nil, 0o600)) // nothing can be kept there
	if answer, body := b.send(t, "reader", http.MethodGet, at+"?width=320", nil); answer.StatusCode != http.StatusOK || body != first {
		t.Errorf("without a folder: %d", answer.StatusCode)
	}
	if answer, body := b.send(t, "reader", http.MethodGet, at+"?width=321", nil); answer.StatusCode != http.StatusUnprocessableEntity ||
		!strings.Contains(body, "160, 320, 640") {
		t.Errorf("another width: %d %s", answer.StatusCode, body)
	}
}

// TestRefusedOverHTTP sends what must not be taken, and asks for what must not be told.
func TestRefusedOverHTTP(t *testing.T) {
	b := newBench(t)
	raw, page := jpegOf(t, drawn(400, 300, 1)), []byte("<!doctype html><script>")
	large := jpegOf(t, drawn(3000, 2000, 1))
	name := nameOf(raw)
	if len(large) <= bytesMost {
		t.Fatalf("the large photo has %d bytes", len(large))
	}
	b.send(t, "phone", http.MethodPut, "/v1/photos/"+name, raw)
	for _, c := range []struct {
		what, by, method, name string
		body                   []byte
		status                 int
		says                   string
	}{
		{"no token", "", http.MethodPut, name, raw, 401, "token is needed"},
		{"the wrong scope", "reader", http.MethodPut, name, raw, 403, "record"},
		{"other bytes", "phone", http.MethodPut, nameOf(page), raw, 422, `"field":"photo"`},
		{"a page", "phone", http.MethodPut, nameOf(page), page, 422, "none of them"},
		{"no name", "phone", http.MethodPut, "photo.jpg", raw, 422, "64 of 0-9 and a-f"},
		{"a name that leads away", "phone", http.MethodGet, "..%2f..%2ftokens.json", nil, 404, "nothing at this address"},
		{"too many bytes", "phone", http.MethodPut, nameOf(large), large, 413, "65536 bytes"},
		{"nothing", "phone", http.MethodPut, name, nil, 422, "not the SHA-256"},
		{"another firm's", "south", http.MethodGet, name, nil, 404, "no photo of this name"},
		{"another firm's thumbnail", "south", http.MethodGet, name + "?width=320", nil, 404, "no photo of this name"},
		{"none of the firm", "reader", http.MethodGet, nameOf(page), nil, 404, "no photo of this name"},
		{"a name in capitals", "reader", http.MethodGet, strings.ToUpper(name), nil, 422, "64 of 0-9 and a-f"},
		{"to take it away", "south", http.MethodDelete, name, nil, 405, "takes"},
	} {
		answer, body := b.send(t, c.by, c.method, "/v1/photos/"+c.name, c.body)
		if answer.StatusCode != c.status || !strings.Contains(body, c.says) || answer.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s", c.what, answer.StatusCode, body)
		}
	}
	if got := files(t, b.root); len(got) != 1 {
		t.Errorf("the folder holds %v", got)
	}
	for n := 10; ; n++ { // until the firm's room is full
		more := jpegOf(t, drawn(1200, 900, n))
		answer, body := b.send(t, "phone", http.MethodPut, "/v1/photos/"+nameOf(more), more)
		if answer.StatusCode == http.StatusCreated && n < 40 {
			continue
		}
		if answer.StatusCode != http.StatusInsufficientStorage || !strings.Contains(body, "/problems/no-room") || !strings.Contains(body, "photos-max-megabytes") {
			t.Errorf("no room: %d %s", answer.StatusCode, body)
		}
		break
	}
}

// TestPhotosOfAJob lists what events name, what is there, and what is not yet.
func TestPhotosOfAJob(t *testing.T) {
	b := newBench(t)
	there, late := jpegOf(t, drawn(40, 30, 1)), jpegOf(t, drawn(50, 30, 2))
	b.send(t, "phone", http.MethodPut, "/v1/photos/"+nameOf(there), there)
	b.record(t,
		event("open-0001", events.JobOpened, `{"job_type":"stairwell","title":"Stairwell"}`),
		event("damage-01", events.DamageFound, `{"location":"Hall","item":"door","finding":"scratch","cause":"others","photos":["`+nameOf(there)+`","`+nameOf(late)+`"]}`),
		event("photo-001", events.PhotoAttached, `{"photo":"`+nameOf(there)+`","of":"damage-01"}`),
		event("voided-01", events.EventVoided, `{"event":"photo-001","reason":"twice"}`))
	type body struct {
		Photos      []named
		Total, Next int
	}
	list := func(by, query string) (got body) {
		t.Helper()
		answer, raw := b.send(t, by, http.MethodGet, "/v1/jobs/stair-12/photos"+query, nil)
		if err := json.Unmarshal([]byte(raw), &got); err != nil || answer.StatusCode != http.StatusOK {
			t.Fatalf("%d %s: %v", answer.StatusCode, raw, err)
		}
		return got
	}
	found := named{Photo: nameOf(there), State: present, Event: "damage-01", Type: string(events.DamageFound), Day: "2026-03-04",
		Media: "image/jpeg", Bytes: int64(len(there)), Width: 40, Height: 30}
	again := found
	again.Event, again.Type, again.Of, again.Voided = "photo-001", string(events.PhotoAttached), "damage-01", true
	want := []named{found, {Photo: nameOf(late), State: missing, Event: "damage-01", Type: string(events.DamageFound), Day: "2026-03-04"}, again}
	for _, by := range []string{"phone", "reader"} {
		if got := list(by, ""); fmt.Sprint(got.Photos) != fmt.Sprint(want) || got.Total != 3 || got.Next != 0 {
			t.Errorf("%s is told %+v, want %+v", by, got, want)
		}
	}
	if got := list("phone", "?limit=2"); len(got.Photos) != 2 || got.Next != 2 {
		t.Errorf("a page of two: %+v", got)
	}
	if got := list("phone", "?limit=2&after=2"); len(got.Photos) != 1 || got.Next != 0 || got.Photos[0].Event != "photo-001" {
		t.Errorf("the next page: %+v", got)
	}
	report, err := NewFolder(b.root, Limits{}).Check(t.Context(), func(visit func(*events.Commit) error) error {
		stored, err := b.log.Commits(t.Context(), north, "stair-12", 0)
		for _, s := range stored {
			c, decodeErr := events.DecodeCommit(s.Raw)
			err = errors.Join(err, decodeErr, visit(c))
		}
		return err
	})
	if err != nil || report.Named != 3 || len(report.Findings) != 1 || !strings.Contains(report.Findings[0], nameOf(late)) {
		t.Errorf("check found %+v: %v", report, err)
	}
	b.send(t, "phone", http.MethodPut, "/v1/photos/"+nameOf(late), late)
	if got := list("phone", ""); got.Photos[1].State != present {
		t.Errorf("once it was sent: %+v", got.Photos[1])
	}
	for _, c := range []struct {
		by, job string
		status  int
	}{{"south", "stair-12", 404}, {"reader", "stair-99", 404}, {"reader", "firm", 422}, {"reader", "A%20B", 422}, {"", "stair-12", 401}} {
		if answer, body := b.send(t, c.by, http.MethodGet, "/v1/jobs/"+c.job+"/photos", nil); answer.StatusCode != c.status {
			t.Errorf("%s of job %s: %d %s", c.by, c.job, answer.StatusCode, body)
		}
	}
}

// TestNowhere: without a folder every route says what is missing.
func TestNowhere(t *testing.T) {
	var store Store = Nowhere{}
	_, _, put := store.Put(t.Context(), north, nameOf(nil), nil)
	_, _, open := store.Open(t.Context(), north, nameOf(nil))
	_, stat := store.Stat(t.Context(), north, nameOf(nil))
	for _, err := range []error{put, open, stat} {
		if events.CodeOf(err) != events.Unavailable || !strings.Contains(err.Error(), "--photos") {
			t.Error(err)
		}
	}
}
