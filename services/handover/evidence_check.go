package handover

import (
	"archive/tar"
	"bufio"
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"daysheet/events"
)

// errNotEvidence means that a file is no evidence file at all.
var errNotEvidence = errors.New("the file is no evidence file")

// ChangedError says that a file is not as it was signed, and where.
type ChangedError struct{ What string }

// Error says where.
func (e *ChangedError) Error() string { return "the file was changed: " + e.What }

func changed(format string, args ...any) error { return &ChangedError{fmt.Sprintf(format, args...)} }

// Bounds of what is read into memory of an evidence file: the greatest commit, and
// the greatest report.
const (
	entryMost  = 64 << 20
	photosMost = 100_000
)

// Evidence is an evidence file that was checked.
type Evidence struct {
	Manifest
	PublicKey ed25519.PublicKey // that the file holds; whoever trusts it has it from elsewhere too
}

// checkEvidence reads an evidence file and proves it: every sum, the signature, the
// chain of the commits, the name of every photo, the seal of the report, and every
// other byte of the archive. Its error is a [*ChangedError], or errNotEvidence, where
// the file is to blame; Firm is then the one that the file names, if it came to that, and all
// else is empty. Photos are not kept in memory.
func checkEvidence(file io.ReaderAt, size int64) (Evidence, error) {
	twin := &twin{want: bufio.NewReaderSize(io.NewSectionReader(file, 0, size), 64<<10)}
	c := &evidenceCheck{
		in: tar.NewReader(io.NewSectionReader(file, 0, size)), again: archive{out: tar.NewWriter(twin)},
	}
	err := c.all()
	if err == nil {
		err = twin.end()
	}
	if err != nil {
		return Evidence{Manifest: Manifest{Firm: c.manifest.Firm}}, err
	}
	return Evidence{c.manifest, c.key}, nil
}

// evidenceCheck reads the files of an archive in their order and writes the archive
// again, so that nothing in it can stand that was not written by it.
type evidenceCheck struct {
	in       *tar.Reader
	again    archive
	manifest Manifest
	key      ed25519.PublicKey
	photos   []string // that the commits name
}

func (c *evidenceCheck) all() error {
	if _, err := c.read(nameReadme, nil); err != nil {
		return errNotEvidence
	}
	if err := c.readManifest(); err != nil {
		return err
	}
	if err := c.readKey(); err != nil {
		return err
	}
	if err := c.readReport(); err != nil {
		return err
	}
	if err := c.readCommits(); err != nil {
		return err
	}
	if err := c.readPhotos(); err != nil {
		return err
	}
	return c.readSignature()
}

// next goes to the next file, which must have the name.
func (c *evidenceCheck) next(name string) (*tar.Header, error) {
	h, err := c.in.Next()
	switch {
	case err != nil:
		return nil, changed("%s is missing or cannot be read", name)
	case h.Name != name:
		return nil, changed("%s stands in the place of %s", h.Name, name)
	}
	return h, nil
}

// read reads a small file, and writes it again. The first file tells the time that
// all have.
func (c *evidenceCheck) read(name string, check func([]byte) error) ([]byte, error) {
	raw, h, err := c.small(name)
	if err != nil {
		return nil, err
	}
	if c.again.at.IsZero() {
		c.again.at = h.ModTime
	}
	if check != nil {
		if err := check(raw); err != nil {
			return nil, err
		}
	}
	return raw, c.again.bytes(name, raw)
}

func (c *evidenceCheck) readManifest() error {
	_, err := c.read(nameManifest, func(raw []byte) error {
		if err := json.Unmarshal(raw, &c.manifest); err != nil {
			return changed("%s cannot be read", nameManifest)
		}
		again, err := canonicalManifest(c.manifest)
		if err != nil || !bytes.Equal(again, raw) {
			return changed("%s is not as it is written", nameManifest)
		}
		if c.manifest.Evidence != evidenceVersion {
			return fmt.Errorf("%w that this version of the program knows", errNotEvidence)
		}
		if !c.manifest.RecordedAt.Truncate(time.Second).Equal(c.again.at) {
			return changed("the files have another time than the last record")
		}
		return nil
	})
	return err
}

func (c *evidenceCheck) readKey() error {
	_, err := c.read(nameKey, func(raw []byte) (err error) {
		if c.key, err = ParsePublicPEM(raw); err != nil {
			return changed("%s is no key", nameKey)
		}
		again, err := publicPEM(c.key)
		if err != nil || !bytes.Equal(again, raw) {
			return changed("%s is not as it is written", nameKey)
		}
		if fingerprint, err := fingerprintOf(c.key); err != nil || fingerprint != c.manifest.Key {
			return changed("%s is another key than %s says", nameKey, nameManifest)
		}
		return nil
	})
	return err
}

