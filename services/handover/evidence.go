package handover

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"slices"
	"time"

	"daysheet/events"
	papers "daysheet/reports/handover"
	"daysheet/services/tarred"
)

// evidenceReadme stands in every evidence file and says how to check it.
//
//go:embed assets/evidence.txt
var evidenceReadme []byte

// The files of an evidence file, in their order. Commits and photos stand between the
// report and the sums.
const (
	nameReadme    = "README.txt"
	nameManifest  = "evidence.json"
	nameKey       = "key.pem"
	nameReport    = "report.pdf"
	commitPattern = "commits/%06d.json"
	photoPrefix   = "photos/"
	nameSums      = "SHA256SUMS"
	nameSignature = "SHA256SUMS.sig"
)

// Manifest says what an evidence file holds. It is written in canonical JSON.
type Manifest struct {
	Evidence      int       `json:"evidence"` // version of the format: 1
	Firm          string    `json:"firm"`
	Job           string    `json:"job"`
	Position      uint64    `json:"position"` // in the log, of the last commit
	Commits       uint64    `json:"commits"`
	Head          string    `json:"head"`        // hash of the last commit
	RecordedAt    time.Time `json:"recorded_at"` // of the last commit
	Key           string    `json:"key"`         // fingerprint of the firm's key
	Photos        int       `json:"photos"`
	MissingPhotos []string  `json:"missing_photos"` // that events name and that were not there, or were damaged
}

const evidenceVersion = 1

// archive writes an evidence file: entries in order, and a sum for each. The same
// entries make the same bytes.
type archive struct {
	out  *tar.Writer
	at   time.Time
	sums []byte
}

// entry adds a file of a known size.
func (a *archive) entry(name string, size int64, content io.Reader) error {
	sum := sha256.New()
	if err := a.put(name, size, io.TeeReader(content, sum)); err != nil {
		return err
	}
	a.sums = append(a.sums, sumLine(sum, name)...)
	return nil
}

func sumLine(sum hash.Hash, name string) string {
	return hex.EncodeToString(sum.Sum(nil)) + "  " + name + "\n"
}

func (a *archive) put(name string, size int64, content io.Reader) error {
	return tarred.Put(a.out, name, size, 0o444, a.at, content)
}

// evidence is a job on its way into an evidence file.
type evidence struct {
	manifest Manifest
	commits  []events.Stored
	photos   []string // digests, sorted
	report   []byte
	key      ed25519.PrivateKey
}

// gather reads everything of a job but its photos, of which it looks whether they are
// there and whole.
func (d *desk) gather(ctx context.Context, w wanted) (*evidence, error) {
	dossier, err := d.dossier(ctx, w)
	if err != nil {
		return nil, err
	}
	stamp := dossier.Stamp()
	e := &evidence{}
	if e.key, err = d.Keys.Private(w.firm); err != nil {
		return nil, err
	}
	fingerprint, err := fingerprintOf(e.key.Public().(ed25519.PublicKey))
	if err != nil {
		return nil, err
	}
	if e.commits, err = d.Commits(ctx, w.firm, w.job, stamp.Position); err != nil {
		return nil, fmt.Errorf("read job %s: %w", w.job, err)
	}
	e.manifest = Manifest{Evidence: evidenceVersion, Firm: w.firm, Job: w.job, Position: stamp.Position,
		Commits: stamp.Commits, Head: stamp.Head, RecordedAt: stamp.RecordedAt.UTC(), Key: fingerprint,
		MissingPhotos: []string{}}
	if err := d.lookAtPhotos(ctx, e); err != nil {
		return nil, err
	}
	report, err := d.sheetOf(ctx, dossier.Handover(), dossier.words)
	if err != nil {
		return nil, err
	}
	e.report, err = d.sealedPDF(ctx, report)
	return e, err
}

