package handover

import (
	"bytes"
	"io/fs"
	"time"
)

// shelf is files in memory, for what a PDF is printed from.
type shelf map[string][]byte

// Open returns a file by its whole name. There are no folders.
func (s shelf) Open(name string) (fs.File, error) {
	content, ok := s[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return &leaf{bytes.NewReader(content), name, int64(len(content))}, nil
}

// leaf is an open file of a shelf.
type leaf struct {
	*bytes.Reader
	name string
	size int64
}

// Stat describes the file.
func (l *leaf) Stat() (fs.FileInfo, error) { return l, nil }

// Close does nothing.
func (l *leaf) Close() error { return nil }

// Name returns the whole name of the file.
func (l *leaf) Name() string { return l.name }

// Size returns its length in bytes.
func (l *leaf) Size() int64 { return l.size }

// Mode says that it can be read.
func (l *leaf) Mode() fs.FileMode { return 0o444 }

// ModTime is the zero time: the file was never changed.
func (l *leaf) ModTime() time.Time { return time.Time{} }

// IsDir is false.
func (l *leaf) IsDir() bool { return false }

// Sys returns nil.
func (l *leaf) Sys() any { return nil }
