package backup

import (
	"archive/tar"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"daysheet/services/dataformat"
)

// DamagedError says that an archive is not what was written.
type DamagedError struct {
	File string // empty where it is read from elsewhere
	Why  error
}

// Error says where.
func (e *DamagedError) Error() string {
	if e.File == "" {
		return "the archive is damaged, or was changed: " + e.Why.Error()
	}
	return fmt.Sprintf("%s is damaged, or was changed: %v", e.File, e.Why)
}

// Unwrap returns the cause.
func (e *DamagedError) Unwrap() error { return e.Why }

func damaged(format string, args ...any) error {
	return &DamagedError{Why: fmt.Errorf(format, args...)}
}

const (
	ageHead  = "age-encryption.org/"
	zstdHead = "\x28\xb5\x2f\xfd"
)

// IsArchive reports whether what begins so may be an archive.
func IsArchive(head []byte) bool {
	return bytes.HasPrefix(head, []byte(ageHead)) || bytes.HasPrefix(head, []byte(zstdHead))
}

// ErrEncrypted means that an archive is encrypted and nothing was given to open it.
var ErrEncrypted = errors.New("the archive is encrypted: give --identity, the file with the key that opens it")

// unpacker reads an archive part by part and proves that it is whole.
type unpacker struct {
	ended  *untrailed
	packed io.Reader // what is in the frames
	free   func()    // what unpacking holds
	files  *tar.Reader
	open   Opening
	parts  []Part
	names  map[string]bool

	current *entry // that is being read
}

// newUnpacker reads the opening of an archive. The caller closes it.
func newUnpacker(from io.Reader, identities []age.Identity) (*unpacker, error) {
	in := bufio.NewReaderSize(from, 64<<10)
	head, err := in.Peek(len(ageHead))
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("read the archive: %w", err)
	}
	if string(head) == ageHead {
		if len(identities) == 0 {
			return nil, ErrEncrypted
		}
		plain, err := age.Decrypt(in, identities...)
		var none *age.NoIdentityMatchError
		if errors.As(err, &none) {
			return nil, errors.New("none of the identities opens the archive: it was encrypted for others")
		}
		if err != nil {
			return nil, damaged("%v", err)
		}
		in = bufio.NewReaderSize(plain, 64<<10)
		if head, err = in.Peek(len(zstdHead)); err != nil {
			return nil, damaged("%v", err)
		}
	}
	if !bytes.HasPrefix(head, []byte(zstdHead)) {
		return nil, damaged("it does not begin as an archive of a ledger does")
	}
	ended := &untrailed{from: in, sum: sha256.New()}
	packed, err := zstd.NewReader(ended, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
		zstd.WithDecoderMaxWindow(8<<20))
	if err != nil {
		return nil, fmt.Errorf("unpack the archive: %w", err)
	}
	return open(packed, packed.Close, ended)
}

// open reads the opening out of the tar file in an archive.
func open(packed io.Reader, free func(), ended *untrailed) (*unpacker, error) {
	u := &unpacker{ended: ended, packed: packed, free: free, files: tar.NewReader(packed), names: map[string]bool{},
		parts: []Part{}}
	if err := u.readOpening(); err != nil {
		u.close()
		return nil, err
	}
	return u, nil
}

func (u *unpacker) close() { u.free() }

func (u *unpacker) readOpening() error {
	e, err := u.next()
	if err != nil {
		return err
	}
	if e.name != nameOpening {
		return damaged("it begins with %q", e.name)
	}
	raw, err := e.read()
	if err != nil {
		return err
	}
	if err := json.Unmarshal(raw, &u.open); err != nil {
		return damaged("%s: %v", nameOpening, err)
	}
	newest := dataformat.Format{Number: u.open.Backup, Program: u.open.Program}
	switch {
	case u.open.Backup > version:
		return &dataformat.NewerError{What: "the archive", Format: newest, Most: version}
	case u.open.Backup < 1 || u.open.Data < 1:
		return damaged("%s names no format", nameOpening)
	case u.open.Data > dataformat.Current:
		newest.Number = u.open.Data
		return &dataformat.NewerError{What: "the ledger in the archive", Format: newest, Most: dataformat.Current}
	case !slices.Contains([]Kind{Ledger, Keys, index}, u.open.Kind):
		return damaged("%s names the kind %q", nameOpening, u.open.Kind)
	}
	return nil
}
