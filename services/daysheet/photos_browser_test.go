package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"image"
	"image/jpeg"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"daysheet/services/httpd"
	"daysheet/services/httpd/browsertest"
)

// withPosition is an invented photo as large as a camera's, which says where it was taken.
func withPosition(t *testing.T) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 3000, 2000))
	for i := range img.Pix {
		img.Pix[i] = uint8(i / 3000 / 8)
	}
	var raw bytes.Buffer
	if err := jpeg.Encode(&raw, img, nil); err != nil {
		t.Fatal(err)
	}
	// A directory with one entry, which leads to that of the position, with its latitude.
	exif := "Exif\x00\x00II*\x00\x08\x00\x00\x00" + "\x01\x00\x25\x88\x04\x00\x01\x00\x00\x00\x1a\x00\x00\x00\x00\x00\x00\x00" +
		"\x01\x00\x02\x00\x05\x00\x03\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00"
	head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(exif)+2))
	return append(append(head, exif...), raw.Bytes()[2:]...)
}

// TestOfficeAddsPhotos adds a photo from the desk through a browser: the ledger refuses
// it as it is, because it tells a place, and has it without the place from the page.
func TestOfficeAddsPhotos(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042")
	raw := withPosition(t)
	sum := sha256.Sum256(raw)
	_, err := c.request(t.Context(), http.MethodPut, "/v1/photos/"+hex.EncodeToString(sum[:]), "image/jpeg", bytes.NewReader(raw))
	if err == nil || !strings.Contains(err.Error(), "carries a position") {
		t.Fatalf("the photo as it is: %v", err)
	}
	folder := t.TempDir()
	photo, page := filepath.Join(folder, "hall.jpg"), filepath.Join(folder, "page.jpg")
	for name, content := range map[string][]byte{photo: raw, page: []byte("<!doctype html>")} {
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	address := mustServe(t, a)
	ctx := browsertest.Open(t)
	signIn(t, ctx, a, address)
	browse(t, ctx, chromedp.Navigate(address+"/jobs/iris-job"), chromedp.Click(chromedp.CSS(`a[href="/jobs/iris-job/photos"]`)),
		chromedp.WaitVisible(chromedp.CSS("form[data-add-photos]")))
	for _, view := range []browsertest.View{{Width: 360, Scheme: "dark"}, {Width: 1280, Scheme: "light"}} {
		view.Set(t, ctx)
		browsertest.Look(t, ctx, "add photos")
		browsertest.KeepPicture(t, ctx, "add-photos-"+view.Scheme)
	}
	files, send := chromedp.CSS("input[type=file]"), chromedp.CSS("form[data-add-photos] button")
	browse(t, ctx, chromedp.SetUploadFiles(files, []string{photo, page}), chromedp.Click(send),
		chromedp.WaitVisible(chromedp.Search("//*[@role='alert' and contains(text(), 'page.jpg is no photo')]")))
	browse(t, ctx, chromedp.SetUploadFiles(files, []string{photo}), chromedp.SendKeys(chromedp.CSS("input[name=caption]"), "Hall, from the door"),
		chromedp.Click(send), chromedp.WaitVisible(chromedp.Search("//figcaption[contains(text(), 'Hall, from the door')]")))
	if at := evaluate[string](t, ctx, `location.pathname + location.hash`); at != "/jobs/iris-job#photos" {
		t.Errorf("the form leads to %s", at)
	}
	var listed struct {
		Photos []struct {
			Photo, State  string
			Width, Height int
		}
		Total int
	}
	if err := json.Unmarshal(mustGet(t, c, "/v1/jobs/iris-job/photos"), &listed); err != nil {
		t.Fatal(err)
	}
	last := listed.Photos[len(listed.Photos)-1]
	if listed.Total != 2 || last.State != "present" || last.Width != 1600 || last.Height != 1067 {
		t.Errorf("the ledger has %+v", listed)
	}
	if kept := mustGet(t, c, "/v1/photos/"+last.Photo); bytes.Contains(kept, []byte("Exif")) {
		t.Error("the photo that is kept holds what the camera wrote")
	}
}

// TestPhotosAreTiedOnce sends the form twice, as a browser does on a reload, and sends
// what no form of ours would.
func TestPhotosAreTiedOnce(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	t.Cleanup(func() { mustClose(t, a) })
	c := mustInvent(t, a, 1)
	openJob(t, c, "iris-job", "c-1042")
	here, missing := mustSendPhoto(t, c, 60), strings.Repeat("ab", 32)
	address := mustServe(t, a)
	secret, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: demoFirm, Name: "desk", Scopes: httpd.Scopes()})
	if err != nil {
		t.Fatal(err)
	}
	send := func(want int, job string, form url.Values) {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, address+"/jobs/"+job+"/photos", strings.NewReader(form.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Authorization", "Bearer "+secret)
		answer, err := noRedirects().Do(r)
		if err != nil {
			t.Fatal(err)
		}
		if err := answer.Body.Close(); err != nil || answer.StatusCode != want {
			t.Errorf("%s %v: %d, want %d (%v)", job, form, answer.StatusCode, want, err)
		}
	}
	form := url.Values{"id": {"form-0001"}, "at": {"2026-06-02T08:00:00+02:00"}, "photo": {here}, "caption": {"Hall"}}
	for range 2 {
		send(http.StatusSeeOther, "iris-job", form)
	}
	for field, value := range map[string][]string{"at": {"yesterday"}, "photo": nil, "caption": {"\x00"}} {
		other := url.Values{"id": {"form-0002"}, "at": form["at"], "photo": {here}, "caption": {"Hall"}}
		other[field] = value
		send(http.StatusUnprocessableEntity, "iris-job", other)
	}
	send(http.StatusNotFound, "iris-job", url.Values{"id": {"form-0003"}, "at": form["at"], "photo": {missing}})
	send(http.StatusNotFound, "no-job", form)
	var listed struct{ Total int }
	if err := json.Unmarshal(mustGet(t, c, "/v1/jobs/iris-job/photos"), &listed); err != nil || listed.Total != 2 {
		t.Errorf("%d photos are named: %v", listed.Total, err)
	}
}
