package backup

import (
	"archive/tar"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
)

// wrapped packs a tar file as an archive is packed, so that nothing is wrong with it
// outside.
func wrapped(tb testing.TB, files []byte) []byte {
	tb.Helper()
	var out bytes.Buffer
	w, err := zstd.NewWriter(&out, zstd.WithEncoderConcurrency(1), zstd.WithWindowSize(1<<20))
	must(tb, err)
	_, err = w.Write(files)
	must(tb, err)
	must(tb, w.Close())
	sum := sha256.Sum256(out.Bytes())
	trailer := binary.LittleEndian.AppendUint32(nil, skippable)
	trailer = binary.LittleEndian.AppendUint32(trailer, sha256.Size)
	out.Write(append(trailer, sum[:]...))
	return out.Bytes()
}

// unwrapped returns the tar file in an archive.
func unwrapped(tb testing.TB, archive []byte) []byte {
	tb.Helper()
	r, err := zstd.NewReader(bytes.NewReader(archive[:len(archive)-trailerSize]))
	must(tb, err)
	defer r.Close()
	files, err := io.ReadAll(r)
	must(tb, err)
	return files
}

// tarOf makes a tar file of an opening and whatever else is added.
func tarOf(tb testing.TB, add func(w *tar.Writer)) []byte {
	tb.Helper()
	var out bytes.Buffer
	w := tar.NewWriter(&out)
	opening, err := json.Marshal(Opening{Backup: version, Kind: Ledger, Data: 1, Program: "v0.1.0", Made: day(0)})
	must(tb, err)
	put(tb, w, nameOpening, opening)
	add(w)
	must(tb, w.Flush())
	out.Write(make([]byte, 1024))
	return out.Bytes()
}

func put(tb testing.TB, w *tar.Writer, name string, content []byte) {
	tb.Helper()
	must(tb, w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Size: int64(len(content)), Mode: 0o400}))
	_, err := w.Write(content)
	must(tb, err)
}

// TestHostile: archives that somebody made to do harm are refused before anything of
// them is used, and for the reason that is told.
func TestHostile(t *testing.T) {
	photo := photosPrefix + "north/" + strings.Repeat("0", 64)
	link := func(kind byte) func(w *tar.Writer) {
		return func(w *tar.Writer) {
			must(t, w.WriteHeader(&tar.Header{Typeflag: kind, Name: photo, Linkname: "/etc/passwd"}))
		}
	}
	one := func(names ...string) func(w *tar.Writer) {
		return func(w *tar.Writer) {
			for _, name := range names {
				put(t, w, name, []byte("{}"))
			}
		}
	}
	bomb := func(w *tar.Writer) {
		must(t, w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: accessPrefix + tokensName, Size: smallMost + 1, Mode: 0o400}))
		for range 65 {
			_, err := w.Write(make([]byte, 1<<20)[:min(1<<20, smallMost+1)])
			if err != nil {
				break // the size is reached
			}
		}
	}
	for name, test := range map[string]struct {
		add  func(w *tar.Writer)
		says string
	}{
		"out of the folder":      {one("../tokens.json"), "no archive has a part"},
		"out of it, deeper":      {one("photos/../../etc/passwd"), "no archive has a part"},
		"absolute":               {one("/etc/passwd"), "no archive has a part"},
		"another file":           {one("access/authorized_keys"), "no archive has a part"},
		"a firm that is a way":   {one("signing/...pem"), "no archive has a part"},
		"a key that is a way":    {one("keys/north/.."), "no archive has a part"},
		"a partition too many":   {one("log/16/00000000000000000001"), "no archive has a part"},
		"a sequence of letters":  {one("log/00/0000000000000000000x"), "no archive has a part"},
		"a soft link":            {link(tar.TypeSymlink), "no plain file"},
		"a hard link":            {link(tar.TypeLink), "no plain file"},
		"a device":               {link(tar.TypeBlock), "no plain file"},
		"twice":                  {one("access/tokens.json", "access/tokens.json"), "comes twice"},
		"out of order":           {one("signing/north.pem", "access/tokens.json"), "does not belong here"},
		"a key in the ledger":    {one("keys/north/c-1"), "does not belong here"},
		"a photo with a name":    {one(photo), "has the digest"},
		"commits that are none":  {one("log/00/00000000000000000001"), "does not begin with sequence"},
		"commits from elsewhere": {one("log/00/00000000000000000007"), "does not follow sequence 0"},
		"too large":              {bomb, "at most"},
		"without an end":         {one("access/tokens.json"), "ends too soon"},
		"an end of another":      {one(nameManifest), "the manifest and backup.json differ"},
		"long names":             {one("access/" + strings.Repeat("x", 300)), "no plain file"},
	} {
		_, err := check(bytes.NewReader(wrapped(t, tarOf(t, test.add))), nil, nil, use{})
		if err == nil || !strings.Contains(err.Error(), test.says) {
			t.Errorf("%s: %v, want %q", name, err, test.says)
		}
		t.Logf("| archive | %s | %v |", name, err)
	}
	packed := wrapped(t, make([]byte, 512<<20))
	_, err := check(bytes.NewReader(packed), nil, nil, use{})
	if err == nil {
		t.Error("half a gigabyte of nothing is taken for an archive")
	}
	t.Logf("| archive | 512 MiB of nothing, packed into %d kB | %v |", len(packed)>>10, err)
}

// FuzzArchive reads whatever comes as the tar file in an archive. What is taken for one is
// proved the same way twice. What is wrong outside of it is for TestDamage.
func FuzzArchive(f *testing.F) {
	l := newLedger(f)
	l.work(f, 1, 1)
	l.photo(f, "north", "an invented photo")
	l.customer(f, "c-1")
	path, _ := l.file(f, f.TempDir(), 0, "")
	for _, file := range []string{path, path + ".keys"} {
		f.Add(unwrapped(f, mustRead(f, file)))
	}
	f.Add(tarOf(f, func(w *tar.Writer) { put(f, w, "access/tokens.json", []byte("{}")) }))
	nothing := sha256.Sum256(nil)
	trailer := binary.LittleEndian.AppendUint32(nil, skippable)
	trailer = append(binary.LittleEndian.AppendUint32(trailer, sha256.Size), nothing[:]...)
	read := func(raw []byte, do use) (*checked, error) {
		ended := &untrailed{from: bufio.NewReader(bytes.NewReader(trailer)), sum: sha256.New()}
		u, err := open(bytes.NewReader(raw), func() {}, ended)
		if err != nil {
			return nil, err
		}
		return prove(u, nil, do)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		c, err := read(raw, use{file: func(name string, _ []byte) error {
			if strings.Contains(name, "..") || strings.HasPrefix(name, "/") {
				t.Errorf("a part %q", name)
			}
			return nil
		}})
		if err != nil {
			return
		}
		again, err := read(raw, use{})
		if err != nil || again.name != c.name {
			t.Errorf("proved once as %s, and then %v", c.name, err)
		}
	})
}