// lookAtPhotos sorts the photos that the commits name into those that are there and
// whole, and the others.
func (d *desk) lookAtPhotos(ctx context.Context, e *evidence) error {
	named, err := photosNamed(e.commits)
	if err != nil {
		return err
	}
	for _, digest := range named {
		why, err := d.flaw(ctx, e.manifest.Firm, digest)
		if err != nil {
			return err
		}
		if why != "" {
			e.manifest.MissingPhotos = append(e.manifest.MissingPhotos, digest)
		} else {
			e.photos = append(e.photos, digest)
		}
	}
	e.manifest.Photos = len(e.photos)
	return nil
}

// photosNamed returns the digests of the photos that commits name, sorted, each once.
func photosNamed(commits []events.Stored) (digests []string, err error) {
	for _, stored := range commits {
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			return nil, fmt.Errorf("sequence %d: %w", stored.Sequence, err)
		}
		if digests, err = appendPhotos(digests, c); err != nil {
			return nil, err
		}
	}
	slices.Sort(digests)
	return slices.Compact(digests), nil
}

func appendPhotos(digests []string, c *events.Commit) ([]string, error) {
	for i := range c.Events {
		payload, err := c.Events[i].Payload()
		if err != nil {
			return nil, fmt.Errorf("event %s: %w", c.Events[i].ID, err)
		}
		digests = append(digests, events.PhotosOf(payload)...)
	}
	return digests, nil
}

// writeEvidence writes the evidence file of a job.
func (d *desk) writeEvidence(ctx context.Context, e *evidence, to io.Writer) error {
	a := &archive{out: tar.NewWriter(to), at: e.manifest.RecordedAt.Truncate(time.Second)}
	manifest, err := canonicalManifest(e.manifest)
	if err != nil {
		return err
	}
	public, err := publicPEM(e.key.Public().(ed25519.PublicKey))
	if err != nil {
		return err
	}
	for _, f := range []struct {
		name    string
		content []byte
	}{{nameReadme, evidenceReadme}, {nameManifest, manifest}, {nameKey, public}, {nameReport, e.report}} {
		if err := a.bytes(f.name, f.content); err != nil {
			return err
		}
	}
	for i, stored := range e.commits {
		if err := a.bytes(fmt.Sprintf(commitPattern, i+1), stored.Raw); err != nil {
			return err
		}
	}
	for _, digest := range e.photos {
		if err := d.addPhoto(ctx, a, e.manifest.Firm, digest); err != nil {
			return err
		}
	}
	return a.close(ed25519.Sign(e.key, a.sums))
}

func (d *desk) addPhoto(ctx context.Context, a *archive, firm, digest string) error {
	file, size, err := d.Photos.Open(ctx, firm, digest)
	if err != nil {
		return fmt.Errorf("open photo %s: %w", digest, err)
	}
	return errors.Join(a.entry(photoPrefix+digest, size, file), file.Close())
}

// canonicalManifest writes a manifest by RFC 8785.
func canonicalManifest(m Manifest) ([]byte, error) {
	raw, err := json.Marshal(m)
	if err == nil {
		raw, err = events.Canonical(raw)
	}
	if err != nil {
		return nil, fmt.Errorf("write %s: %w", nameManifest, err)
	}
	return raw, nil
}

// evidenceOf is the paper whose code stands for the evidence of a job.
func evidenceOf(firm, job string, asOf uint64) wanted {
	return wanted{firm: firm, job: job, kind: papers.KindHandover, asOf: asOf}
}

// bytes adds a file that is in memory.
func (a *archive) bytes(name string, content []byte) error {
	return a.entry(name, int64(len(content)), bytes.NewReader(content))
}

// close adds the sums and the signature over them, and ends the file.
func (a *archive) close(signature []byte) error {
	err := a.put(nameSums, int64(len(a.sums)), bytes.NewReader(a.sums))
	if err == nil {
		err = a.put(nameSignature, int64(len(signature)), bytes.NewReader(signature))
	}
	if err == nil {
		err = a.out.Close()
	}
	return err
}
