package reporting

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strconv"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/photos"
	"daysheet/services/wording"
)

// Photos is what is asked of the store of photos.
type Photos interface {
	Stat(ctx context.Context, firm, digest string) (photos.Info, error)
}

// photosMost is how many photos stand on a page.
const photosMost = 48

// thumbnailWidth is twice the width that a photo is shown at, for dense screens.
const thumbnailWidth = 320

// photosView is the photos of a job, oldest first: how it was before stands at the top.
type photosView struct {
	Shown       []photoView
	From, Total int // the number of the first one shown, from 1; of all there are
	Next, Back  string
	Add         string // address of the page that adds some; empty for who may not, or where there is none
}

// Last returns the number of the last one shown.
func (v photosView) Last() int { return v.From + len(v.Shown) - 1 }

// photoView is one photo with what its event says of it. Small and Full are empty
// where it cannot be shown; Why says why then.
type photoView struct {
	Small, Full   string
	Width, Height int // of Small
	Alt, What     string
	Day, Stage    string
	Why           string
}

// picture is a photo that an event names.
type picture struct {
	record *wording.Record
	digest string
	nth    int // of those that the event names, from 1
	of     int
}

// pictures lists the photos of events that hold.
func pictures(h *wording.History) []picture {
	var all []picture
	for _, r := range h.Records {
		if r.VoidedBy != "" {
			continue
		}
		digests := events.PhotosOf(r.Payload)
		for i, digest := range digests {
			all = append(all, picture{r, digest, i + 1, len(digests)})
		}
	}
	return all
}

// photosOf shows a job's photos after the given number. It returns nil where there is
// nothing to show and none can be added, or this process knows of none.
func (s *site) photosOf(v visit, w teller, h *wording.History, after uint64) (*photosView, error) {
	all := pictures(h)
	view := &photosView{Total: len(all)}
	if s.frame.Serves(photos.AddAt) && v.Caller.May(httpd.ScopeRecord) {
		view.Add = "/jobs/" + v.Param("job") + "/photos"
	}
	if s.deps.Photos == nil || len(all) == 0 && view.Add == "" {
		return nil, nil
	}
	if len(all) == 0 {
		return view, nil
	}
	start := int(min(after, uint64(len(all)-1)))
	end := min(start+photosMost, len(all))
	view.From = start + 1
	page := func(after int) string {
		return "/jobs/" + v.Param("job") + "?" + url.Values{"photos": {strconv.Itoa(after)}}.Encode() + "#photos"
	}
	if start > 0 {
		view.Back = page(max(0, start-photosMost))
	}
	if end < len(all) {
		view.Next = page(end)
	}
	for _, p := range all[start:end] {
		shown, err := s.photo(v, w, h, p)
		if err != nil {
			return nil, err
		}
		view.Shown = append(view.Shown, shown)
	}
	return view, nil
}

func (s *site) photo(v visit, w teller, h *wording.History, p picture) (photoView, error) {
	about := p.record // what the photo is of
	attached, ok := p.record.Payload.(*events.Photo)
	if ok && h.ByID[attached.Of] != nil {
		about = h.ByID[attached.Of]
	}
	view := photoView{What: w.Says(h, about), Day: w.Day(p.record.Day()), Stage: w.stageOf(about.Payload)}
	if ok && about != p.record && attached.Caption != "" {
		view.What = wording.List(attached.Caption, view.What)
	}
	view.Alt = w.Say("job.photo", "what", view.What)
	if p.of > 1 {
		view.Alt = w.Say("job.photo-of", "n", strconv.Itoa(p.nth), "of", strconv.Itoa(p.of), "what", view.What)
	}
	info, err := s.deps.Photos.Stat(v, v.Firm, p.digest)
	switch {
	case events.CodeOf(err) == events.NotFound:
		view.Why = w.Say("job.photo.waits")
	case errors.Is(err, photos.ErrDamaged):
		view.Why = w.Say("job.photo.damaged")
	case events.CodeOf(err) == events.Unavailable:
		view.Why = w.Say("job.photo.unreachable")
	case err != nil:
		return photoView{}, fmt.Errorf("look for photo %s: %w", p.digest, err)
	default:
		view.Full = "/v1/photos/" + p.digest
		view.Small = view.Full + "?width=" + strconv.Itoa(thumbnailWidth)
		view.Width, view.Height = photos.ThumbnailSize(info, thumbnailWidth)
	}
	return view, nil
}

// stageOf says when in a job something was recorded: before it, or once it was put
// right; empty in between.
func (w teller) stageOf(payload events.Payload) string {
	switch p := payload.(type) {
	case *events.Condition:
		return w.Say("job.photo.before")
	case *events.Damage:
		if p.Cause == "before" {
			return w.Say("job.photo.before")
		}
	case *events.MakingGood, *events.SnagClearance:
		return w.Say("job.photo.after")
	}
	return ""
}