func (c *evidenceCheck) readReport() error {
	_, err := c.read(nameReport, func(raw []byte) error {
		s, err := readSealed(raw)
		m := c.manifest
		if err != nil || !s.Verify(raw, c.key) {
			return changed("%s is not as the firm sealed it", nameReport)
		}
		if s.Firm != m.Firm || s.Job != m.Job || s.Position != m.Position || s.Head != m.Head {
			return changed("%s is of another job or position than %s says", nameReport, nameManifest)
		}
		return nil
	})
	return err
}

func (c *evidenceCheck) readCommits() error {
	if !events.ValidToken(c.manifest.Firm) || !events.ValidToken(c.manifest.Job) {
		return changed("%s names no job", nameManifest)
	}
	job := events.NewJob(c.manifest.Firm, c.manifest.Job)
	for n := uint64(1); n <= c.manifest.Commits; n++ {
		name := fmt.Sprintf(commitPattern, n)
		_, err := c.read(name, func(raw []byte) error {
			commit, err := events.DecodeCommit(raw)
			if err == nil {
				err = job.Apply(commit, n, raw)
			}
			if err == nil {
				c.photos, err = appendPhotos(c.photos, commit)
			}
			if err != nil {
				return changed("%s does not follow from the commits before it", name)
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	if job.Head != c.manifest.Head || c.manifest.Commits == 0 {
		return changed("the last commit is not the one that %s names", nameManifest)
	}
	return nil
}

// readPhotos reads every photo that the commits name and that is not said to miss.
func (c *evidenceCheck) readPhotos() error {
	slices.Sort(c.photos)
	named := slices.Compact(c.photos)
	missing := map[string]bool{} // not a list: both may be long in a file that was made to keep us busy
	for _, digest := range c.manifest.MissingPhotos {
		missing[digest] = true
	}
	there := slices.DeleteFunc(slices.Clone(named), func(d string) bool { return missing[d] })
	if len(named) > photosMost || c.manifest.Photos != len(there) ||
		len(there)+len(c.manifest.MissingPhotos) != len(named) {
		return changed("%s does not name the photos that the commits name", nameManifest)
	}
	for _, digest := range there {
		h, err := c.next(photoPrefix + digest)
		if err != nil {
			return err
		}
		sum := sha256.New()
		if err := c.again.entry(photoPrefix+digest, h.Size, io.TeeReader(c.in, sum)); err != nil {
			return unlessChanged(err, "photo %s cannot be read", digest)
		}
		if hex.EncodeToString(sum.Sum(nil)) != digest {
			return changed("photo %s is not the one that was named", digest)
		}
	}
	return nil
}

func (c *evidenceCheck) readSignature() error {
	sums := slices.Clone(c.again.sums)
	raw, _, err := c.small(nameSums)
	if err != nil {
		return err
	}
	if !bytes.Equal(raw, sums) {
		return changed("%s does not hold the sums of the files", nameSums)
	}
	signature, _, err := c.small(nameSignature)
	if err != nil {
		return err
	}
	if len(signature) != ed25519.SignatureSize || !ed25519.Verify(c.key, sums, signature) {
		return changed("the signature is not the firm's, or not over these files")
	}
	if _, err := c.in.Next(); !errors.Is(err, io.EOF) {
		return changed("there is something behind the signature")
	}
	return unlessChanged(c.again.close(signature), "the end of the file is not as it is written")
}

// small reads a small file.
func (c *evidenceCheck) small(name string) ([]byte, *tar.Header, error) {
	h, err := c.next(name)
	if err != nil {
		return nil, nil, err
	}
	if h.Size > entryMost {
		return nil, nil, changed("%s is larger than it can be", name)
	}
	raw, err := io.ReadAll(c.in)
	if err != nil {
		return nil, nil, changed("%s cannot be read", name)
	}
	return raw, h, nil
}

// unlessChanged leaves an error that says what was changed as it is, and takes any
// other for that.
func unlessChanged(err error, format string, args ...any) error {
	if already := (*ChangedError)(nil); err == nil || errors.As(err, &already) {
		return err
	}
	return changed(format, args...)
}

// twin compares what is written to it with a file.
type twin struct {
	want    *bufio.Reader
	scratch []byte
}

// Write fails where the file has other bytes.
func (t *twin) Write(p []byte) (int, error) {
	if cap(t.scratch) < len(p) {
		t.scratch = make([]byte, len(p))
	}
	got := t.scratch[:len(p)]
	if _, err := io.ReadFull(t.want, got); err != nil || !bytes.Equal(got, p) {
		return 0, changed("the archive is not as it is written: a head or the space between files differs")
	}
	return len(p), nil
}

// end fails where the file has more bytes.
func (t *twin) end() error {
	if _, err := t.want.ReadByte(); !errors.Is(err, io.EOF) {
		return changed("there is something behind the end of the archive")
	}
	return nil
}

// isPDF reports whether a file calls itself a PDF.
func isPDF(head []byte) bool { return strings.HasPrefix(string(head), "%PDF-") }
