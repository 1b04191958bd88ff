package handover

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/daysheet/demo"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// today is the present of the tests.
func today() time.Time { return time.Date(2026, 6, 30, 12, 0, 0, 0, time.UTC) }

// ledger holds commits as a log would.
type ledger struct {
	t        testing.TB
	firm     string
	sequence uint64
	jobs     map[string][]events.Stored
	folds    map[string]*events.Job
	events   int
}

func newLedger(t testing.TB, firm string) *ledger {
	return &ledger{t: t, firm: firm, jobs: map[string][]events.Stored{}, folds: map[string]*events.Job{}}
}

// demoLedger holds the invented firm with its finished jobs.
func demoLedger(t *testing.T) *ledger {
	t.Helper()
	firm, err := demo.Generate(demo.Options{Seed: 1, Today: today(), Jobs: 12})
	must(t, err)
	l := newLedger(t, firm.Key)
	for stored, err := range firm.Commits(0, 0) {
		must(t, err)
		l.keep(stored)
	}
	return l
}

func (l *ledger) keep(stored events.Stored) {
	l.t.Helper()
	c, err := events.DecodeCommit(stored.Raw)
	must(l.t, err)
	if l.folds[c.Job] == nil {
		l.folds[c.Job] = events.NewJob(l.firm, c.Job)
	}
	must(l.t, l.folds[c.Job].Apply(c, stored.Sequence, stored.Raw))
	l.sequence = stored.Sequence
	l.jobs[c.Job] = append(l.jobs[c.Job], stored)
}

// record adds one event to a job as a commit of its own, and returns the event's id.
func (l *ledger) record(job string, kind events.Type, day string, payload any) string {
	l.t.Helper()
	l.events++
	data, err := json.Marshal(payload)
	must(l.t, err)
	e := events.Event{ID: fmt.Sprintf("event-%04d", l.events), Source: "/tests/phone", Type: kind, Subject: job,
		Time: day + "T08:00:00+02:00", Data: data}
	must(l.t, e.Validate())
	if l.folds[job] == nil {
		l.folds[job] = events.NewJob(l.firm, job)
	}
	fold := l.folds[job]
	fresh, _, err := fold.Plan([]events.Event{e})
	must(l.t, err)
	c := events.Commit{Firm: l.firm, Job: job, Version: fold.Version + 1, Previous: fold.Head,
		RecordedAt: e.OccurredAt().Add(time.Minute), RecordedBy: "van-1", Events: fresh}
	raw, err := c.Encode()
	must(l.t, err)
	l.keep(events.Stored{Sequence: l.sequence + 1, Raw: raw})
	return e.ID
}

// Commits is what the log does.
func (l *ledger) commits(_ context.Context, firm, job string, upTo uint64) (found []events.Stored, err error) {
	if firm != l.firm {
		return nil, nil
	}
	for _, stored := range l.jobs[job] {
		if upTo == 0 || stored.Sequence <= upTo {
			found = append(found, stored)
		}
	}
	return found, nil
}

// album holds photos in memory.
type album map[string][]byte

// draw makes a photo and returns its digest.
func (a album) draw(t testing.TB, number, width, height int) string {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			img.SetRGBA(x, y, color.RGBA{uint8(x*255/width + number*13), uint8(y * 255 / height),
				uint8(90 + number*7 + x*y/977), 255})
		}
	}
	var b bytes.Buffer
	must(t, jpeg.Encode(&b, img, &jpeg.Options{Quality: 80}))
	sum := sha256.Sum256(b.Bytes())
	digest := hex.EncodeToString(sum[:])
	a[digest] = b.Bytes()
	return digest
}

func (a album) Open(_ context.Context, _, digest string) (io.ReadCloser, int64, error) {
	raw, ok := a[digest]
	if !ok {
		return nil, 0, &events.Error{Code: events.NotFound, Field: "photo", Value: digest, Rule: "no such photo"}
	}
	return io.NopCloser(bytes.NewReader(raw)), int64(len(raw)), nil
}

func (a album) Thumbnail(ctx context.Context, firm, digest string) ([]byte, error) {
	file, _, err := a.Open(ctx, firm, digest)
	if err != nil {
		return nil, err
	}
	return io.ReadAll(file)
}

// newFrame returns a frame that nothing is served in.
func newFrame(t testing.TB) *pages.Frame {
	t.Helper()
	frame, err := pages.New(httpd.New(httpd.Config{Logger: slog.New(slog.NewTextHandler(t.Output(), nil))}))
	must(t, err)
	return frame
}

// englishWords are what papers say in English.
func englishWords(frame *pages.Frame) words {
	return words{&texts.Speaker{Texts: frame.Texts(texts.English)}, wording.NewFormat(reports.Names{})}
}

// bench is a server with papers on it.
type bench struct {
	t      testing.TB
	engine http.Handler
	keys   *Keys
	tokens map[string]string // by firm
}

func newBench(t testing.TB, l *ledger, photos Photos, change ...func(*Deps)) *bench {
	t.Helper()
	folder := t.TempDir()
	tokens, err := httpd.OpenTokens(filepath.Join(folder, "tokens.json"))
	must(t, err)
	t.Cleanup(func() { must(t, tokens.Close()) })
	b := &bench{t: t, keys: NewKeys(filepath.Join(folder, "signing")), tokens: map[string]string{}}
	for _, firm := range []string{l.firm, "other"} {
		b.tokens[firm], err = tokens.Add(t.Context(), "tests", httpd.Token{Firm: firm, Name: "office", Scopes: []httpd.Scope{httpd.ScopeRead}})
		must(t, err)
	}
	server := httpd.New(httpd.Config{Tokens: tokens, Version: "test", RateEvery: time.Microsecond, RateBurst: 1_000_000,
		Logger: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelError}))})
	frame, err := pages.New(server)
	must(t, err)
	deps := Deps{Frame: frame, Commits: l.commits, Photos: photos, Keys: b.keys, BaseURL: "https://ledger.example"}
	for _, c := range change {
		c(&deps)
	}
	must(t, Mount(server, deps))
	b.engine = server.Engine
	return b
}

// get asks as the office of a firm; nobody, if firm is empty.
func (b *bench) get(firm, path string, headers ...string) *httptest.ResponseRecorder {
	b.t.Helper()
	request := httptest.NewRequest(http.MethodGet, path, nil)
	if firm != "" {
		request.Header.Set("Authorization", "Bearer "+b.tokens[firm])
	}
	for i := 0; i < len(headers); i += 2 {
		request.Header.Set(headers[i], headers[i+1])
	}
	answer := httptest.NewRecorder()
	b.engine.ServeHTTP(answer, request)
	return answer
}

func (b *bench) mustGet(firm, path string) []byte {
	b.t.Helper()
	answer := b.get(firm, path)
	if answer.Code != http.StatusOK {
		b.t.Fatalf("GET %s: status %d: %s", path, answer.Code, answer.Body)
	}
	return answer.Body.Bytes()
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// finished returns a job of the ledger that was signed off.
func (l *ledger) finished() string {
	l.t.Helper()
	for _, job := range []string{"d-0012", "d-0011", "d-0010", "d-0009"} {
		if f := l.folds[job]; f != nil && f.State().Finished() {
			return job
		}
	}
	l.t.Fatal("no job of the demo is finished")
	return ""
}
