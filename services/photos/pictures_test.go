package photos

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
)

// drawn is an invented picture: a slope of colour that no two seeds share.
func drawn(width, height, seed int) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	for y := range height {
		for x := range width {
			img.SetRGBA(x, y, color.RGBA{uint8(x * 255 / width), uint8(y * 255 / height), uint8(seed * 37), 255})
		}
	}
	return img
}

func jpegOf(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	must(t, jpeg.Encode(&b, img, nil))
	return b.Bytes()
}

func pngOf(t testing.TB, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	must(t, png.Encode(&b, img))
	return b.Bytes()
}

// webpDot is a lossless WebP of one pixel.
func webpDot(t testing.TB) []byte {
	t.Helper()
	raw, err := base64.StdEncoding.DecodeString("UklGRhoAAABXRUJQVlA4TA0AAAAvAAAAEAcQERGIiP4HAA==")
	must(t, err)
	return raw
}

func nameOf(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// segment puts a segment behind the start of a JPEG.
func segment(raw []byte, marker byte, body string) []byte {
	out := []byte{0xff, 0xd8, 0xff, marker}
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2))
	out = append(out, body...)
	return append(out, raw[2:]...)
}

// chunk puts a chunk behind the header of a PNG.
func chunk(raw []byte, name, body string) []byte {
	const head = 8 + 12 + 13
	out := append([]byte{}, raw[:head]...)
	out = binary.BigEndian.AppendUint32(out, uint32(len(body)))
	out = append(out, name+body...)
	out = binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE([]byte(name+body)))
	return append(out, raw[head:]...)
}

// riff adds a chunk to a WebP.
func riff(raw []byte, name, body string) []byte {
	out := append([]byte{}, raw...)
	out = append(out, name...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(body)))
	out = append(out, body...)
	if len(body)%2 == 1 {
		out = append(out, 0)
	}
	binary.LittleEndian.PutUint32(out[4:], uint32(len(out)-8))
	return out
}

// entry is one line of a directory of Exif.
type entry struct {
	tag   uint16
	value uint32
}

// byteOrder reads and appends numbers.
type byteOrder interface {
	binary.ByteOrder
	binary.AppendByteOrder
}

// tiff writes Exif by hand: a first directory, and one of a position if there are
// entries for it. Values that are no short numbers stand as they are.
func tiff(order byteOrder, first, position []entry) string {
	out := []byte("II*\x00")
	if order == byteOrder(binary.BigEndian) {
		out = []byte("MM\x00*")
	}
	out = order.AppendUint32(out, 8)
	if position != nil {
		first = append(first, entry{tagGPS, uint32(8 + 2 + 12*(len(first)+1) + 4)})
	}
	for _, directory := range [][]entry{first, position} {
		if directory == nil {
			continue
		}
		out = order.AppendUint16(out, uint16(len(directory)))
		for _, e := range directory {
			out = order.AppendUint16(out, e.tag)
			if e.tag == tagOrientation {
				out = order.AppendUint16(out, 3)
				out = order.AppendUint32(out, 1)
				out = order.AppendUint16(out, uint16(e.value))
				out = order.AppendUint16(out, 0)
				continue
			}
			out = order.AppendUint16(out, 4)
			out = order.AppendUint32(out, 1)
			out = order.AppendUint32(out, e.value)
		}
		out = order.AppendUint32(out, 0) // no further directory
	}
	return string(out)
}
