package photos

import (
	"bytes"
	"encoding/binary"
)

// parts is what a file holds beside the picture.
type parts struct {
	exif  [][]byte // TIFF structures of Exif, without what stands before them
	notes [][]byte // other notes: XMP and the like
	scans int      // of a JPEG
	end   int      // where the picture ends; 0: it does not
}

// exifMark stands before Exif in JPEG, and sometimes in WebP.
const exifMark = "Exif\x00\x00"

// jpegParts walks over the segments of a JPEG (ITU-T T.81, annex B). It stops where
// the file does; end then stays 0.
func jpegParts(raw []byte) (p parts) {
	const (
		start, end, scan, app1 = 0xd8, 0xd9, 0xda, 0xe1
	)
	for at := 2; at < len(raw) && raw[at] == 0xff; {
		for at < len(raw) && raw[at] == 0xff { // any number of fill bytes
			at++
		}
		if at == len(raw) {
			return p
		}
		code := raw[at]
		at++
		switch {
		case code == end:
			p.end = at
			return p
		case code == 0x01 || code >= 0xd0 && code <= start:
			continue // stands alone
		case at+2 > len(raw):
			return p
		}
		length := int(binary.BigEndian.Uint16(raw[at:]))
		if length < 2 || at+length > len(raw) {
			return p
		}
		body := raw[at+2 : at+length]
		at += length
		switch code {
		case app1:
			if tiff, ok := bytes.CutPrefix(body, []byte(exifMark)); ok {
				p.exif = append(p.exif, tiff)
			} else {
				p.notes = append(p.notes, body)
			}
		case scan:
			p.scans++
			at = skipScan(raw, at)
		}
	}
	return p
}

// skipScan returns where the next marker after the coded data of a scan stands.
func skipScan(raw []byte, at int) int {
	for at < len(raw) {
		n := bytes.IndexByte(raw[at:], 0xff)
		if n < 0 || at+n+1 >= len(raw) {
			return len(raw)
		}
		at += n
		if next := raw[at+1]; next != 0 && (next < 0xd0 || next > 0xd7) {
			return at
		}
		at += 2 // a byte ff of the data, or a restart within it
	}
	return at
}

// pngParts walks over the chunks of a PNG (W3C PNG, section 5.3).
func pngParts(raw []byte) (p parts) {
	const frame = 12 // length, name and check sum
	for at := 8; at+frame <= len(raw); {
		length := int64(binary.BigEndian.Uint32(raw[at:]))
		if length > int64(len(raw)-at-frame) {
			return p
		}
		name, body := string(raw[at+4:at+8]), raw[at+8:at+8+int(length)]
		at += frame + int(length)
		switch name {
		case "IEND":
			p.end = at
			return p
		case "eXIf":
			p.exif = append(p.exif, body)
		case "tEXt", "iTXt", "zTXt":
			p.notes = append(p.notes, body)
		}
	}
	return p
}

// webpParts walks over the chunks of a WebP (RFC 9649, section 2.3).
func webpParts(raw []byte) (p parts) {
	if len(raw) < 12 {
		return p
	}
	end := int64(binary.LittleEndian.Uint32(raw[4:])) + 8
	if end > int64(len(raw)) {
		return p
	}
	for at := int64(12); at+8 <= end; {
		length := int64(binary.LittleEndian.Uint32(raw[at+4:]))
		if length > end-at-8 {
			return p
		}
		body := raw[at+8 : at+8+length]
		switch string(raw[at : at+4]) {
		case "EXIF":
			p.exif = append(p.exif, bytes.TrimPrefix(body, []byte(exifMark)))
		case "XMP ":
			p.notes = append(p.notes, body)
		}
		at += 8 + length + length%2 // padded to an even length
	}
	p.end = int(end)
	return p
}
