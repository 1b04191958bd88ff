package handover

import (
	"bytes"
	"encoding/base64"
	"errors"
	"image/png"
	"strings"
	"testing"
)

// FuzzCheck: whatever file is handed in to be checked is what the firm signed, byte for
// byte, or is said to be changed or something else.
func FuzzCheck(f *testing.F) {
	p := newProof(f)
	for _, seed := range [][]byte{p.evidence, p.pdf} {
		f.Add(seed)
		f.Add(seed[:len(seed)/2])
		f.Add(append(bytes.Clone(seed), seed...))
	}
	f.Add([]byte("%PDF-1.7\n%%EOF\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		_, err := p.check(raw)
		switch {
		case err == nil && !bytes.Equal(raw, p.evidence) && !bytes.Equal(raw, p.pdf):
			t.Error("what nobody signed is taken for a paper")
		case err != nil && !errors.Is(err, errUnknownFile) && !errors.As(err, new(*ChangedError)):
			t.Errorf("neither changed nor unknown: %v", err)
		}
	})
}

// FuzzDrawn: strokes are a picture of the field, or none.
func FuzzDrawn(f *testing.F) {
	for _, seed := range []string{"M1 1L599 199", "M1 1L2 2M30 40L50 60", "M999 999L0 0", "M-1 5", "M1 1L999999999 7",
		"L", "M", "MM1 1", "M1", "M9223372036854775807 1L-9223372036854775808 1", ""} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, strokes string) {
		address := string(drawn(strokes))
		if address == "" {
			return
		}
		encoded, ok := strings.CutPrefix(address, "data:image/png;base64,")
		raw, err := base64.StdEncoding.DecodeString(encoded)
		if !ok || err != nil {
			t.Fatalf("an address that is no picture: %.80s", address)
		}
		img, err := png.DecodeConfig(bytes.NewReader(raw))
		if err != nil || img.Width != fieldWidth || img.Height != fieldHeight {
			t.Errorf("a picture of %d by %d: %v", img.Width, img.Height, err)
		}
	})
}
