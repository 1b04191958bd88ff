package handover

import (
	"bytes"
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"html/template"
	"image/png"
	"strconv"
	"strings"

	"github.com/piglig/go-qr"

	"daysheet/events"
	papers "daysheet/reports/handover"
)

// code names one paper at one position for the public page. It is printed on the
// paper, and cannot be made without the firm's key: whoever has the code has the
// paper.
type code struct {
	wanted
	head string // the first digits of the head that the paper was made of
}

const (
	codeSeparator  = "~"
	codeHeadDigits = 16
	codeMACBytes   = 16
)

func codeOf(p papers.Paper) code {
	return code{wanted{p.Stamp.Firm, p.Stamp.Job, p.Kind, p.Of, p.Stamp.Position}, p.Stamp.Head[:codeHeadDigits]}
}

func (c code) words() string {
	return strings.Join([]string{string(c.kind), c.of, c.firm, c.job, strconv.FormatUint(c.asOf, 10), c.head},
		codeSeparator)
}

// text writes the code with its authentication.
func (c code) text(key ed25519.PrivateKey) string { return c.words() + codeSeparator + c.mac(key) }

func (c code) mac(key ed25519.PrivateKey) string {
	mac := hmac.New(sha256.New, secretOf(key))
	mac.Write([]byte(c.words()))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil)[:codeMACBytes])
}

// readCode reads a code. ok is false where nobody's key made it; it then says nothing
// of why, so that guessing teaches nothing.
func (k *Keys) readCode(text string) (c code, ok bool, err error) {
	parts := strings.Split(text, codeSeparator)
	if len(text) > 512 || len(parts) != 7 || !events.ValidToken(parts[2]) || !events.ValidToken(parts[3]) {
		return code{}, false, nil
	}
	asOf, err := strconv.ParseUint(parts[4], 10, 63)
	if _, notHex := hex.DecodeString(parts[5]); err != nil || notHex != nil || len(parts[5]) != codeHeadDigits {
		return code{}, false, nil
	}
	c = code{wanted{parts[2], parts[3], papers.Kind(parts[0]), parts[1], asOf}, parts[5]}
	if _, err := k.Public(c.firm); events.CodeOf(err) == events.NotFound {
		return code{}, false, nil
	}
	key, err := k.Private(c.firm)
	if err != nil {
		return code{}, false, err
	}
	return c, hmac.Equal([]byte(c.mac(key)), []byte(parts[6])), nil
}

// qrCode draws the address as a PNG that stands in the page itself.
func qrCode(address string) (template.URL, error) {
	drawn, err := go_qr.EncodeText(address, go_qr.Medium)
	if err != nil {
		return "", fmt.Errorf("draw QR code: %w", err)
	}
	img, err := drawn.ToImage(go_qr.NewQrCodeImgConfig(4, 2))
	if err != nil {
		return "", fmt.Errorf("draw QR code: %w", err)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return "", fmt.Errorf("draw QR code: %w", err)
	}
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(b.Bytes())), nil
}
