package photos

import (
	"bytes"
	"encoding/binary"
)

// located reports whether a photo says where it was taken, or holds notes that
// cannot be read and might.
func located(p parts) bool {
	for _, raw := range p.exif {
		e, ok := readExif(raw)
		if !ok || e.located() {
			return true
		}
	}
	for _, note := range p.notes {
		if noteLocated(note) {
			return true
		}
	}
	return false
}

// noteLocated looks for the names under which XMP keeps a position (GPSLatitude,
// GPSLongitude, GPSDestLatitude, ...), and for notes that hide what they hold: Exif
// as text, and compressed XMP.
func noteLocated(note []byte) bool {
	lower := bytes.ToLower(note)
	if bytes.HasPrefix(lower, []byte("raw profile type")) {
		return true
	}
	const xmp = "xml:com.adobe.xmp\x00" // in PNG; a byte that says whether it is compressed follows
	if rest, ok := bytes.CutPrefix(lower, []byte(xmp)); ok && (len(rest) == 0 || rest[0] != 0) {
		return true
	}
	for _, name := range []string{"gpslat", "gpslong", "gpsdestlat", "gpsdestlong", "gpsareainformation"} {
		if bytes.Contains(lower, []byte(name)) {
			return true
		}
	}
	return false
}

// exif reads the little that is needed of Exif: whether there is a position, and how
// the picture is turned (Exif 2.32, CIPA DC-008, sections 4.6.2 to 4.6.6).
type exif struct {
	raw   []byte
	order binary.ByteOrder
	first uint32 // where the first directory stands
}

// Tags of Exif.
const (
	tagOrientation = 0x0112
	tagGPS         = 0x8825 // in the first directory: where that of the position stands
)

// readExif reads the head of a TIFF structure. ok is false where there is none.
func readExif(raw []byte) (e exif, ok bool) {
	if len(raw) < 8 {
		return exif{}, false
	}
	switch string(raw[:4]) {
	case "II*\x00":
		e = exif{raw: raw, order: binary.LittleEndian}
	case "MM\x00*":
		e = exif{raw: raw, order: binary.BigEndian}
	default:
		return exif{}, false
	}
	e.first = e.order.Uint32(raw[4:])
	return e, true
}

// entries calls visit with each entry of the directory at an offset: its tag and its
// four bytes of value. It reports whether the directory lies within the structure.
func (e exif) entries(at uint32, visit func(tag uint16, value []byte)) bool {
	const head, size = 2, 12
	if int64(at)+head > int64(len(e.raw)) {
		return false
	}
	count := int64(e.order.Uint16(e.raw[at:]))
	table := e.raw[at+head:]
	if count*size > int64(len(table)) {
		return false
	}
	for n := range count {
		entry := table[n*size : (n+1)*size]
		visit(e.order.Uint16(entry), entry[8:12])
	}
	return true
}

// located reports whether there is a position, or a directory that cannot be read.
func (e exif) located() bool {
	found := false
	ok := e.entries(e.first, func(tag uint16, value []byte) {
		if tag == tagGPS {
			found = found || e.positionAt(e.order.Uint32(value))
		}
	})
	return found || !ok
}

// positionAt looks into the directory of the position. Cameras that know none write
// one all the same, with a version or a date.
func (e exif) positionAt(at uint32) bool {
	found := false
	ok := e.entries(at, func(tag uint16, _ []byte) {
		switch tag {
		case 0x02, 0x04, 0x14, 0x16, 0x1b, 0x1c: // latitude, longitude, of the target too; method and area, which may name it
			found = true
		}
	})
	return found || !ok
}

// orientationOf returns how a photo is turned, 1 to 8; 1 where it does not say.
func orientationOf(p parts) int {
	turned := 1
	for _, raw := range p.exif {
		e, ok := readExif(raw)
		if !ok {
			continue
		}
		e.entries(e.first, func(tag uint16, value []byte) {
			if v := int(e.order.Uint16(value)); tag == tagOrientation && v >= 1 && v <= 8 {
				turned = v
			}
		})
	}
	return turned
}
