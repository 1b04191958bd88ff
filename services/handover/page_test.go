package handover

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"image"
	"image/png"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"daysheet/events"
	papers "daysheet/reports/handover"
	"daysheet/services/httpd/browsertest"
)

// TestPagesOfPapers: the page says what the report says, and links to its files.
func TestPagesOfPapers(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	photos := pictured(t, l, job, 2, 60, 60)
	b := newBench(t, l, photos)
	page := string(b.mustGet(l.firm, "/jobs/"+job+"/handover"))
	for _, want := range []string{"Coating system by surface", "Missing in this section", letters, "/handover.pdf?as_of=",
		"/v1/photos/", "paper.css", l.folds[job].Head} {
		if !strings.Contains(page, want) {
			t.Errorf("the page misses %q", want)
		}
	}
	if strings.Contains(page, "<style") || strings.Contains(page, "ZgotmplZ") {
		t.Error("the page holds a style of its own, or what the template would not let through")
	}
}

// TestVariationHasAPaper finds a job with a variation and asks for its paper.
func TestVariationHasAPaper(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	id := l.record(job, events.VariationAgreed, "2026-06-01", &events.Variation{Reason: "One door more", PriceE4: 500_000})
	b := newBench(t, l, album{})
	if page := string(b.mustGet(l.firm, "/jobs/"+job+"/variation/"+id)); !strings.Contains(page, "One door more") {
		t.Error("the variation is not on its paper")
	}
	if text := textOf(t, b.mustGet(l.firm, "/jobs/"+job+"/variation/"+id+"/pdf")); !strings.Contains(text, "50.00 EUR") {
		t.Errorf("the price is not on the paper: %s", text)
	}
}

// TestReportAsJSON: programs get whole numbers under keys with their units.
func TestReportAsJSON(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	b := newBench(t, l, album{})
	var body struct {
		Job, Head, Code string
		AsOf            uint64 `json:"as_of"`
		Missing         int
		Sections        []struct {
			Name   string
			Tables []struct {
				Name string
				Rows []map[string]any
			}
		}
	}
	must(t, json.Unmarshal(b.mustGet(l.firm, "/v1/jobs/"+job+"/handover"), &body))
	last := l.jobs[job][len(l.jobs[job])-1]
	if body.Job != job || body.AsOf != last.Sequence || body.Head != events.Hash(last.Raw) || body.Missing == 0 || body.Code == "" {
		t.Errorf("the report is of %+v", body)
	}
	coats := 0
	for _, s := range body.Sections {
		for _, table := range s.Tables {
			if s.Name == "system" && table.Name == "coats" {
				coats = len(table.Rows)
				if n,
					ok := table.Rows[0]["quantity_milli"].(float64); !ok || n <= 0 || table.Rows[0]["quantity_milli_unit"] != "m2" {
					t.Errorf("a coat is %v", table.Rows[0])
				}
			}
		}
	}
	if coats == 0 {
		t.Error("the report has no coats")
	}
}

// TestPapersAreOfTheFirmAlone: others find nothing, and strangers are asked who they are.
func TestPapersAreOfTheFirmAlone(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	b := newBench(t, l, album{})
	for _, path := range []string{"/jobs/" + job + "/handover", "/jobs/" + job + "/handover.pdf",
		"/v1/jobs/" + job + "/handover"} {
		if got := b.get("other", path).Code; got != http.StatusNotFound {
			t.Errorf("another firm gets %d at %s", got, path)
		}
		if got := b.get("", path).Code; got != http.StatusUnauthorized {
			t.Errorf("a stranger gets %d at %s", got, path)
		}
	}
	for path, want := range map[string]int{
		"/jobs/nowhere/handover.pdf": http.StatusNotFound, "/jobs/firm/handover": http.StatusNotFound,
		"/jobs/" + job + "/handover?as_of=x":                 http.StatusUnprocessableEntity,
		"/jobs/" + job + "/handover.pdf?as_of=-1":            http.StatusUnprocessableEntity,
		"/jobs/" + job + "/day/someday":                      http.StatusUnprocessableEntity,
		"/jobs/" + job + "/day/1999-01-01":                   http.StatusNotFound,
		"/jobs/" + job + "/variation/nothing-of-that/pdf":    http.StatusNotFound,
		"/v1/jobs/" + job + "/handover?as_of=one":            http.StatusUnprocessableEntity,
		"/jobs/" + job + "/handover?as_of=1":                 http.StatusNotFound,
		"/jobs/" + job + "/handover.pdf?as_of=9000000000000": http.StatusOK,
	} {
		if got := b.get(l.firm, path).Code; got != want {
			t.Errorf("%s answers %d, want %d", path, got, want)
		}
	}
}

