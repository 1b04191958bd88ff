package demo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"image/jpeg"
	"slices"
	"testing"

	"daysheet/events"
)

// TestPhotos: every photo is named by an event and every named photo is there, before,
// during and after the work; without the photos the firm is the same firm.
func TestPhotos(t *testing.T) {
	with := mustGenerate(t, Options{Seed: 1, Today: today, Photos: true})
	without := mustGenerate(t, Options{Seed: 1, Today: today})
	if n := len(slices.Collect(without.Photos())); n != 0 {
		t.Errorf("%d photos that nobody asked for", n)
	}
	sent := map[string]bool{}
	for p := range with.Photos() {
		sum := sha256.Sum256(p.JPEG)
		img, err := jpeg.Decode(bytes.NewReader(p.JPEG))
		if err != nil || p.Digest != hex.EncodeToString(sum[:]) || img.Bounds().Dx() != sceneWidth || len(p.JPEG) > 40<<10 {
			t.Errorf("photo %s has %d bytes: %v", p.Digest, len(p.JPEG), err)
		}
		sent[p.Digest] = true
	}
	types, jobs, named := map[events.Type]int{}, map[string]bool{}, map[string]bool{}
	plain := slices.Collect(without.Submissions())
	n := 0
	for s := range with.Submissions() {
		for i := range s.Events {
			payload := payloadOf(t, &s.Events[i])
			digests := events.PhotosOf(payload)
			for _, digest := range digests {
				types[s.Events[i].Type]++
				jobs[s.Job], named[digest] = true, true
				if !sent[digest] {
					t.Errorf("%s names photo %s, which is not there", s.Events[i].ID, digest)
				}
			}
			if len(digests) > 0 {
				s.Events[i].Data = withoutPhotos(t, s.Events[i].Data)
			}
			if a, b := s.Events[i], plain[n].Events[i]; a.ID != b.ID || string(a.Data) != string(b.Data) {
				t.Fatalf("with photos: %s %s; without: %s %s", a.ID, a.Data, b.ID, b.Data)
			}
		}
		n++
	}
	if len(named) != len(sent) || len(jobs) != 3 || len(named) < 12 || len(named) > 30 {
		t.Errorf("%d photos, of which %d are named on %d jobs", len(sent), len(named), len(jobs))
	}
	for _, want := range []events.Type{events.ConditionRecorded, events.ProtectionLaid, events.DamageFound, events.DamageMadeGood} {
		if types[want] == 0 {
			t.Errorf("no photo of %s", want)
		}
	}
}

// withoutPhotos takes the names of photos out of a payload again.
func withoutPhotos(t *testing.T, data []byte) []byte {
	t.Helper()
	start := bytes.Index(data, []byte(`,"photos":[`))
	end := start + bytes.IndexByte(data[start:], ']') + 1
	out := append(append([]byte{}, data[:start]...), data[end:]...)
	if !json.Valid(out) {
		t.Fatalf("%s", out)
	}
	return out
}
