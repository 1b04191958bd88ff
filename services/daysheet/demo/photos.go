package demo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image/jpeg"
	"iter"
	"slices"

	"daysheet/events"
)

// Photo is a drawn picture that events of the firm name.
type Photo struct {
	Digest string // SHA-256 of JPEG: its name
	JPEG   []byte
}

// mostPhotos returns how many photos a job has at most of one type of record: enough
// to look around.
func mostPhotos(t events.Type) int {
	switch t {
	case events.ConditionRecorded, events.ProtectionLaid, events.DamageMadeGood:
		return 2
	case events.DamageFound:
		return 4
	}
	return 0
}

// Photos yields what was photographed; nothing, unless the [Options] ask for it.
// Photos are sent before the events that name them.
func (f *Firm) Photos() iter.Seq[Photo] { return slices.Values(f.photos) }

// photograph gives photos to records of the jobs that run and of the last job on which
// damage was made good. It draws on nothing that the firm is made of, so that the firm
// is the same with photos and without.
func (g *generator) photograph() []Photo {
	var all []Photo
	for _, job := range g.photographed() {
		taken := map[events.Type]int{}
		for _, s := range g.out {
			for i := range s.Events {
				t := s.Events[i].Type
				if s.Job != job || taken[t] >= mostPhotos(t) {
					continue
				}
				photos, err := photographed(&s.Events[i], mostPhotos(t)-taken[t])
				if err != nil && g.err == nil {
					g.err = fmt.Errorf("draw photos of %s: %w", job, err)
				}
				all = append(all, photos...)
				taken[t] += len(photos)
			}
		}
	}
	return all
}

// photographed returns the jobs that have photos.
func (g *generator) photographed() []string {
	running := []string{g.jobKey(g.opts.Jobs + 1), g.jobKey(g.opts.Jobs + 2)}
	for _, s := range slices.Backward(g.out) {
		madeGood := func(e events.Event) bool { return e.Type == events.DamageMadeGood }
		if !slices.Contains(running, s.Job) && slices.ContainsFunc(s.Events, madeGood) {
			return append(running, s.Job)
		}
	}
	return running
}

// photographed draws what an event is about and names the photos in it, at most the
// given number.
func photographed(e *events.Event, most int) ([]Photo, error) {
	payload, err := e.Payload()
	if err != nil {
		return nil, err
	}
	var scenes []scene
	var digests *[]string
	switch p := payload.(type) {
	case *events.Condition:
		scenes = []scene{{room: p.Location, item: p.Item, marked: p.Damaged, about: "Before: " + p.Location}}
		digests = &p.Photos
	case *events.Protection:
		if p.Task != "protect-floor" {
			return nil, nil
		}
		scenes, digests = []scene{{room: p.Location, covered: true, about: "Covered: " + p.Location}}, &p.Photos
	case *events.Damage:
		scenes = []scene{{room: p.Location, item: p.Item, marked: true, about: "Damage: " + p.Item},
			{room: p.Location, item: p.Item, marked: true, near: true, about: "Near: " + p.Item}}
		digests = &p.Photos
	case *events.MakingGood:
		scenes, digests = []scene{{room: e.Subject, about: "Made good"}}, &p.Photos
	default:
		return nil, nil
	}
	var all []Photo
	for _, sc := range scenes[:min(most, len(scenes))] {
		sc.seed = e.Subject
		photo, err := sc.photo()
		if err != nil {
			return nil, err
		}
		*digests = append(*digests, photo.Digest)
		all = append(all, photo)
	}
	e.Data, err = json.Marshal(payload)
	return all, err
}

// photo draws a scene.
func (s scene) photo() (Photo, error) {
	const quality = 70
	var raw bytes.Buffer
	if err := jpeg.Encode(&raw, s.draw(), &jpeg.Options{Quality: quality}); err != nil {
		return Photo{}, err
	}
	sum := sha256.Sum256(raw.Bytes())
	return Photo{hex.EncodeToString(sum[:]), raw.Bytes()}, nil
}
