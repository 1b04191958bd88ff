package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"image"
	"image/jpeg"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/services/httpd"
)

// mustSendPhoto sends a photo of the given width and returns its digest.
func mustSendPhoto(t *testing.T, c *client, width int) string {
	t.Helper()
	var raw bytes.Buffer
	if err := jpeg.Encode(&raw, image.NewGray(image.Rect(0, 0, width, 30)), nil); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(raw.Bytes())
	digest := hex.EncodeToString(sum[:])
	answer, err := c.request(t.Context(), http.MethodPut, "/v1/photos/"+digest, "image/jpeg", bytes.NewReader(raw.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if err := answer.Body.Close(); err != nil {
		t.Fatal(err)
	}
	return digest
}

// TestVerifyLooksAtPhotos runs the whole program over a ledger with photos: sound, then
// with one missing, then with one whose bytes are others.
func TestVerifyLooksAtPhotos(t *testing.T) {
	folder := t.TempDir()
	a := mustOpen(t, folder)
	c := owner(a)
	first, second := mustSendPhoto(t, c, 40), mustSendPhoto(t, c, 50)
	list := make([]events.Event, 2)
	for i, raw := range []string{
		`{"specversion":"1.0","id":"open-0001","source":"/t","subject":"stair-12","type":"daysheet.job.opened.v1","time":"2026-03-02T07:30:00Z","data":{"job_type":"stairwell","title":"Stairwell"}}`,
		`{"specversion":"1.0","id":"damage-01","source":"/t","subject":"stair-12","type":"daysheet.damage.found.v1","time":"2026-03-02T08:30:00Z","data":{"location":"Hall","item":"door","finding":"scratch","cause":"others","photos":["` + first + `","` + second + `"]}}`,
	} {
		if err := json.Unmarshal([]byte(raw), &list[i]); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := c.record(t.Context(), list); err != nil {
		t.Fatal(err)
	}
	mustCatchUp(t, a)
	if got := mustGet(t, c, "/v1/jobs/stair-12/photos"); strings.Count(string(got), `"present"`) != 2 {
		t.Errorf("the job's photos are %s", got)
	}
	mustClose(t, a)
	verify := func(want int) string {
		t.Helper()
		said := stdoutOf(t, func() {
			if code := run(t.Context(), []string{"verify", "--data", folder}); code != want {
				t.Errorf("verify ends with %d, want %d", code, want)
			}
		})
		return said
	}
	if said := verify(0); !strings.Contains(said, "2 photos with") || !strings.Contains(said, "named 2 times") {
		t.Errorf("verify said %q", said)
	}
	if err := os.Remove(filepath.Join(folder, photosFolder, demoFirm, first[:2], first)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, photosFolder, demoFirm, second[:2], second), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	said := verify(exitFound)
	if !strings.Contains(said, first+", named by event damage-01 of job demo/stair-12, is not here") ||
		!strings.Contains(said, second+" of firm demo is damaged") || !strings.Contains(said, "\n2 findings\n") {
		t.Errorf("verify said %q", said)
	}
}

// stdoutOf returns what f prints.
func stdoutOf(t *testing.T, f func()) string {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	said := make(chan string, 1)
	go func() {
		raw, err := io.ReadAll(r)
		if err != nil {
			t.Error(err)
		}
		said <- string(raw)
	}()
	real := os.Stdout
	os.Stdout = w
	f()
	os.Stdout = real
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return <-said
}

// TestPhotosOfAnExternalLogNeedAFolder: a folder of this process alone would not do.
func TestPhotosOfAnExternalLogNeedAFolder(t *testing.T) {
	g := &Globals{Data: t.TempDir()}
	limits := (PhotoLimitFlags{PhotoMaxKiB: 100}).limits()
	if f := (PhotoFlags{}).folder(g, NATSFlags{NATS: "nats://127.0.0.1:1"}, limits); f != nil {
		t.Error("there is a folder in the data folder of one process")
	}
	for _, c := range []struct {
		flags PhotoFlags
		nats  NATSFlags
	}{{PhotoFlags{Photos: t.TempDir()}, NATSFlags{NATS: "nats://127.0.0.1:1"}}, {PhotoFlags{}, NATSFlags{}}} {
		if f := c.flags.folder(g, c.nats, limits); f == nil || f.BytesMax() != 100<<10 {
			t.Errorf("%+v: %v", c.flags, f)
		}
	}
}

// TestPhotosOfAnotherFirm asks through the whole program.
func TestPhotosOfAnotherFirm(t *testing.T) {
	a := mustOpen(t, t.TempDir())
	defer mustClose(t, a)
	digest := mustSendPhoto(t, owner(a), 40)
	other := a.inProcess(httpd.Caller{Firm: "other", Name: "owner", Scopes: httpd.Scopes()})
	_, err := other.request(t.Context(), http.MethodGet, "/v1/photos/"+digest, "", nil)
	if err == nil || !strings.Contains(err.Error(), "no photo of this name") {
		t.Errorf("another firm is answered %v", err)
	}
}
