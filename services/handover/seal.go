package handover

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"daysheet/events"
	papers "daysheet/reports/handover"
)

// The keywords of a sealed PDF say which paper it is, and end with the seal: an
// Ed25519 signature (RFC 8032) in hexadecimal, over the whole file with these 128
// digits being zeros. They stand in the file as plain text, so that the seal can be
// checked with common tools.
const (
	stampMark  = "daysheet-paper-1 "
	sealMark   = "daysheet-seal-1 "
	sealDigits = 2 * ed25519.SignatureSize
	stampMost  = 1024 // bytes of the keywords
)

var openSeal = strings.Repeat("0", sealDigits)

// keywords returns the keywords of a paper that is not sealed yet.
func keywords(p papers.Paper) string {
	return fmt.Sprintf(stampMark+"kind=%s of=%s firm=%s job=%s position=%d head=%s %s%s", p.Kind, p.Of,
		p.Stamp.Firm, p.Stamp.Job, p.Stamp.Position, p.Stamp.Head, sealMark, openSeal)
}

// Sealed is what the keywords of a sealed PDF say. Only after [Sealed.Verify] it is
// known to be true.
type Sealed struct {
	Kind      papers.Kind
	Of        string
	Firm, Job string
	Position  uint64
	Head      string
	signature []byte
	at        int // of the seal's digits in the file
}

var stamped = regexp.MustCompile(`^` + stampMark + `kind=([a-z]{1,32}) of=([A-Za-z0-9._-]{0,64}) ` +
	`firm=([a-z0-9-]{1,64}) job=([a-z0-9-]{1,64}) position=([0-9]{1,19}) head=([0-9a-f]{64}) ` +
	sealMark + `([0-9a-f]{128})`)

// errNotSealed means that a file holds no seal of this program.
var errNotSealed = errors.New("the file is no sealed paper")

// readSealed reads the keywords of a PDF. Its error is errNotSealed where they are
// not those of a paper, or stand there more than once.
func readSealed(pdf []byte) (Sealed, error) {
	start := bytes.Index(pdf, []byte(stampMark))
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) || start < 0 || bytes.LastIndex(pdf, []byte(stampMark)) != start {
		return Sealed{}, errNotSealed
	}
	stamp := pdf[start:min(len(pdf), start+stampMost)]
	found := stamped.FindSubmatchIndex(stamp)
	if found == nil {
		return Sealed{}, errNotSealed
	}
	group := func(i int) string { return string(stamp[found[2*i]:found[2*i+1]]) }
	position, err := strconv.ParseUint(group(5), 10, 63)
	if err != nil || !events.ValidToken(group(3)) || !events.ValidToken(group(4)) {
		return Sealed{}, errNotSealed
	}
	signature, err := hex.DecodeString(group(7))
	if err != nil {
		return Sealed{}, errNotSealed
	}
	return Sealed{papers.Kind(group(1)), group(2), group(3), group(4), position, group(6), signature,
		start + found[14]}, nil
}

// Verify reports whether every byte of the PDF that s was read from is as the holder
// of the key sealed it.
func (s Sealed) Verify(pdf []byte, key ed25519.PublicKey) bool {
	open := bytes.Clone(pdf)
	copy(open[s.at:], openSeal)
	return ed25519.Verify(key, open, s.signature)
}

// seal signs a PDF that is not sealed yet, in place.
func seal(pdf []byte, key ed25519.PrivateKey) error {
	s, err := readSealed(pdf)
	if err != nil {
		return fmt.Errorf("seal the PDF: %w", err)
	}
	if string(pdf[s.at:s.at+sealDigits]) != openSeal {
		return errors.New("seal the PDF: it is sealed already")
	}
	hex.Encode(pdf[s.at:s.at+sealDigits], ed25519.Sign(key, pdf))
	return nil
}
