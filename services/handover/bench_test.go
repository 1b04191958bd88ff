package handover

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"math/rand/v2"
	"testing"

	"daysheet/events"
	papers "daysheet/reports/handover"
)

// snapshot is a small picture with the detail of a photo: about 60 kB.
func snapshot(b *testing.B, number int) []byte {
	rng := rand.New(rand.NewPCG(1, uint64(number)))
	img := image.NewRGBA(image.Rect(0, 0, 640, 480))
	for y := range 480 {
		for x := range 640 {
			n := uint8(rng.IntN(24))
			img.SetRGBA(x, y, color.RGBA{uint8(x/3) + n, uint8(y/2) + n, 120 + n, 255})
		}
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, &jpeg.Options{Quality: 80}); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}

func benchmark(b *testing.B, n int) {
	frame := newFrame(b)
	letter, err := newLetterer(frame, nil)
	if err != nil {
		b.Fatal(err)
	}
	pictures := map[string][]byte{}
	p := papers.Paper{Kind: papers.KindHandover, Title: "Handover report", Firm: "Invented",
		Stamp:    papers.Stamp{Firm: "invented", Job: "job", Position: 1, Head: events.Hash(nil)},
		Sections: []papers.Section{{Name: "photos", Title: "Photos"}}}
	for i := range n {
		raw := snapshot(b, i)
		digest := events.Hash(raw)
		pictures[digest] = raw
		p.Sections[0].Photos = append(p.Sections[0].Photos, papers.Photo{Digest: digest, Caption: "A wall",
			Day: "2026-03-02"})
	}
	english := englishWords(frame)
	size := 0
	b.ReportAllocs()
	for b.Loop() {
		raw, err := letter.write(context.Background(), sheet{Paper: p, words: english}, func(*proofView) error { return nil },
			func(digest string) ([]byte, error) { return pictures[digest], nil })
		if err != nil {
			b.Fatal(err)
		}
		size = len(raw)
	}
	b.ReportMetric(float64(size), "bytes/pdf")
}
