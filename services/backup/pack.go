package backup

import (
	"archive/tar"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"time"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"daysheet/services/tarred"
)

// The frame at the end of an archive: one that Zstandard passes over (RFC 8878, 3.1.2),
// with the SHA-256 of everything before it.
const (
	skippable   = uint32(0x184D2A50)
	trailerSize = 8 + sha256.Size
)

// packer writes an archive.
type packer struct {
	box    io.WriteCloser // of age; nil where the archive is not encrypted
	out    io.Writer
	sum    hash.Hash // of what went to out
	packed *zstd.Encoder
	files  *tar.Writer
	at     time.Time
	parts  []Part
}

// newPacker begins an archive with its opening. Without recipients it is not encrypted.
func newPacker(to io.Writer, o Opening, recipients []age.Recipient) (p *packer, err error) {
	p = &packer{out: to, sum: sha256.New(), at: o.Made, parts: []Part{}}
	if len(recipients) > 0 {
		if p.box, err = age.Encrypt(to, recipients...); err != nil {
			return nil, fmt.Errorf("encrypt the archive: %w", err)
		}
		p.out = p.box
	}
	p.packed, err = zstd.NewWriter(io.MultiWriter(p.out, p.sum), zstd.WithEncoderConcurrency(1),
		zstd.WithEncoderLevel(zstd.SpeedDefault), zstd.WithWindowSize(1<<20))
	if err != nil {
		return nil, fmt.Errorf("pack the archive: %w", err)
	}
	p.files = tar.NewWriter(p.packed)
	return p, p.value(nameOpening, o)
}

// part adds a file of a known size.
func (p *packer) part(name string, size int64, content io.Reader) error {
	sum := sha256.New()
	if err := p.put(name, size, io.TeeReader(content, sum)); err != nil {
		return err
	}
	p.parts = append(p.parts, Part{name, size, hex.EncodeToString(sum.Sum(nil))})
	return nil
}

func (p *packer) put(name string, size int64, content io.Reader) error {
	return tarred.Put(p.files, name, size, 0o400, p.at, content)
}

func (p *packer) bytes(name string, content []byte) error {
	return p.part(name, int64(len(content)), bytes.NewReader(content))
}

func (p *packer) value(name string, v any) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	return p.bytes(name, raw)
}

// close adds the manifest and returns the name of the archive.
func (p *packer) close(m *Manifest) (name string, err error) {
	m.Parts = p.parts
	return p.seal(m)
}

// seal ends the archive with a manifest.
func (p *packer) seal(m *Manifest) (name string, err error) {
	raw, err := json.Marshal(m)
	if err != nil {
		return "", fmt.Errorf("write the manifest: %w", err)
	}
	if err := p.put(nameManifest, int64(len(raw)), bytes.NewReader(raw)); err != nil {
		return "", err
	}
	if err := errors.Join(p.files.Close(), p.packed.Close()); err != nil {
		return "", fmt.Errorf("write the end of the archive: %w", err)
	}
	trailer := binary.LittleEndian.AppendUint32(nil, skippable)
	trailer = binary.LittleEndian.AppendUint32(trailer, sha256.Size)
	if _, err := p.out.Write(p.sum.Sum(trailer)); err != nil {
		return "", fmt.Errorf("write the end of the archive: %w", err)
	}
	if p.box != nil {
		if err := p.box.Close(); err != nil {
			return "", fmt.Errorf("write the end of the archive: %w", err)
		}
	}
	return nameOf(raw), nil
}

// nameOf returns the name of an archive by its manifest.
func nameOf(manifest []byte) string {
	sum := sha256.Sum256(manifest)
	return hex.EncodeToString(sum[:])
}
