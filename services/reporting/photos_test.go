package reporting

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"daysheet/events"
	"daysheet/services/httpd/browsertest"
)

// photo keeps an invented photo of one colour and returns its digest.
func (s *stack) photo(shade uint8) string {
	s.t.Helper()
	raw := shadeOf(s.t, shade)
	digest := digestOf(raw)
	_, _, err := s.photos.Put(context.Background(), "north", digest, bytes.NewReader(raw))
	must(s.t, err)
	return digest
}

func shadeOf(t *testing.T, shade uint8) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 640, 480))
	for i := range img.Pix {
		img.Pix[i] = color.Gray{shade}.Y
	}
	var raw bytes.Buffer
	must(t, jpeg.Encode(&raw, img, nil))
	return raw.Bytes()
}

func digestOf(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// album records a job with photos before, during and after the work; one of them has
// not come yet, and one belongs to a record that was taken back.
func (s *stack) album(job string) {
	condition := s.act(events.ConditionRecorded, "2026-06-01", events.Condition{Location: "Hall", Item: "window board",
		Finding: "scratched", Damaged: true, Photos: []string{s.photo(10), digestOf(shadeOf(s.t, 11))}})
	damage := s.act(events.DamageFound, "2026-06-03", events.Damage{Location: "Hall", Item: "door", Finding: "paint on the glass",
		Cause: "ours", Photos: []string{s.photo(20)}})
	taken := s.act(events.PhotoAttached, "2026-06-04", events.Photo{Photo: s.photo(30), Caption: "by mistake"})
	s.record("north", job, s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "occupied", Title: "Hall with photos"}),
		condition, damage, taken)
	s.record("north", job, s.act(events.PhotoAttached, "2026-06-04", events.Photo{Photo: s.photo(40), Of: damage.ID, Caption: "from the side"}),
		s.act(events.DamageMadeGood, "2026-06-05", events.MakingGood{Damage: damage.ID, Work: "glass cleaned", Photos: []string{s.photo(50)}}),
		s.act(events.EventVoided, "2026-06-05", events.Void{Event: taken.ID, Reason: "another job"}))
}

// seenPhoto is a photo on the page, from within.
type seenPhoto struct {
	Wide           int // of the picture that was loaded; 0: none
	Alt, Full, Why string
	What, Beside   string
}

const photosSeen = `(async () => {
	const tiles = [...document.querySelectorAll('.photos li')];
	for (const img of document.querySelectorAll('.photos img')) { img.loading = 'eager'; await img.decode(); }
	const text = (node) => node ? node.textContent.trim() : '';
	return tiles.map((tile) => {
		const img = tile.querySelector('img'), caption = tile.querySelector('figcaption');
		return {
			Wide: img ? img.naturalWidth : 0, Alt: img ? img.alt : '', Full: img ? img.closest('a').getAttribute('href') : '',
			Why: text(tile.querySelector('.absent')), What: caption.firstChild.textContent.trim(), Beside: text(caption.querySelector('.muted')),
		};
	});
})()`

// TestPhotosInABrowser: thumbnails with what, where and when, those that are missing,
// full size on a click, and nothing that axe-core or the content policy minds.
func TestPhotosInABrowser(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	s.album("hall-9")
	ctx := browse(t, s)
	want := []seenPhoto{
		{320, "Photo 1 of 2: Damaged before the work: Hall, window board, scratched", "/v1/photos/" + digestOf(shadeOf(t, 10)), "",
			"Damaged before the work: Hall, window board, scratched", "1 Jun 2026 · before the work"},
		{0, "", "", "Not here yet: the phone that took it has not sent it.",
			"Damaged before the work: Hall, window board, scratched", "1 Jun 2026 · before the work"},
		{320, "Photo: Damage found: door, Hall, paint on the glass, caused by the firm", "/v1/photos/" + digestOf(shadeOf(t, 20)), "",
			"Damage found: door, Hall, paint on the glass, caused by the firm", "3 Jun 2026"},
		{320, "Photo: from the side, Damage found: door, Hall, paint on the glass, caused by the firm", "/v1/photos/" + digestOf(shadeOf(t, 40)), "",
			"from the side, Damage found: door, Hall, paint on the glass, caused by the firm", "4 Jun 2026"},
		{320, "Photo: Damage made good: door, Hall, glass cleaned", "/v1/photos/" + digestOf(shadeOf(t, 50)), "",
			"Damage made good: door, Hall, glass cleaned", "5 Jun 2026 · after it was put right"},
	}
	for _, view := range browsertest.Views() {
		view.Set(t, ctx)
		lookAt(t, ctx, s.address+"/jobs/hall-9", "/jobs/hall-9")
		got, err := chromedp.Run(ctx, chromedp.Evaluate[[]seenPhoto](photosSeen, chromedp.EvalAwaitPromise))
		must(t, err)
		if !slices.Equal(got, want) {
			t.Errorf("%d %s: the page shows\n%+v, want\n%+v", view.Width, view.Scheme, got, want)
		}
		browsertest.KeepPicture(t, ctx, fmt.Sprintf("%d-%s-photos", view.Width, view.Scheme))
	}
	must(t, chromedp.Do(ctx, chromedp.Click(chromedp.CSS(".photos a")), chromedp.WaitVisible(chromedp.CSS("body > img"))))
	full, err := chromedp.Run(ctx, chromedp.Evaluate[string](`location.pathname + ' ' + document.images[0].naturalWidth`))
	if must(t, err); full != want[0].Full+" 640" {
		t.Errorf("a click leads to %s", full)
	}
}

// TestManyPhotosOfAJob leafs through more photos than a page shows.
func TestManyPhotosOfAJob(t *testing.T) {
	s := newStack(t)
	s.settle("north")
	var digests []string
	for n := range photosMost + 5 {
		digests = append(digests, digestOf([]byte{byte(n)})) // not there, and listed all the same
	}
	s.record("north", "hall-9", s.act(events.JobOpened, "2026-06-01", events.Opening{JobType: "occupied", Title: "Hall"}),
		s.act(events.ConditionRecorded, "2026-06-01", events.Condition{Location: "Hall", Finding: "sound", Photos: digests}))
	for _, c := range []struct {
		query, says, leads string
		tiles              int
	}{
		{"", "1 to 48 of 53", `href="/jobs/hall-9?photos=48#photos">Later photos`, 48},
		{"?photos=48", "49 to 53 of 53", `href="/jobs/hall-9?photos=0#photos">Earlier photos`, 5},
		{"?photos=9999999", "53 to 53 of 53", "Earlier photos", 1},
	} {
		a := s.get("north", "/jobs/hall-9"+c.query, "Accept", "text/html")
		if a.status != 200 || !strings.Contains(a.body, c.says) || !strings.Contains(a.body, c.leads) || strings.Count(a.body, "Not here yet") != c.tiles {
			t.Errorf("%q: %d with %d tiles", c.query, a.status, strings.Count(a.body, "Not here yet"))
		}
	}
	if a := s.get("north", "/jobs/hall-9?photos=-1", "Accept", "text/html"); a.status != 422 {
		t.Errorf("a number that is none: %d", a.status)
	}
}
