package photos

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"strings"
	"testing"

	"daysheet/events"
)

func TestKindsAreToldByTheirContent(t *testing.T) {
	for media, raw := range map[string][]byte{
		"image/jpeg": jpegOf(t, drawn(40, 30, 1)), "image/png": pngOf(t, drawn(40, 30, 1)), "image/webp": webpDot(t),
	} {
		l, img, err := examine(raw)
		if err != nil || l.kind.media != media || img.Bounds().Dx() != l.width || img.Bounds().Dy() != l.height {
			t.Errorf("%s: %s %d × %d, %v", media, l.kind.media, l.width, l.height, err)
		}
	}
}

// huge says that a picture is very large, without changing its size as a file.
func hugeJPEG(raw []byte) []byte {
	out := append([]byte{}, raw...)
	at := bytes.Index(out, []byte{0xff, 0xc0}) // start of frame: length, precision, height, width
	binary.BigEndian.PutUint16(out[at+5:], 65_500)
	binary.BigEndian.PutUint16(out[at+7:], 65_500)
	return out
}

func hugePNG(raw []byte, width, height uint32) []byte {
	out := append([]byte{}, raw...)
	binary.BigEndian.PutUint32(out[16:], width)
	binary.BigEndian.PutUint32(out[20:], height)
	binary.BigEndian.PutUint32(out[29:], crc32.ChecksumIEEE(out[12:29]))
	return out
}

func hugeWebP(raw []byte) []byte {
	out := append([]byte{}, raw...)
	copy(out[21:], "\xff\xff\xff\x0f") // 14 bits each of width and height less one
	return out
}

// TestWhatIsNotTaken goes through what a photo must not be, and what its refusal says.
func TestWhatIsNotTaken(t *testing.T) {
	raw, dots := jpegOf(t, drawn(400, 300, 1)), pngOf(t, drawn(40, 30, 1))
	here := tiff(binary.LittleEndian, nil, []entry{{0x01, 0}, {0x02, 0}, {0x03, 0}, {0x04, 0}})
	big := tiff(binary.BigEndian, []entry{{tagOrientation, 6}}, []entry{{0x04, 0}})
	scan := []byte{0xff, 0xda, 0, 2}
	for _, c := range []struct{ name, raw, says string }{
		{"nothing", "", "none of them"},
		{"a page", "<!doctype html><script>1</script>", "none of them"},
		{"a moving picture", "GIF89a\x01\x00\x01\x00\x80\x00\x00", "none of them"},
		{"drawing instructions", `<svg xmlns="http://www.w3.org/2000/svg"/>`, "none of them"},
		{"the first bytes alone", "\xff\xd8\xff", "beginning"},
		{"a JPEG cut in its data", string(raw[:len(raw)*2/3]), "cut off or damaged"},
		{"a JPEG cut in its head", string(raw[:30]), "beginning"},
		{"a JPEG without its end", string(raw[:len(raw)-2]), "cut off or damaged"},
		{"a JPEG that ends too early", string(raw[:len(raw)*2/3]) + "\xff\xd9", "decoded"},
		{"a PNG cut in its data", string(dots[:len(dots)*2/3]), "cut off or damaged"},
		{"a PNG with a flipped bit", strings.Replace(string(dots), "IDAT", "IDAt", 1), "decoded"},
		{"a WebP cut off", string(webpDot(t)[:30]), "cut off or damaged"},
		{"a JPEG of 4,300 million pixels", string(hugeJPEG(raw)), "65500 × 65500: make it smaller"},
		{"a PNG of 900 million pixels", string(hugePNG(dots, 30_000, 30_000)), "30000 × 30000"},
		{"a PNG as long as a number can be", string(hugePNG(dots, 1<<31-1, 1)), "2147483647 × 1"},
		{"a WebP of 268 million pixels", string(hugeWebP(webpDot(t))), "16384 × 16384"},
		{"a JPEG of many scans", string(raw[:len(raw)-2]) + strings.Repeat(string(scan), scansMost) + "\xff\xd9", "scans"},
		{"a film behind the picture", string(raw) + "\x00\x00\x00\x18ftypmp42", "12 bytes more"},
		{"a page behind the picture", string(dots) + "<script>", "end of the picture"},
		{"an archive behind a WebP", string(webpDot(t)) + "PK\x03\x04", "end of the picture"},
		{"a position in a JPEG", string(segment(raw, 0xe1, exifMark+here)), "carries a position"},
		{"a position the other way round", string(segment(raw, 0xe1, exifMark+big)), "carries a position"},
		{"a position in a PNG", string(chunk(dots, "eXIf", here)), "carries a position"},
		{"a position in a WebP", string(riff(webpDot(t), "EXIF", exifMark+here)), "carries a position"},
		{"a position in XMP", string(segment(raw, 0xe1, `http://ns.adobe.com/xap/1.0/`+"\x00"+`<x exif:GPSLatitude="1"/>`)), "carries a position"},
		{"a position in XMP of a WebP", string(riff(webpDot(t), "XMP ", `<exif:GPSLongitude>1`)), "carries a position"},
		{"Exif as text in a PNG", string(chunk(dots, "zTXt", "Raw profile type exif\x00\x00zip")), "carries a position"},
		{"compressed XMP in a PNG", string(chunk(dots, "iTXt", "XML:com.adobe.xmp\x00\x01zip")), "carries a position"},
		{"Exif that cannot be read", string(segment(raw, 0xe1, exifMark+"II*\x00\xff\xff\xff\xff")), "carries a position"},
		{"a position that cannot be read", string(segment(raw, 0xe1, exifMark+strings.Replace(here, "\x04\x00\x01", "\xff\xff\x01", 1))), "carries a position"},
	} {
		_, _, err := examine([]byte(c.raw))
		if events.CodeOf(err) != events.Invalid || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; want %q", c.name, err, c.says)
		}
		t.Logf("| photo | %s | %v |", c.name, err)
	}
}

