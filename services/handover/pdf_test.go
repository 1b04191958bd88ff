package handover

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/piglig/go-qr"
	"golang.org/x/image/font/gofont/gobolditalic"

	"daysheet/events"
)

// letters are in captions of the tests: Latin with marks, Greek, Cyrillic, signs.
const letters = "Łódź, Ελλάδα, Київ, 12.5 m², ½, €"

// pictured records photos on a job and returns them.
func pictured(t *testing.T, l *ledger, job string, n, width, height int) album {
	t.Helper()
	photos := album{}
	for i := range n {
		digest := photos.draw(t, i, width, height)
		l.record(job, events.PhotoAttached, "2026-06-01", &events.Photo{Photo: digest,
			Caption: fmt.Sprintf("Photo %d: %s", i+1, letters)})
	}
	return photos
}

// tool runs a program of Debian on a PDF and returns what it writes. What it says of
// the file on the side fails the test: a sound file is read without a word.
func tool(t *testing.T, pdf []byte, name string, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "paper.pdf")
	must(t, os.WriteFile(path, pdf, 0o600))
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", path)
	}
	cmd := exec.Command(name, args...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil || said.Len() > 0 {
		t.Fatalf("%s: %v: %s%s", name, err, said.String(), out.String())
	}
	return out.String()
}

func textOf(t *testing.T, pdf []byte) string {
	return tool(t, pdf, "pdftotext", "-layout", "FILE", "-")
}

// flat joins words with one space, so that a text is found however it is laid out.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

// TestPDFIsSound has every PDF read by poppler and by qpdf, which know nothing of how
// it was made.
func TestPDFIsSound(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	photos := pictured(t, l, job, 7, 200, 150)
	l.record(job, events.PhotoAttached, "2026-06-01", &events.Photo{Photo: events.Hash([]byte("lost")), Caption: "Lost"})
	b := newBench(t, l, photos)
	on := firstDay(l, job)
	for paper, wanted := range map[string][]string{
		"handover.pdf": {"Site and parties", "Scope and variations", "Condition before start", "Protection used",
			"Coating system by surface", "Damage found and made good", "Protection lifted", "Photos of the work",
			"Materials left with the customer", "Care and curing", "Cautions that apply to this job", "Warranty", "Sign-off",
			"Proof", "Photo 7: " + letters, "This photo is not here", "it was not sent yet, or it is lost"},
		"quote.pdf":              {"What is offered", "To pay", "EUR"},
		"snags.pdf":              {"Snag list", "Signature of the customer"},
		"condition.pdf":          {"Condition before start", "Signature of the customer"},
		"day/" + on + "/pdf":     {"Hours booked", "Signature of the customer"},
		"handover.pdf?as_of=999": {"Sign-off"},
	} {
		t.Run(strings.ReplaceAll(paper, "/", " "), func(t *testing.T) {
			pdf := b.mustGet(l.firm, "/jobs/"+job+"/"+paper)
			info := tool(t, pdf, "pdfinfo", "FILE")
			for _, want := range []string{"Tagged:          yes", "Page size:       595.28 x 841.89 pts (A4)"} {
				if !strings.Contains(info, want) {
					t.Errorf("pdfinfo misses %q:\n%s", want, info)
				}
			}
			soundFonts(t, pdf)
			if said := tool(t, pdf, "qpdf", "--check", "FILE"); !strings.Contains(said, "No syntax or stream encoding errors") {
				t.Errorf("qpdf: %s", said)
			}
			text := flat(textOf(t, pdf))
			pages := pagesOf(t, info)
			for n := range pages {
				wanted = append(wanted, fmt.Sprintf("page %d of %d", n+1, pages))
			}
			for _, want := range wanted {
				if !strings.Contains(text, want) {
					t.Errorf("the text misses %q", want)
				}
			}
			drawn := tool(t, pdf, "pdftoppm", "-r", "20", "FILE", filepath.Join(t.TempDir(), "page"))
			if drawn != "" {
				t.Errorf("pdftoppm: %s", drawn)
			}
		})
	}
}

// firstDay returns a day on which something was recorded.
func firstDay(l *ledger, job string) string {
	l.t.Helper()
	for _, stored := range l.jobs[job] {
		c, err := events.DecodeCommit(stored.Raw)
		must(l.t, err)
		for _, e := range c.Events {
			if e.Type == events.HoursBooked {
				return string(e.Day())
			}
		}
	}
	l.t.Fatal("no hours were booked")
	return ""
}

func pagesOf(t *testing.T, info string) (n int) {
	t.Helper()
	_, rest, _ := strings.Cut(info, "Pages:")
	if _, err := fmt.Sscan(rest, &n); err != nil || n < 1 {
		t.Fatalf("no number of pages in %s", info)
	}
	return n
}

