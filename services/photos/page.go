package photos

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
)

//go:embed templates assets
var own embed.FS

// shrinkScript is the file that makes photos small.
const shrinkScript = "shrink.js"

// ShrinkScript returns the script that makes photos small enough to send, for other
// pages that take photos: a module with shrink and digestOf.
func ShrinkScript() ([]byte, error) { return own.ReadFile("assets/" + shrinkScript) }

// AddAt is the route of the page on which the office adds photos to a job.
const AddAt = "/jobs/:job/photos"

// addMost is how many photos are added at once: each is an event of one commit.
const addMost = 50

// PageDeps is what the page needs. Every member is required.
type PageDeps struct {
	Frame *pages.Frame

	// Names returns how a firm calls its things, as of now; its locale and zone with them.
	Names func(ctx context.Context, firm string) (reports.Names, error)

	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	// Record puts events of one job into the log, all or none.
	Record func(ctx context.Context, firm, job, by string, list []events.Event) ([]events.Receipt, error)

	Store Store
	Clock func() time.Time
}

// addBody is the form for adding photos. ID and At are the form's own, so that sending
// it again records nothing twice.
type addBody struct{ Job, ID, At, Shrink string }

// MountPage adds the page on which the office adds photos to a job. The browser makes
// them smaller, which leaves out where they were taken, and sends them; the form then
// ties them to the job.
func MountPage(server *httpd.Server, deps PageDeps) error {
	if deps.Frame == nil || deps.Names == nil || deps.Commits == nil || deps.Record == nil || deps.Store == nil ||
		deps.Clock == nil {
		return errors.New("mount page of photos: every member of PageDeps must be set")
	}
	if err := deps.Frame.AddBodies(own, "templates/*.html"); err != nil {
		return err
	}
	if err := deps.Frame.AddFiles(own, "assets/*"); err != nil {
		return err
	}
	record := server.Engine.Group("", httpd.Require(httpd.Office))
	record.GET(AddAt, deps.Frame.Handler(deps.form))
	record.POST(AddAt, deps.Frame.Handler(deps.add))
	return nil
}

// form shows the form for a job that there is.
func (d PageDeps) form(v pages.Visit) (pages.Page, error) {
	job := v.Param("job")
	if !events.ValidToken(job) || job == events.FirmJob {
		return pages.Page{}, events.Refuse("job", job, "the key of a job")
	}
	stored, err := d.Commits(v, v.Firm, job, 0)
	if err != nil {
		return pages.Page{}, fmt.Errorf("read commits of job %s: %w", job, err)
	}
	if len(stored) == 0 {
		return pages.Page{}, noJob(job)
	}
	names, err := d.Names(v, v.Firm)
	if err != nil {
		return pages.Page{}, fmt.Errorf("read names: %w", err)
	}
	id, err := uuid.NewV7()
	if err != nil {
		return pages.Page{}, fmt.Errorf("make an id: %w", err)
	}
	say := &texts.Speaker{Texts: d.Frame.Texts(names.Locale)}
	title := say.Say("photos-add.title")
	return pages.Page{
		Name: "photos-add.html", Title: title, Texts: say.Texts, Script: "photos-add.js",
		Body: addBody{job, id.String(), names.Local(d.Clock()).Format(time.RFC3339),
			d.Frame.Address(shrinkScript)},
		Crumbs: []pages.Link{{Text: say.Say("nav.jobs"), Address: "/"}, {Text: job, Address: "/jobs/" + job}, {Text: title}},
	}, say.Err
}

// add ties photos that were sent to the job. Sending the form again changes nothing.
func (d PageDeps) add(v pages.Visit) (pages.Page, error) {
	job, digests := v.Param("job"), v.Values["photo"]
	if len(digests) == 0 || len(digests) > addMost {
		return pages.Page{}, events.Refuse("photo", len(digests), "1 to %d photos at once", addMost)
	}
	var list []events.Event
	caption := strings.TrimSpace(v.Values.Get("caption"))
	for _, digest := range digests {
		if _, err := d.Store.Stat(v, v.Firm, digest); err != nil {
			return pages.Page{}, err
		}
		data, err := json.Marshal(events.Photo{Photo: digest, Caption: caption})
		if err != nil {
			return pages.Page{}, fmt.Errorf("write event: %w", err)
		}
		id := sha256.Sum256([]byte(v.Values.Get("id") + "\n" + v.Values.Get("at") + "\n" + string(data)))
		e := events.Event{
			ID: hex.EncodeToString(id[:16]), Source: "/office", Type: events.PhotoAttached, Subject: job,
			Time: v.Values.Get("at"), Data: data,
		}
		if err := e.Validate(); err != nil {
			return pages.Page{}, err
		}
		list = append(list, e)
	}
	if _, err := d.Record(v, v.Firm, job, v.Caller.Name, list); err != nil {
		return pages.Page{}, err
	}
	return pages.Page{Leads: "/jobs/" + job + "#photos"}, nil
}