// TestWhatIsTakenAllTheSame: notes without a position, and what cameras fill up with.
func TestWhatIsTakenAllTheSame(t *testing.T) {
	raw, dots := jpegOf(t, drawn(40, 30, 1)), pngOf(t, drawn(40, 30, 1))
	dated := tiff(binary.BigEndian, []entry{{tagOrientation, 1}}, []entry{{0x00, 0x02030000}, {0x1d, 0}})
	for name, raw := range map[string][]byte{
		"Exif without a position":       segment(raw, 0xe1, exifMark+tiff(binary.LittleEndian, []entry{{tagOrientation, 1}}, nil)),
		"a position's version and date": segment(raw, 0xe1, exifMark+dated),
		"XMP without a position":        segment(raw, 0xe1, `http://ns.adobe.com/xap/1.0/`+"\x00<x/>"),
		"a colour profile":              segment(raw, 0xe2, "ICC_PROFILE\x00"+strings.Repeat("\xff\xd9", 2000)),
		"a comment":                     segment(raw, 0xfe, "invented"),
		"a title in a PNG":              chunk(dots, "tEXt", "Title\x00invented"),
		"zeros behind the picture":      append(append([]byte{}, raw...), 0, 0, 0),
	} {
		if _, _, err := examine(raw); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestTurned compares with the table of CIPA DC-008 (Exif 2.32), tag 0x0112: on which
// side of what is shown the stored first row and first column lie.
func TestTurned(t *testing.T) {
	stored := image.NewRGBA(image.Rect(0, 0, 64, 32))
	red, blue := color.RGBA{255, 0, 0, 255}, color.RGBA{0, 0, 255, 255}
	for y := range 32 {
		for x := range 64 {
			stored.SetRGBA(x, y, color.RGBA{255, 255, 255, 255})
			if x < 16 && y < 16 { // where the first row meets the first column
				stored.SetRGBA(x, y, red)
			} else if y < 16 && x >= 48 { // the other end of the first row
				stored.SetRGBA(x, y, blue)
			}
		}
	}
	for i, c := range []struct{ row, column string }{
		{"top", "left"}, {"top", "right"}, {"bottom", "right"}, {"bottom", "left"},
		{"left", "top"}, {"right", "top"}, {"right", "bottom"}, {"left", "bottom"},
	} {
		orientation := i + 1
		raw := segment(jpegOf(t, stored), 0xe1, exifMark+tiff(binary.BigEndian, []entry{{tagOrientation, uint32(orientation)}}, nil))
		made, err := shrink(raw, 640)
		must(t, err)
		shown, err := jpeg.Decode(bytes.NewReader(made))
		must(t, err)
		l, err := glance(raw)
		must(t, err)
		if b := shown.Bounds(); b.Dx() != l.width || b.Dy() != l.height || (b.Dx() < b.Dy()) != (orientation >= 5) {
			t.Errorf("orientation %d: shown as %v, told as %d × %d", orientation, b, l.width, l.height)
		}
		opposite := map[string]string{"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
		if got := corner(shown, c.row, c.column); got != "red" {
			t.Errorf("orientation %d: %s in the %s %s corner, want red", orientation, got, c.row, c.column)
		}
		if got := corner(shown, c.row, opposite[c.column]); got != "blue" {
			t.Errorf("orientation %d: %s in the %s %s corner, want blue", orientation, got, c.row, opposite[c.column])
		}
	}
}

// corner names the colour in a corner, which is named by its two sides.
func corner(img image.Image, sides ...string) string {
	b := img.Bounds()
	x, y := 6, 6
	for _, side := range sides {
		switch side {
		case "right":
			x = b.Dx() - 7
		case "bottom":
			y = b.Dy() - 7
		}
	}
	r, g, blue, _ := img.At(x, y).RGBA()
	switch {
	case r > 0xc000 && g < 0x4000 && blue < 0x4000:
		return "red"
	case blue > 0xc000 && g < 0x4000 && r < 0x4000:
		return "blue"
	}
	return "neither"
}

func TestShrunk(t *testing.T) {
	for _, c := range []struct{ width, height, to, wide, high int }{
		{1600, 1200, 320, 320, 240}, {200, 100, 320, 200, 100}, {10, 4000, 160, 1, 640}, {4000, 10, 160, 160, 1}, {1, 1, 160, 1, 1},
	} {
		made, err := shrink(pngOf(t, drawn(c.width, c.height, 3)), c.to)
		must(t, err)
		got, err := jpeg.DecodeConfig(bytes.NewReader(made))
		if err != nil || got.Width != c.wide || got.Height != c.high {
			t.Errorf("%d × %d to %d: %d × %d, %v", c.width, c.height, c.to, got.Width, got.Height, err)
		}
	}
}

// FuzzExamine: whatever comes in is decoded or refused with a sentence, and what is
// taken can be told again from its beginning and made small.
func FuzzExamine(f *testing.F) {
	small := drawn(9, 7, 1)
	raw, dots := jpegOf(f, small), pngOf(f, small)
	for _, seed := range [][]byte{raw, dots, webpDot(f), hugeJPEG(raw), hugePNG(dots, 30_000, 30_000), hugeWebP(webpDot(f)),
		segment(raw, 0xe1, exifMark+tiff(binary.LittleEndian, []entry{{tagOrientation, 6}}, []entry{{2, 0}})), raw[:len(raw)/2],
		chunk(dots, "eXIf", tiff(binary.BigEndian, nil, []entry{{4, 0}})), riff(webpDot(f), "XMP ", "<exif:GPSLatitude>")} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		if l, err := glance(raw); err == nil && l.width*l.height > 1<<18 && l.width*l.height <= pixelsMost {
			return // the fuzzer has more to try in the time
		}
		l, img, err := examine(raw)
		if err != nil {
			if events.CodeOf(err) != events.Invalid {
				t.Fatalf("not a refusal: %v", err)
			}
			return
		}
		if img == nil || l.width*l.height > pixelsMost {
			t.Fatalf("%d × %d", l.width, l.height)
		}
		if again, err := glance(raw[:min(len(raw), headMost)]); len(raw) <= headMost && (err != nil || again.width != l.width) {
			t.Fatalf("told as %d wide and then as %d: %v", l.width, again.width, err)
		}
		if _, err := shrink(raw, 160); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzExif: any structure is read without harm, and read the same way twice.
func FuzzExif(f *testing.F) {
	f.Add([]byte(tiff(binary.LittleEndian, []entry{{tagOrientation, 6}}, []entry{{2, 0}})))
	f.Add([]byte(tiff(binary.BigEndian, nil, []entry{{4, 0}, {0x1b, 1}})))
	f.Add([]byte("II*\x00\x08\x00\x00\x00\xff\xff"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		p := parts{exif: [][]byte{raw}, notes: [][]byte{raw}}
		if o := orientationOf(p); o < 1 || o > 8 {
			t.Errorf("orientation %d", o)
		}
		if first, again := located(p), located(p); first != again {
			t.Error("read in two ways")
		}
	})
}
