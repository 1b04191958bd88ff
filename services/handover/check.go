package handover

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	papers "daysheet/reports/handover"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// The public addresses: the page that checks papers, and the keys of firms.
const (
	checkAt = "/check"
	keysAt  = "/keys"
)

// fileMost is how large a file may be that somebody has checked on the page. Greater
// ones are checked with the command, or as their README says.
const fileMost = 64 << 20

// The words of a verdict.
const (
	same    = "same"
	altered = "changed"
	unknown = "unknown"
)

// verdict says how something stands to the ledger.
type verdict struct {
	State  string // same, changed or unknown
	Says   string
	Detail string // what was found, in English; empty where there is nothing more to say
	Facts  []pages.Fact
	Copy   string // address of the paper online; empty where there is none
}

// checkView is the page that checks papers.
type checkView struct {
	Code    string
	Verdict *verdict // nil before anything was checked
	Most    int      // of a file, in megabytes
	Sheet   string
}

// mountCheck adds what anybody may ask: whether a paper is what the ledger says. A
// stranger learns nothing of papers that he does not hold.
func (d *desk) mountCheck(server *httpd.Server) error {
	if err := d.Frame.AddBodies(templates, "templates/check.html"); err != nil {
		return fmt.Errorf("mount check of papers: %w", err)
	}
	server.Open(checkAt)
	server.Open(keysAt + "/:firm")
	server.Hold(checkAt + "/:code") // whoever holds the code holds the paper
	server.Hold(checkAt + "/:code/paper.pdf")
	server.LimitBody(checkAt, fileMost+1<<20)
	server.Engine.GET(checkAt, func(c *gin.Context) { d.checkCode(c, c.Query("code")) })
	server.Engine.GET(checkAt+"/:code", func(c *gin.Context) { d.checkCode(c, c.Param("code")) })
	server.Engine.GET(checkAt+"/:code/paper.pdf", d.onlineCopy)
	server.Engine.POST(checkAt, d.checkUpload)
	server.Engine.GET(keysAt+"/:firm", d.publicKey)
	return nil
}

// asked returns the words for who asks before a firm is known by what is checked: those of
// the firm that is signed in, else the language that the browser asks for.
func (d *desk) asked(c *gin.Context) words {
	if caller, _ := httpd.CallerFrom(c.Request.Context()); caller.Firm != "" {
		return spoken(d.Frame.Spoken(c.Request.Context(), caller.Firm))
	}
	return spoken(d.Frame.Accepted(c.GetHeader("Accept-Language")))
}

// spoken returns the words of a language, before there are settings to write figures by.
func spoken(said *texts.Texts) words {
	speaker := &texts.Speaker{Texts: said}
	return words{speaker, wording.NewFormat(reports.Names{Locale: speaker.Language()}).In(speaker)}
}

