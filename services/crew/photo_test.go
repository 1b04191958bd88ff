package crew

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"net/http"
	"strings"
	"testing"

	"daysheet/services/crew/phonetest"
)

// cameraPhoto returns an invented picture as a camera writes it: held upright, so that
// it is to be turned, and with the place where it was taken (CIPA DC-008, Exif).
func cameraPhoto(t *testing.T) []byte {
	t.Helper()
	picture := image.NewGray(image.Rect(0, 0, 3000, 2000))
	for y := range 2000 {
		for x := range 3000 {
			picture.SetGray(x, y, color.Gray{uint8(x*y/9700 + x/16)})
		}
	}
	var plain bytes.Buffer
	must(t, jpeg.Encode(&plain, picture, nil))
	const intoPosition, intoDegrees = 38, 68
	entry := func(tag, kind uint16, count, value uint32) []byte {
		b := binary.LittleEndian.AppendUint16(nil, tag)
		b = binary.LittleEndian.AppendUint16(b, kind)
		return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(b, count), value)
	}
	tiff := bytes.Join([][]byte{
		[]byte("II*\x00\x08\x00\x00\x00"), {2, 0}, entry(0x0112, 3, 1, 6), entry(0x8825, 4, 1, intoPosition), {0, 0, 0, 0},
		{2, 0}, entry(1, 2, 2, 'N'), entry(2, 5, 3, intoDegrees), {0, 0, 0, 0},
	}, nil)
	for _, degrees := range []uint32{53, 21, 4} {
		tiff = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(tiff, degrees), 1)
	}
	note := append([]byte("Exif\x00\x00"), tiff...)
	head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(note)+2))
	return bytes.Join([][]byte{head, note, plain.Bytes()[2:]}, nil)
}

// TestPhotosGoFirst takes a photo in each form that has one. It is sent before its
// entry, upright, small, and without the place where it was taken: the ledger would
// not have taken it as it came from the camera.
func TestPhotosGoFirst(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	camera := cameraPhoto(t)
	sum := sha256.Sum256(camera)
	status, _, body := s.request("PUT", "/v1/photos/"+hex.EncodeToString(sum[:]), "van-2", string(camera))
	if status != http.StatusUnprocessableEntity || !strings.Contains(body, "where") {
		t.Fatalf("the photo of the camera: status %d: %s", status, body)
	}
	for _, c := range []struct {
		name, field string
		fill        [][2]string
		want        string
	}{
		{"Damage", "photos", [][2]string{{"location", "Hall"}, {"item", "Mirror"}, {"finding", "broken"}}, "damage.found"},
		{"Snag", "photos", [][2]string{{"location", "Hall"}, {"finding", "run"}}, "snag.raised"},
		{"Condition before", "photos", [][2]string{{"location", "Hall"}, {"finding", "worn"}}, "condition.recorded"},
		{"Protection laid", "photos", [][2]string{{"quantity_milli", "4"}}, "protection.laid"},
		{"Photo and note", "photo", [][2]string{{"caption", "Key is with the neighbour"}}, "photo.attached"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p.T = t
			before := len(s.ledger(flat, 0))
			p.Open("/crew/jobs/" + flat)
			p.Tap(c.name)
			p.Photograph(c.field, camera)
			for _, f := range c.fill {
				p.Fill(f[0], f[1])
			}
			if c.name == "Protection laid" {
				p.Tap("Mask edge")
			}
			s.line.Lose(1) // the photo comes a second time
			p.Tap("Save")
			p.Sent()
			got := s.payloads(before)
			if len(got) != 1 || !strings.HasPrefix(got[0], c.want) {
				t.Fatalf("the ledger has %q", got)
			}
			digest := phonetest.Eval[string](p, `(await all('photos'))[0].sha256`)
			if !strings.Contains(got[0], digest) {
				t.Errorf("the entry does not name the photo: %s", got[0])
			}
			file, info, err := s.photos.Open(context.Background(), "north", digest)
			must(t, err)
			raw, err := io.ReadAll(file)
			must(t, err)
			must(t, file.Close())
			if info.Width != 1067 || info.Height != 1600 || bytes.Contains(raw, []byte("Exif")) {
				t.Errorf("the ledger has a photo of %d by %d: %d bytes", info.Width, info.Height, len(raw))
			}
			p.Wait(`document.querySelector('.photos img')?.naturalWidth > 0`)
		})
	}
	p.T = t
}

// TestPhotosAreShown: a photo that is not on this phone any more is shown as the
// ledger has it.
func TestPhotosAreShown(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	p := ready(t, s)
	p.Tap("Photo and note")
	p.Photograph("photo", cameraPhoto(t))
	p.Tap("Save")
	p.Sent()
	phonetest.Eval[bool](p, `new Promise((done) => {
		const opening = indexedDB.open('daysheet-crew');
		opening.onsuccess = () => {
			const change = opening.result.transaction('photos', 'readwrite');
			change.objectStore('photos').clear();
			change.oncomplete = () => { opening.result.close(); done(true); };
		};
	})`)
	quiet(p, func() {
		p.Open("/crew/jobs/" + flat)
		p.Wait(`document.querySelector('.photos img')?.src.includes('/v1/photos/') && document.querySelector('.photos img').naturalWidth === 320`)
		lookAt(p, "with-photo")
	})
}

// TestPhotoWaits takes a photo where the ledger takes none: its entry waits for it,
// what stands on the entry waits too, and what does not goes on.
func TestPhotoWaits(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	s.noPhotos = true
	s.serveVersion(embedded)
	p := ready(t, s)
	before := len(s.ledger(flat, 0))
	p.Tap("Damage")
	p.Photograph("photos", cameraPhoto(t))
	p.Fill("location", "Hall")
	p.Fill("item", "Mirror")
	p.Fill("finding", "broken")
	p.Wait(`(await all('drafts')).some((d) => d.values.finding === 'broken' && d.values.photos.length === 1)`)
	p.Open("/crew/jobs/" + flat + "#damage")
	p.Wait(`document.querySelectorAll('.photos img').length === 1`)
	p.Save()
	p.Tap("Made good: broken")
	p.Fill("work", "new glass")
	p.Save()
	bookHours(p, "1:30")
	p.Wait(`(await count('done')) === 1 && (await count('waiting')) === 2 && state().includes('takes no photos now')`)
	checkMinutes(t, s, before, 90)
	before++

	s.noPhotos = false
	s.serveVersion(embedded)
	p.Open("/crew/outbox")
	p.Sent()
	if got := s.payloads(before); len(got) != 2 || !strings.HasPrefix(got[0], "damage.found") {
		t.Errorf("the ledger has %q", got)
	}
}
