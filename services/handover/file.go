package handover

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"

	papers "daysheet/reports/handover"
)

// errUnknownFile means that a file is neither a sealed PDF nor an evidence file.
var errUnknownFile = errors.New("the file is neither a sealed paper nor an evidence file")

// Checked is a file that is, byte for byte, as the holder of the key signed it.
type Checked struct {
	Evidence  bool // an evidence file; else a sealed PDF
	Kind      papers.Kind
	Of        string
	Firm, Job string
	Position  uint64
	Head      string // hash of the job's last commit at that position
	Key       string // fingerprint of the key
	Commits   uint64 // in an evidence file
	Photos    int    // in an evidence file
	Missing   int    // photos that an evidence file says were not there
}

// pdfMost is how large a sealed PDF can be.
const pdfMost = 256 << 20

// Check proves a sealed PDF or an evidence file with the key that keyOf returns for
// the firm that the file names. Its error is a [*ChangedError] where the file is not
// as it was signed, errUnknownFile where it is something else, and otherwise keyOf's. With
// an error Firm is the one that the file names, proved by nothing, and all else is empty.
func Check(file io.ReaderAt, size int64, keyOf func(firm string) (ed25519.PublicKey, error)) (Checked, error) {
	head := make([]byte, 5)
	if _, err := file.ReadAt(head, 0); err != nil {
		return Checked{}, errUnknownFile
	}
	if isPDF(head) {
		return checkPDF(file, size, keyOf)
	}
	e, err := checkEvidence(file, size)
	named := Checked{Firm: e.Firm}
	if errors.Is(err, errNotEvidence) {
		return named, errUnknownFile
	}
	if err != nil {
		return named, err
	}
	key, err := keyOf(e.Firm)
	if err != nil {
		return named, err
	}
	if !key.Equal(e.PublicKey) {
		return named, changed("it is signed with another key than the firm's")
	}
	return Checked{Evidence: true, Kind: papers.KindHandover, Firm: e.Firm, Job: e.Job, Position: e.Position, Head: e.Head,
		Key: e.Key, Commits: e.Commits, Photos: e.Photos, Missing: len(e.MissingPhotos)}, nil
}

func checkPDF(file io.ReaderAt, size int64, keyOf func(firm string) (ed25519.PublicKey, error)) (Checked, error) {
	if size > pdfMost {
		return Checked{}, errUnknownFile
	}
	raw, err := io.ReadAll(io.NewSectionReader(file, 0, size))
	if err != nil {
		return Checked{}, fmt.Errorf("read the file: %w", err)
	}
	s, err := readSealed(raw)
	if err != nil {
		return Checked{}, errUnknownFile
	}
	key, err := keyOf(s.Firm)
	if err != nil {
		return Checked{Firm: s.Firm}, err
	}
	if !s.Verify(raw, key) {
		return Checked{Firm: s.Firm}, changed("its bytes are not those that the firm sealed")
	}
	fingerprint, err := fingerprintOf(key)
	return Checked{Kind: s.Kind, Of: s.Of, Firm: s.Firm, Job: s.Job, Position: s.Position, Head: s.Head,
		Key: fingerprint}, err
}