// TestPapersInABrowser looks at the papers wide and narrow, light and dark.
func TestPapersInABrowser(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	b := newBench(t, l, album{})
	site := httptest.NewServer(b.engine)
	defer site.Close()
	ctx := browsertest.Open(t)
	_, err := chromedp.Call(ctx, network.SetCookie, network.SetCookieParams{Name: "daysheet", Value: b.tokens[l.firm],
		URL: site.URL})
	must(t, err)
	for _, view := range browsertest.Views() {
		view.Set(t, ctx)
		for _, path := range []string{"/jobs/" + job + "/handover", "/jobs/" + job + "/day/" + firstDay(l, job), "/check", "/check/unknown"} {
			must(t, chromedp.Do(ctx, chromedp.Navigate(site.URL+path)))
			browsertest.Look(t, ctx, path)
			browsertest.KeepPicture(t, ctx, view.Scheme+path)
		}
	}
}

// TestSignaturesStandInTheReport: the name and the drawing of who signed, or that they
// cannot be read any more.
func TestSignaturesStandInTheReport(t *testing.T) {
	p := newProof(t)
	sealed := &events.Sealed{Algorithm: events.SealedAES256GCM, Key: strings.Repeat("0", 16), Box: strings.Repeat("A", 40)}
	p.ledger.record("job-1", events.JobSignedOff, "2026-03-10", &events.SignOff{Role: "owner", Customer: "c-1", Sealed: sealed})
	var erased events.Day
	b := newBench(t, p.ledger, p.photos, func(d *Deps) {
		d.Parties = func(context.Context, string, events.Customer) (*papers.Parties, error) { return nil, nil }
		d.Signer = func(_ context.Context, firm, job, _ string, s *events.SignOff) (papers.Signer, error) {
			if firm != "invented" || job != "job-1" || s.Customer != "c-1" {
				t.Errorf("asked for the signer %s of %s/%s", s.Customer, firm, job)
			}
			return papers.Signer{Name: "Invented Signer", Strokes: "M10 10L590 190M300 5L300 195", Erased: erased}, nil
		}
	})
	page := string(b.mustGet("invented", "/jobs/job-1/handover"))
	if !strings.Contains(page, "Invented Signer") || !strings.Contains(page, `alt="Signature of Invented Signer"`) {
		t.Error("the signature is not on the page")
	}
	pdf := b.mustGet("invented", "/jobs/job-1/handover.pdf")
	if text := textOf(t, pdf); !strings.Contains(text, "signed by Invented Signer") {
		t.Errorf("the signature is not in the PDF: %s", text)
	}
	if images := tool(t, pdf, "pdfimages", "-list", "FILE"); strings.Count(images, "\n") < 5 { // 2 lines of head, 2 photos or codes, it
		t.Errorf("the pictures of the PDF are %s", images)
	}
	erased = "2026-09-01"
	page = string(b.mustGet("invented", "/jobs/job-1/handover"))
	if strings.Contains(page, "Invented Signer") || !strings.Contains(page, "were erased on 1 Sept 2026") && !strings.Contains(page, "were erased on 1 Sep 2026") {
		t.Error("what cannot be read any more is shown")
	}
}

// TestStrokesAreDrawn looks at points of the picture; what is no drawing draws nothing.
func TestStrokesAreDrawn(t *testing.T) {
	raw, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(string(drawn("M10 10L110 10M300 5L300 195")), "data:image/png;base64,"))
	must(t, err)
	img, err := png.Decode(bytes.NewReader(raw))
	must(t, err)
	for at, want := range map[image.Point]bool{{X: 60, Y: 10}: true, {X: 60, Y: 12}: true, {X: 60, Y: 14}: false, {X: 300, Y: 100}: true,
		{X: 200, Y: 60}: false, {X: 115, Y: 10}: false} {
		if r, _, _, _ := img.At(at.X, at.Y).RGBA(); (r == 0) != want {
			t.Errorf("at %v there is ink: %v", at, !want)
		}
	}
	for _, bad := range []string{"", "x", "M1", "M1 2L", "Ma b"} {
		if got := drawn(bad); got != "" {
			t.Errorf("%q draws %.40s", bad, got)
		}
	}
}
