package handover

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"daysheet/events"
)

// upload sends a file to the public page as a browser does, signed in nowhere.
func (b *bench) upload(raw []byte) *httptest.ResponseRecorder {
	b.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", "paper.pdf")
	must(b.t, err)
	_, err = part.Write(raw)
	must(b.t, err)
	must(b.t, form.Close())
	request := httptest.NewRequest(http.MethodPost, "/check", &body)
	request.Header.Set("Content-Type", form.FormDataContentType())
	answer := httptest.NewRecorder()
	b.engine.ServeHTTP(answer, request)
	return answer
}

// verdictOf finds the verdict on a page.
func verdictOf(t *testing.T, page string) string {
	t.Helper()
	_, rest, ok := strings.Cut(page, `class="card verdict `)
	if !ok {
		t.Fatalf("no verdict on the page: %s", page)
	}
	state, _, _ := strings.Cut(rest, `"`)
	return state
}

// TestAnybodyCanCheck: by file and by code, without signing in.
func TestAnybodyCanCheck(t *testing.T) {
	p := newProof(t)
	b := p.bench
	tampered := bytes.Clone(p.pdf)
	tampered[len(tampered)/2] ^= 1
	other := newProof(t)
	for name, c := range map[string]struct {
		raw  []byte
		want string
	}{
		"the paper": {p.pdf, same}, "the evidence": {p.evidence, same}, "a changed paper": {tampered, altered},
		"a paper of another key": {other.pdf, altered}, "no paper": {[]byte("hello, this is no paper"), unknown},
	} {
		answer := b.upload(c.raw)
		if answer.Code != http.StatusOK || verdictOf(t, answer.Body.String()) != c.want {
			t.Errorf("%s: status %d, %s", name, answer.Code, answer.Body)
		}
	}
	code := codeIn(t, b)
	page := string(b.mustGet("", "/check/"+url.PathEscape(code)))
	if verdictOf(t, page) != same || strings.Contains(page, "Since then") {
		t.Errorf("the code of the paper: %s", page)
	}
	if raw := b.mustGet("", "/check/"+url.PathEscape(code)+"/paper.pdf"); !bytes.HasPrefix(raw, []byte("%PDF-")) {
		t.Errorf("the paper online is %.20q", raw)
	}
	p.ledger.record("job-1", events.SnagRaised, "2026-03-09", &events.Snag{Location: "Hall", Finding: "Run",
		RaisedBy: "firm"})
	if page := string(b.mustGet("", "/check/"+url.PathEscape(code))); verdictOf(t,
		page) != same || !strings.Contains(page, "Since then more was recorded") {
		t.Errorf("after more was recorded: %s", page)
	}
	if page := string(b.mustGet("",
		"/check?code="+url.QueryEscape("https://ledger.example/check/"+code))); verdictOf(t, page) != same {
		t.Error("the whole address is not taken for the code")
	}
	if page := string(b.mustGet("", "/check")); !strings.Contains(page, "Check a paper") || strings.Contains(page,
		"verdict ") {
		t.Error("the empty page is wrong")
	}
	key := string(b.mustGet("", "/keys/invented"))
	if _, err := ParsePublicPEM([]byte(key)); err != nil {
		t.Errorf("the public key is %q: %v", key, err)
	}
	if got := b.get("", "/keys/nobody").Code; got != http.StatusNotFound {
		t.Errorf("the key of nobody answers %d", got)
	}
}

// codeIn returns the code that the report of the job prints.
func codeIn(t *testing.T, b *bench) string {
	t.Helper()
	page := string(b.mustGet("invented", "/jobs/job-1/handover"))
	_, rest, ok := strings.Cut(page, "https://ledger.example/check/")
	code, _, _ := strings.Cut(rest, `"`)
	if !ok || code == "" {
		t.Fatalf("no code on %s", page)
	}
	return code
}

// TestGuessedCodesTellNothing: a code with any sign changed is unknown, whatever it
// names, and leads to no paper.
func TestGuessedCodesTellNothing(t *testing.T) {
	p := newProof(t)
	b := p.bench
	code := codeIn(t, b)
	guesses := []string{"", "x", strings.Repeat("~", 6), strings.Repeat("a", 600),
		"handover~~nobody~job-1~3~0123456789abcdef~AAAA"}
	for i := range code {
		for _, sign := range []string{"0", "a", "~", "", "-"} {
			if guess := code[:i] + sign + code[i+1:]; guess != code {
				guesses = append(guesses, guess)
			}
		}
	}
	for _, guess := range guesses {
		if _, ok, err := b.keys.readCode(guess); ok || err != nil {
			t.Fatalf("the guess %q is taken for a code (%v)", guess, err)
		}
	}
	for _, guess := range guesses[3:20] {
		if got := b.get("", "/check/"+url.PathEscape(guess)+"/paper.pdf").Code; got != http.StatusNotFound {
			t.Errorf("the guess %q leads to a paper: %d", guess, got)
		}
	}
	if page := string(b.mustGet("", "/check/"+url.PathEscape(guesses[9]))); verdictOf(t, page) != unknown {
		t.Error("a guess is not unknown")
	}
}

// TestUploadsAreBounded: too large a file, and what is no form, are refused.
func TestUploadsAreBounded(t *testing.T) {
	p := newProof(t)
	if got := p.bench.upload(make([]byte, fileMost+2)).Code; got != http.StatusRequestEntityTooLarge {
		t.Errorf("a file that is too large answers %d", got)
	}
	request := httptest.NewRequest(http.MethodPost, "/check", strings.NewReader("file=x"))
	request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer := httptest.NewRecorder()
	p.bench.engine.ServeHTTP(answer, request)
	if answer.Code != http.StatusUnsupportedMediaType {
		t.Errorf("another form answers %d", answer.Code)
	}
}
