package backup

import (
	"archive/tar"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"hash"
	"io"
	"slices"
	"strings"
)

// entry is a part that is being read. It must be read before the next.
type entry struct {
	name string
	body io.Reader
	sum  hash.Hash
}

// read returns the whole of it.
func (e *entry) read() ([]byte, error) {
	raw, err := io.ReadAll(e.body)
	if err != nil {
		return nil, damaged("%s: %w", e.name, noEnd(err))
	}
	return raw, nil
}

// lines calls use with each line of it.
func (e *entry) lines(longest int, use func(line []byte) error) error {
	in := bufio.NewScanner(e.body)
	in.Buffer(make([]byte, 0, 64<<10), longest)
	for in.Scan() {
		if err := use(in.Bytes()); err != nil {
			return err
		}
	}
	if err := in.Err(); err != nil {
		return damaged("%s: %w", e.name, noEnd(err))
	}
	return nil
}

// noEnd says of an end that came too soon what it means.
func noEnd(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("the archive ends too soon")
	}
	return err
}

// next returns the next part. It refuses names, types and sizes that no archive has, and
// what comes twice.
func (u *unpacker) next() (*entry, error) {
	if err := u.finish(); err != nil {
		return nil, err
	}
	h, err := u.files.Next()
	if err != nil {
		return nil, damaged("what follows part %d cannot be read: %w", len(u.parts), noEnd(err))
	}
	limit := most(h.Name)
	switch {
	case h.Typeflag != tar.TypeReg || h.Linkname != "" || len(h.PAXRecords) > 0:
		return nil, damaged("%q is no plain file", h.Name)
	case limit == 0:
		return nil, damaged("no archive has a part %q", h.Name)
	case h.Size < 0 || h.Size > limit:
		return nil, damaged("%s says that it has %d bytes, and at most %d are taken", h.Name, h.Size, limit)
	case u.names[h.Name]:
		return nil, damaged("%s comes twice", h.Name)
	}
	u.names[h.Name] = true
	u.parts = append(u.parts, Part{Name: h.Name, Size: h.Size})
	u.current = &entry{name: h.Name, sum: sha256.New()}
	u.current.body = io.TeeReader(u.files, u.current.sum)
	return u.current, nil
}

// finish reads what is left of a part, and notes its digest.
func (u *unpacker) finish() error {
	if u.current == nil {
		return nil
	}
	if _, err := io.Copy(io.Discard, u.current.body); err != nil {
		return damaged("%s: %w", u.current.name, noEnd(err))
	}
	u.parts[len(u.parts)-1].SHA256 = hex.EncodeToString(u.current.sum.Sum(nil))
	u.current = nil
	return nil
}

// manifest reads the part that is the manifest, compares it with what was read, and
// proves that nothing follows. It returns the name of the archive.
func (u *unpacker) manifest(e *entry) (name string, m *Manifest, err error) {
	m = &Manifest{}
	d := json.NewDecoder(e.body)
	if err := d.Decode(m); err != nil {
		return "", nil, damaged("%s: %w", nameManifest, noEnd(err))
	}
	if err := u.finish(); err != nil {
		return "", nil, err
	}
	last := len(u.parts) - 1
	name, u.parts = u.parts[last].SHA256, u.parts[:last]
	opening := m.Opening
	if u.open.Kind == index {
		opening.Kind = index
	}
	switch {
	case !sameOpening(opening, u.open):
		return "", nil, damaged("the manifest and %s differ", nameOpening)
	case u.open.Kind != index && !slices.Equal(m.Parts, u.parts):
		return "", nil, damaged("%s", difference(m.Parts, u.parts))
	}
	for _, p := range u.parts[1:] {
		if u.open.Kind == index && !slices.Contains(m.Parts, p) {
			return "", nil, damaged("%s is not what the manifest says", p.Name)
		}
	}
	for _, lacking := range m.Lacking {
		if !validPhoto(lacking) {
			return "", nil, damaged("the manifest names %q as a photo", lacking)
		}
	}
	return name, m, u.end()
}

// sameOpening reports whether the manifest repeats the opening.
func sameOpening(a, b Opening) bool {
	x, errA := json.Marshal(a)
	y, errB := json.Marshal(b)
	return errA == nil && errB == nil && bytes.Equal(x, y)
}

// difference names the first part that is not as the manifest says.
func difference(want, have []Part) string {
	for i, p := range have {
		if i >= len(want) || want[i].Name != p.Name {
			return "the manifest does not name " + p.Name
		}
		if want[i] != p {
			return p.Name + " is not what the manifest says"
		}
	}
	return want[len(have)].Name + " is missing"
}

// paddingMost is how much may follow the end of the tar file: blocks of zeros.
const paddingMost = 1 << 20

// end proves that the archive ends here, and that its digest is that of its bytes.
func (u *unpacker) end() error {
	if _, err := u.files.Next(); !errors.Is(err, io.EOF) {
		return damaged("something follows the manifest")
	}
	rest, err := io.ReadAll(io.LimitReader(u.packed, paddingMost+1))
	if err != nil {
		return damaged("%w", noEnd(err))
	}
	if len(rest) > paddingMost || strings.Trim(string(rest), "\x00") != "" {
		return damaged("something follows the last part")
	}
	return u.ended.check()
}

// untrailed reads an archive up to the frame at its end, and hashes what it reads.
type untrailed struct {
	from *bufio.Reader
	sum  hash.Hash
}

// Read implements [io.Reader].
func (u *untrailed) Read(p []byte) (int, error) {
	const atOnce = 32 << 10
	ahead, err := u.from.Peek(min(len(p), atOnce) + trailerSize)
	n := min(len(p), len(ahead)-trailerSize)
	switch {
	case err != nil && !errors.Is(err, io.EOF):
		return 0, err
	case n <= 0 && err != nil:
		return 0, io.EOF
	}
	u.sum.Write(ahead[:n])
	copy(p, ahead[:n])
	_, err = u.from.Discard(n)
	return n, err
}

// check compares what was read with the frame.
func (u *untrailed) check() error {
	trailer, err := io.ReadAll(io.LimitReader(u.from, trailerSize+1))
	if err != nil {
		return damaged("%w", noEnd(err))
	}
	want := binary.LittleEndian.AppendUint32(nil, skippable)
	want = binary.LittleEndian.AppendUint32(want, sha256.Size)
	if !bytes.Equal(trailer, u.sum.Sum(want)) {
		return damaged("its bytes are not those that were written")
	}
	return nil
}
