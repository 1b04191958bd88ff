// Package tarred writes tar files that are the same to the byte for the same content.
package tarred

import (
	"archive/tar"
	"fmt"
	"io"
	"time"
)

// Put adds a plain file of a known size and fails where its content has fewer bytes; more
// are left unread. mode is that of the file, at its time.
func Put(to *tar.Writer, name string, size, mode int64, at time.Time, content io.Reader) error {
	err := to.WriteHeader(&tar.Header{
		Typeflag: tar.TypeReg, Name: name, Size: size, Mode: mode, ModTime: at, Format: tar.FormatUSTAR,
	})
	if err == nil {
		var n int64
		if n, err = io.Copy(to, io.LimitReader(content, size)); err == nil && n != size {
			err = io.ErrUnexpectedEOF
		}
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", name, err)
	}
	return nil
}
