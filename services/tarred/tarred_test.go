package tarred

import (
	"archive/tar"
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
)

// TestPut: the same content makes the same bytes, which a reader finds again; content that
// is shorter than it was said to be is an error.
func TestPut(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	write := func() []byte {
		var out bytes.Buffer
		w := tar.NewWriter(&out)
		if err := Put(w, "a/b", 4, 0o400, at, strings.NewReader("text and more")); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	first := write()
	if !bytes.Equal(first, write()) {
		t.Error("the same content makes other bytes")
	}
	r := tar.NewReader(bytes.NewReader(first))
	h, err := r.Next()
	if err != nil || h.Name != "a/b" || h.Mode != 0o400 || !h.ModTime.Equal(at) {
		t.Errorf("read as %+v, %v", h, err)
	}
	if raw, err := io.ReadAll(r); err != nil || string(raw) != "text" {
		t.Errorf("read %q, %v", raw, err)
	}
	if err := Put(tar.NewWriter(io.Discard), "short", 5, 0o400, at, strings.NewReader("text")); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("content that is too short: %v", err)
	}
}
