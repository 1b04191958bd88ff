package handover

import (
	"bytes"
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"html/template"
	"image/png"
	"strconv"
	"strings"

	"github.com/piglig/go-qr"

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