// soundFonts wants every font embedded and with a way back to letters, and returns
// their names.
func soundFonts(t *testing.T, pdf []byte) (names []string) {
	t.Helper()
	for _, line := range strings.Split(strings.TrimSpace(tool(t, pdf, "pdffonts", "FILE")), "\n")[2:] {
		fields := strings.Fields(line)
		if n := len(fields); n < 8 || !slices.Equal(fields[n-5:n-2], []string{"yes", "yes", "yes"}) {
			t.Errorf("a font is not embedded, subset and mapped: %s", line)
		}
		names = append(names, fields[0])
	}
	if len(names) == 0 {
		t.Error("the PDF has no fonts")
	}
	return names
}

// TestSamePositionSameBytes: what other jobs and the firm record later changes nothing.
func TestSamePositionSameBytes(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	photos := pictured(t, l, job, 2, 120, 90)
	b := newBench(t, l, photos)
	at := "/jobs/" + job + "/handover.pdf"
	first := b.mustGet(l.firm, at)
	position := l.sequence
	if !bytes.Equal(first, b.mustGet(l.firm, at)) {
		t.Error("the same paper made twice differs")
	}
	l.record("other-job", events.JobOpened, "2026-06-10", &events.Opening{JobType: "exterior", Title: "Another job"})
	l.record(events.FirmJob, events.ProductListed, "2026-06-10", &events.Product{Product: "wall-paint", Name: "Renamed",
		Unit: events.Litre})
	if !bytes.Equal(first, b.mustGet(l.firm, at)) {
		t.Error("records of other jobs and of the firm changed the paper")
	}
	l.record(job, events.PhotoAttached, "2026-06-11", &events.Photo{Photo: photos.draw(t, 9, 60, 60), Caption: "Later"})
	if bytes.Equal(first, b.mustGet(l.firm, at)) {
		t.Error("a record of the job did not change the paper")
	}
	if !bytes.Equal(first, b.mustGet(l.firm, fmt.Sprintf("%s?as_of=%d", at, position))) {
		t.Error("the paper as of its position differs from what was made then")
	}
}

// TestQRLeadsToTheCheck reads the code off the drawn page.
func TestQRLeadsToTheCheck(t *testing.T) {
	l := demoLedger(t)
	b := newBench(t, l, album{})
	pdf := b.mustGet(l.firm, "/jobs/"+l.finished()+"/snags.pdf")
	text := strings.ReplaceAll(textOf(t, pdf), "\n", " ")
	address, err := qrCode("https://ledger.example/check/x")
	must(t, err)
	if !strings.HasPrefix(string(address), "data:image/png;base64,") {
		t.Errorf("the QR code is %.40s", address)
	}
	drawn, err := go_qr.EncodeText("https://ledger.example/check/x", go_qr.Medium)
	must(t, err)
	img, err := drawn.ToImage(go_qr.NewQrCodeImgConfig(4, 2))
	must(t, err)
	if said, err := go_qr.Decode(img); err != nil || said != "https://ledger.example/check/x" {
		t.Errorf("the code says %q: %v", said, err)
	}
	if !strings.Contains(text, "https://ledger.example/check/snags") {
		t.Errorf("the address is not printed: %s", text)
	}
	unknown := newBench(t, l, album{}, func(d *Deps) { d.BaseURL = "" })
	bare := textOf(t, unknown.mustGet(l.firm, "/jobs/"+l.finished()+"/snags.pdf"))
	if strings.Contains(bare, "https://") || !strings.Contains(bare, "Code for the page that checks papers") {
		t.Errorf("without a public address the paper says %s", bare)
	}
}

// TestOwnFont: another font file replaces the built-in letters; what is no font is
// refused at start.
func TestOwnFont(t *testing.T) {
	l := demoLedger(t)
	b := newBench(t, l, album{}, func(d *Deps) { d.Font = gobolditalic.TTF })
	names := strings.Join(soundFonts(t, b.mustGet(l.firm, "/jobs/"+l.finished()+"/snags.pdf")), " ")
	if !strings.Contains(names, "BoldItalic") && !strings.Contains(names, "Bold-Italic") || strings.Contains(names,
		"GoRegular") {
		t.Errorf("the fonts are %s", names)
	}
	if _, err := newLetterer(newFrame(t), []byte("no font")); err == nil {
		t.Error("what is no font is taken for one")
	}
}

