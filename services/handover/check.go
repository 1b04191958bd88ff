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
	"daysheet/services/httpd"
	"daysheet/services/pages"
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
	State string // same, changed or unknown
	Says  string
	Facts []pages.Fact
	Copy  string // address of the paper online; empty where there is none
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
	server.Engine.GET(checkAt, d.Frame.Handler(func(v pages.Visit) (pages.Page, error) {
		if text := v.Values.Get("code"); text != "" {
			return d.checkCode(v, text)
		}
		return d.checkPage("", nil), nil
	}))
	server.Engine.GET(checkAt+"/:code", d.Frame.Handler(func(v pages.Visit) (pages.Page, error) {
		return d.checkCode(v, v.Param("code"))
	}))
	server.Engine.GET(checkAt+"/:code/paper.pdf", d.onlineCopy)
	server.Engine.POST(checkAt, d.checkUpload)
	server.Engine.GET(keysAt+"/:firm", d.publicKey)
	return nil
}

func (d *desk) checkPage(code string, v *verdict) pages.Page {
	return pages.Page{Name: "check.html", Title: "Check a paper",
		Body: checkView{Code: code, Verdict: v, Most: fileMost >> 20, Sheet: d.Frame.Address("paper.css")}}
}

// publicKey shows the key that a firm signs with, as OpenSSL reads it.
func (d *desk) publicKey(c *gin.Context) {
	key, err := d.Keys.Public(c.Param("firm"))
	var raw []byte
	if err == nil {
		raw, err = PublicPEM(key)
	}
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	c.Data(http.StatusOK, "application/x-pem-file", raw)
}

// checkCode tells how the paper with a code stands to the ledger.
func (d *desk) checkCode(v pages.Visit, text string) (pages.Page, error) {
	text = strings.TrimSpace(text[strings.LastIndexByte(text, '/')+1:]) // the whole address will do
	read, ok, err := d.Keys.readCode(text)
	if err != nil {
		return pages.Page{}, err
	}
	if !ok {
		return d.checkPage(text, &verdict{State: unknown,
			Says: "This ledger gave no paper this code. Look whether it was copied whole."}), nil
	}
	found, err := d.compare(v, read.wanted, read.head)
	if err != nil {
		return pages.Page{}, err
	}
	if found.State == same {
		found.Copy = checkAt + "/" + text + "/paper.pdf"
	}
	return d.checkPage(text, &found), nil
}

// compare tells whether the ledger still holds the records that a paper was made of.
// head is the beginning of the hash that the paper names, or all of it.
func (d *desk) compare(ctx context.Context, w wanted, head string) (verdict, error) {
	dossier, err := d.dossier(ctx, w)
	if events.CodeOf(err) == events.NotFound {
		return verdict{State: altered, Says: "The ledger does not hold the job of this paper any more."}, nil
	}
	if err != nil {
		return verdict{}, err
	}
	stamp := dossier.Stamp()
	v := verdict{State: same, Facts: []pages.Fact{
		{Text: "Paper", Value: string(w.kind)}, {Text: "Job", Value: stamp.Job},
		{Text: "Position in the ledger", Value: strconv.FormatUint(stamp.Position, 10)},
		{Text: "Last record of it", Value: stamp.RecordedAt.UTC().Format("2006-01-02 15:04") + " UTC"},
		{Text: "Hash of that record", Value: stamp.Head},
	}}
	if stamp.Position != w.asOf || len(head) == 0 || stamp.Head[:min(len(head), len(stamp.Head))] != head {
		v.State, v.Says = altered, "The ledger does not hold the records that this paper was made of: its records at this "+
			"position have another hash."
		return v, nil
	}
	v.Says = "The ledger holds the records of this paper as they were when it was made."
	all, err := d.Commits(ctx, w.firm, w.job, 0)
	if err != nil {
		return verdict{}, fmt.Errorf("read job %s: %w", w.job, err)
	}
	if later := uint64(len(all)) - stamp.Commits; later > 0 {
		v.Says += fmt.Sprintf(" Since then more was recorded on the job: %d commits.", later)
	}
	return v, nil
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
	v, err := d.uploaded(c)
	if err != nil {
		httpd.Abort(c, err)
		return
	}
	d.Frame.Show(c, pages.Visit{Context: c.Request.Context(), Values: c.Request.URL.Query(), Param: c.Param},
		d.checkPage("", &v))
}

// uploaded puts the file of the form on disk and checks it there. One at a time: each
// takes room.
func (d *desk) uploaded(c *gin.Context) (v verdict, err error) {
	ctx := c.Request.Context()
	select {
	case d.checking <- struct{}{}:
		defer func() { <-d.checking }()
	case <-ctx.Done():
		return verdict{}, fmt.Errorf("wait for the check before: %w", ctx.Err())
	}
	form, err := c.Request.MultipartReader()
	if err != nil {
		return verdict{}, httpd.NewProblem(http.StatusUnsupportedMediaType, "send the file as multipart/form-data")
	}
	var part *multipart.Part
	if part, err = form.NextPart(); err != nil || part.FormName() != "file" {
		return verdict{}, events.Refuse("file", "", "choose the file to check")
	}
	draft, err := os.CreateTemp("", "daysheet-check-*")
	if err != nil {
		return verdict{}, fmt.Errorf("keep the file to check: %w", err)
	}
	defer func() { err = errors.Join(err, draft.Close(), os.Remove(draft.Name())) }()
	size, err := io.Copy(draft, io.LimitReader(part, fileMost+1))
	if err != nil {
		return verdict{}, fmt.Errorf("read the file to check: %w", err)
	}
	if size > fileMost {
		return verdict{}, &http.MaxBytesError{Limit: fileMost}
	}
	return d.checkFile(ctx, draft, size)
}

// checkFile tells how a file stands to the ledger.
func (d *desk) checkFile(ctx context.Context, file io.ReaderAt, size int64) (verdict, error) {
	found, err := Check(file, size, d.Keys.Public)
	var tampered *ChangedError
	switch {
	case errors.As(err, &tampered):
		return verdict{State: altered, Says: "The file is not as it was signed: " + tampered.What + "."}, nil
	case errors.Is(err, ErrUnknownFile):
		return verdict{State: unknown, Says: "The file is no paper and no evidence file of this ledger."}, nil
	case events.CodeOf(err) == events.NotFound && err != nil:
		return verdict{State: unknown, Says: "The file names a firm that signs nothing here."}, nil
	case err != nil:
		return verdict{}, err
	}
	v, err := d.compare(ctx, wanted{firm: found.Firm, job: found.Job, kind: found.Kind, of: found.Of,
		asOf: found.Position},
		found.Head)
	if err == nil && v.State == same {
		v.Says = "Every byte of the file is as the firm signed it. " + v.Says
	}
	return v, err
}
