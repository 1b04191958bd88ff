package photos

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"io"

	"golang.org/x/image/webp"

	"daysheet/events"
)

// Limits of a picture in memory. Decoding takes up to 15 bytes for each pixel
// (a JPEG that is sent in several scans), so that one picture stays below 240 MiB.
const (
	pixelsMost = 16 << 20
	sideMost   = 16_384

	// scansMost bounds the work of decoding. Each scan of a JPEG goes over the whole
	// picture, and a few bytes are enough for one; what cameras and browsers write
	// has about ten (from memory).
	scansMost = 64
)

// kind is a format of photos.
type kind struct {
	name, media, ending string
	config              func(io.Reader) (image.Config, error)
	decode              func(io.Reader) (image.Image, error)
	parts               func([]byte) parts
}

// kindOf tells the format by the first bytes alone. What a sender says of it counts
// for nothing.
func kindOf(raw []byte) (kind, bool) {
	switch {
	case bytes.HasPrefix(raw, []byte("\xff\xd8\xff")):
		return kind{"JPEG", "image/jpeg", "jpg", jpeg.DecodeConfig, jpeg.Decode, jpegParts}, true
	case bytes.HasPrefix(raw, []byte("\x89PNG\r\n\x1a\n")):
		return kind{"PNG", "image/png", "png", png.DecodeConfig, png.Decode, pngParts}, true
	case len(raw) >= 12 && string(raw[:4]) == "RIFF" && string(raw[8:12]) == "WEBP":
		return kind{"WebP", "image/webp", "webp", webp.DecodeConfig, webp.Decode, webpParts}, true
	}
	return kind{}, false
}

// look is what a photo is by its own bytes.
type look struct {
	kind          kind
	width, height int // as it is shown
	orientation   int // how it is turned for that, 1 to 8 by Exif; 1: not at all
}

// glance reads what a photo is from its beginning.
func glance(head []byte) (look, error) {
	k, ok := kindOf(head)
	if !ok {
		return look{}, events.Refuse("photo", nil, "a JPEG, PNG or WebP picture; this is none of them")
	}
	config, err := k.config(bytes.NewReader(head))
	if err != nil {
		return look{}, events.Refuse("photo", nil, "a whole %s picture; its beginning cannot be read (%v)", k.name, err)
	}
	l := look{kind: k, width: config.Width, height: config.Height, orientation: 1}
	if k.name == "JPEG" { // browsers turn others in different ways
		l.orientation = orientationOf(k.parts(head))
	}
	if l.orientation >= 5 {
		l.width, l.height = l.height, l.width
	}
	return l, nil
}

// examine reads a photo whole and returns it decoded, or says why it is not taken.
func examine(raw []byte) (look, image.Image, error) {
	l, err := glance(raw)
	if err != nil {
		return look{}, nil, err
	}
	// By sides first: their product could be anything.
	if l.width < 1 || l.height < 1 || l.width > sideMost || l.height > sideMost || l.width*l.height > pixelsMost {
		return look{}, nil, events.Refuse("photo", nil,
			"at most %d pixels, and %d on a side; this has %d × %d: make it smaller and send it again",
			pixelsMost, sideMost, l.width, l.height)
	}
	if err := checkParts(l.kind, l.kind.parts(raw), raw); err != nil {
		return look{}, nil, err
	}
	img, err := l.kind.decode(bytes.NewReader(raw))
	if err != nil {
		rule := "a whole %s picture; this cannot be decoded (%v)"
		return look{}, nil, events.Refuse("photo", nil, rule, l.kind.name, err)
	}
	return l, img, nil
}

// checkParts refuses what decoding would not notice.
func checkParts(k kind, p parts, raw []byte) error {
	switch {
	case p.end == 0:
		return events.Refuse("photo", nil, "a whole %s picture; this is cut off or damaged", k.name)
	case p.scans > scansMost:
		return events.Refuse("photo", nil, "at most %d scans in a JPEG: save it again as an ordinary one", scansMost)
	case len(bytes.Trim(raw[p.end:], "\x00")) > 0:
		return events.Refuse("photo", nil, "nothing after the end of the picture, which has %d bytes more "+
			"(some phones add a film): save it as a plain picture", len(raw)-p.end)
	}
	if located(p) {
		return events.Refuse("photo", nil, "a photo that does not say where it was taken; this one carries a position, "+
			"which would tell where customers live: save it without, or let this ledger's pages shrink it, which removes it")
	}
	return nil
}