// TestSignsThatTheFontLacksAreTold: what cannot be printed is not left out in silence.
func TestSignsThatTheFontLacksAreTold(t *testing.T) {
	p := newProof(t)
	if text := textOf(t, p.pdf); strings.Contains(text, "Not all of this paper") {
		t.Errorf("a paper whose signs the font has says otherwise: %s", text)
	}
	p.ledger.record("job-1", events.SnagRaised, "2026-03-09", &events.Snag{Location: "漢", Finding: "Σ, Я, ł, µ, ²", RaisedBy: "firm"})
	pdf := p.bench.mustGet("invented", "/jobs/job-1/snags.pdf")
	soundFonts(t, pdf)
	if text := flat(textOf(t, pdf)); !strings.Contains(text, "The font lacks these signs: U+6F22.") {
		t.Errorf("the paper does not say that it lacks a sign: %s", text)
	}
	if strings.Contains(flat(textOf(t, pdf)), "Read this paper online.") {
		t.Error("Chinese writing is said to be set wrongly")
	}
	p.ledger.record("job-1", events.SnagRaised, "2026-03-09", &events.Snag{Location: "סלון", Finding: "الباب", RaisedBy: "firm"})
	warned := flat(textOf(t, p.bench.mustGet("invented", "/jobs/job-1/snags.pdf")))
	if !strings.Contains(warned, "Read this paper online. It holds Hebrew and Arabic writing") &&
		!strings.Contains(warned, "Read this paper online. It holds Arabic and Hebrew writing") {
		t.Errorf("the paper does not say that writing may be wrong: %s", warned)
	}
	if page := string(p.bench.mustGet("invented", "/jobs/job-1/snags")); strings.Contains(page, "Read this paper online") {
		t.Error("the page online sends its reader away")
	}
	if page := string(p.bench.mustGet("invented", "/jobs/job-1/snags")); !strings.Contains(page, "漢") || strings.Contains(page, "lacks these") {
		t.Error("the page does not show the sign")
	}
}

// stubborn cannot make any small picture.
type stubborn struct{ album }

func (s stubborn) Thumbnail(context.Context, string, string) ([]byte, error) {
	return []byte("this is no picture"), nil
}

// TestThePageOutlivesThePDF: where the PDF cannot be made, the answer says where the
// same can be had, and there it is.
func TestThePageOutlivesThePDF(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	photos := pictured(t, l, job, 1, 60, 60)
	b := newBench(t, l, stubborn{photos})
	answer := b.get(l.firm, "/jobs/"+job+"/handover.pdf", "Accept", "text/html")
	if said := answer.Body.String(); answer.Code != 500 || !strings.Contains(said, "/jobs/"+job+"/handover shows the "+
		"same") {
		t.Errorf("status %d: %s", answer.Code, said)
	}
	if page := string(b.mustGet(l.firm, "/jobs/"+job+"/handover")); !strings.Contains(page, "Coating system by surface") {
		t.Error("the page is not whole")
	}
}

// counted counts what is asked of an album.
type counted struct {
	album
	asked map[string]int
}

func (c counted) Thumbnail(ctx context.Context, firm, digest string) ([]byte, error) {
	c.asked[digest]++
	return c.album.Thumbnail(ctx, firm, digest)
}

// TestTwoHundredPhotos: each is asked for once, and as a small picture only.
func TestTwoHundredPhotos(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	photos := counted{pictured(t, l, job, 200, 64, 48), map[string]int{}}
	pdf := newBench(t, l, photos).mustGet(l.firm, "/jobs/"+job+"/handover.pdf")
	if len(photos.asked) != 200 {
		t.Errorf("%d photos were asked for", len(photos.asked))
	}
	for digest, n := range photos.asked {
		if n != 1 {
			t.Errorf("photo %s was asked for %d times", digest, n)
		}
	}
	if text := textOf(t, pdf); strings.Count(text, "Photo ") < 200 {
		t.Errorf("only %d captions", strings.Count(text, "Photo "))
	}
}

// BenchmarkPDF measures a PDF without and with photos as phones send them.
func BenchmarkPDF(b *testing.B) {
	for _, n := range []int{0, 60, 200} {
		b.Run(fmt.Sprintf("photos=%d", n), func(b *testing.B) { benchmark(b, n) })
	}
}

// TestDaysAreDrawn: the chart of days is drawn with lines, each row with its text for who
// cannot see it, and twice the same.
func TestDaysAreDrawn(t *testing.T) {
	l := demoLedger(t)
	job := l.finished()
	b := newBench(t, l, pictured(t, l, job, 1, 60, 60))
	pdf := b.mustGet(l.firm, "/jobs/"+job+"/handover.pdf")
	if !bytes.Equal(pdf, b.mustGet(l.firm, "/jobs/"+job+"/handover.pdf")) {
		t.Error("two PDFs of one job differ")
	}
	objects := tool(t, pdf, "qpdf", "--json", "FILE")
	for _, want := range []string{`"/Alt": "u:Coats: `, `"/Alt": "u:Protection laid, checked or lifted: `} {
		if !strings.Contains(objects, want) {
			t.Errorf("no figure has %s", want)
		}
	}
}

// TestLines cuts only where writing has no spaces.
func TestLines(t *testing.T) {
	for text, want := range map[string][]string{
		"": {""}, "Edge not straight beside the door of the room": {"Edge not straight beside the door of the room"},
		strings.Repeat("漢", 16): {strings.Repeat("漢", 16)}, strings.Repeat("漢", 9) + " " + strings.Repeat("漢", 9): {
			strings.Repeat("漢", 9) + " " + strings.Repeat("漢", 9)},
		"A " + strings.Repeat("の", 33): {"A " + strings.Repeat("の", 16), strings.Repeat("の", 16), "の"},
	} {
		if got := lines(text); !slices.Equal(got, want) {
			t.Errorf("%q is cut into %q", text, got)
		}
	}
}