// showCheck shows the page.
func (d *desk) showCheck(c *gin.Context, say words, code string, v *verdict, err error) {
	page := pages.Page{Name: "check.html", Title: say.Say("check.title"), Texts: say.Texts,
		Body: checkView{Code: code, Verdict: v, Most: fileMost >> 20, Sheet: d.Frame.Address("paper.css")}}
	if err == nil {
		err = say.Err
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	caller, _ := httpd.CallerFrom(c.Request.Context())
	visit := pages.Visit{Context: c.Request.Context(), Caller: caller, Firm: caller.Firm, Values: c.Request.URL.Query(),
		Param: c.Param}
	d.Frame.Show(c, visit, page)
}

// publicKey shows the key that a firm signs with, as OpenSSL reads it.
func (d *desk) publicKey(c *gin.Context) {
	key, err := d.Keys.Public(c.Param("firm"))
	var raw []byte
	if err == nil {
		raw, err = publicPEM(key)
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Data(http.StatusOK, "application/x-pem-file", raw)
}

// checkCode tells how the paper with a code stands to the ledger.
func (d *desk) checkCode(c *gin.Context, text string) {
	say := d.asked(c)
	if text == "" {
		d.showCheck(c, say, "", nil, nil)
		return
	}
	text = strings.TrimSpace(text[strings.LastIndexByte(text, '/')+1:]) // the whole address will do
	read, ok, err := d.Keys.readCode(text)
	found := verdict{State: unknown, Says: say.Say("check.unknown-code")}
	if err == nil && ok {
		say = spoken(d.Frame.Spoken(c.Request.Context(), read.firm))
		found, say, err = d.compare(c.Request.Context(), say, read.wanted, read.head)
	}
	if err == nil && found.State == same {
		found.Copy = checkAt + "/" + text + "/paper.pdf"
	}
	d.showCheck(c, say, text, &found, err)
}

// compare tells whether the ledger still holds the records that a paper was made of, in
// the paper's own language where it is there. head is the beginning of the hash that the
// paper names, or all of it.
func (d *desk) compare(ctx context.Context, say words, w wanted, head string) (verdict, words, error) {
	dossier, err := d.dossier(ctx, w)
	if events.CodeOf(err) == events.NotFound {
		return verdict{State: altered, Says: say.Say("check.no-job")}, say, nil
	}
	if err != nil {
		return verdict{}, say, err
	}
	say = dossier.words
	stamp := dossier.Stamp()
	v := verdict{State: same, Facts: []pages.Fact{
		{Text: say.Say("check.paper"), Value: kindName(w.kind, say)}, {Text: say.Say("paper.job"), Value: stamp.Job},
		{Text: say.Say("check.position"), Value: strconv.FormatUint(stamp.Position, 10)},
		{Text: say.Say("check.last-record"), Value: say.moment(stamp.RecordedAt)},
		{Text: say.Say("check.hash"), Value: stamp.Head},
	}}
	if stamp.Position != w.asOf || len(head) == 0 || stamp.Head[:min(len(head), len(stamp.Head))] != head {
		v.State, v.Says = altered, say.Say("check.other-hash")
		return v, say, nil
	}
	v.Says = say.Say("check.holds")
	all, err := d.Commits(ctx, w.firm, w.job, 0)
	if err != nil {
		return verdict{}, say, fmt.Errorf("read job %s: %w", w.job, err)
	}
	if later := uint64(len(all)) - stamp.Commits; later > 0 {
		v.Says += " " + say.Say("check.later", "n", say.Count(int64(later)))
	}
	return v, say, nil
}

// kindName names a kind of paper; one that is not known by its key.
func kindName(kind papers.Kind, say words) string {
	switch kind {
	case papers.KindHandover:
		return say.Say("paper.kind.handover")
	case papers.KindQuote:
		return say.Say("paper.kind.quote")
	case papers.KindSnags:
		return say.Say("paper.kind.snags")
	case papers.KindCondition:
		return say.Say("paper.kind.condition")
	case papers.KindVariation:
		return say.Say("check.variation")
	case papers.KindDaySheet:
		return say.Say("check.day-sheet")
	}
	return string(kind)
}

// onlineCopy shows a paper to whoever holds its code.
func (d *desk) onlineCopy(c *gin.Context) {
	read, ok, err := d.Keys.readCode(c.Param("code"))
	if err == nil && !ok {
		err = &events.Error{Code: events.NotFound, Field: "code", Rule: "this ledger gave no paper this code"}
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	unhurry(c)
	ctx := c.Request.Context()
	p, err := d.paper(ctx, read.wanted)
	var raw []byte
	if err == nil {
		raw, err = d.sealedPDF(ctx, p)
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	answerPDF(c, p.Paper, raw)
}

// checkUpload tells how a file that somebody sends stands to the ledger.
func (d *desk) checkUpload(c *gin.Context) {
	v, say, err := d.uploaded(c)
	d.showCheck(c, say, "", &v, err)
}

// uploaded puts the file of the form on disk and checks it there. One at a time: each
// takes room.
func (d *desk) uploaded(c *gin.Context) (v verdict, say words, err error) {
	say = d.asked(c)
	ctx := c.Request.Context()
	select {
	case d.checking <- struct{}{}:
		defer func() { <-d.checking }()
	case <-ctx.Done():
		return verdict{}, say, fmt.Errorf("wait for the check before: %w", ctx.Err())
	}
	form, err := c.Request.MultipartReader()
	if err != nil {
		return verdict{}, say, httpd.NewProblem(http.StatusUnsupportedMediaType, "send the file as multipart/form-data")
	}
	var part *multipart.Part
	if part, err = form.NextPart(); err != nil || part.FormName() != "file" {
		return verdict{}, say, events.Refuse("file", "", "choose the file to check")
	}
	draft, err := os.CreateTemp("", "daysheet-check-*")
	if err != nil {
		return verdict{}, say, fmt.Errorf("keep the file to check: %w", err)
	}
	defer func() { err = errors.Join(err, draft.Close(), os.Remove(draft.Name())) }()
	size, err := io.Copy(draft, io.LimitReader(part, fileMost+1))
	if err != nil {
		return verdict{}, say, fmt.Errorf("read the file to check: %w", err)
	}
	if size > fileMost {
		return verdict{}, say, &http.MaxBytesError{Limit: fileMost}
	}
	return d.checkFile(ctx, say, draft, size)
}

// checkFile tells how a file stands to the ledger, in the language of the firm that it names
// where that has signed anything here.
func (d *desk) checkFile(ctx context.Context, say words, file io.ReaderAt, size int64) (verdict, words, error) {
	found, err := Check(file, size, d.Keys.Public)
	if _, stranger := d.Keys.Public(found.Firm); stranger == nil {
		say = spoken(d.Frame.Spoken(ctx, found.Firm))
	}
	var tampered *ChangedError
	switch {
	case errors.As(err, &tampered):
		return verdict{State: altered, Says: say.Say("check.tampered"), Detail: tampered.What + "."}, say, nil
	case errors.Is(err, errUnknownFile):
		return verdict{State: unknown, Says: say.Say("check.no-paper")}, say, nil
	case events.CodeOf(err) == events.NotFound && err != nil:
		return verdict{State: unknown, Says: say.Say("check.no-firm")}, say, nil
	case err != nil:
		return verdict{}, say, err
	}
	v, say, err := d.compare(ctx, say, wanted{firm: found.Firm, job: found.Job, kind: found.Kind, of: found.Of,
		asOf: found.Position}, found.Head)
	if err == nil && v.State == same {
		v.Says = say.Say("check.every-byte") + " " + v.Says
	}
	return v, say, err
}
