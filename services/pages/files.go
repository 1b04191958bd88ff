package pages

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
)

// FilesAt is the address under which the files of the pages are served.
const FilesAt = "/assets/pages/"

// file is something that pages refer to, compressed once.
type file struct {
	address     string
	contentType string
	plain       []byte
	gzipped     []byte
}

// AddFile adds a file that pages refer to, such as a script. Its address holds the
// hash of its content: a new version has a new address, so browsers may keep files
// for ever. It is called before the server serves.
func (f *Frame) AddFile(name string, content []byte) error {
	if _, taken := f.files[name]; taken {
		return fmt.Errorf("add file %s: there is one of this name", name)
	}
	var packed bytes.Buffer
	w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err == nil {
		_, err = w.Write(content)
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		return fmt.Errorf("compress file %s: %w", name, err)
	}
	hash := sha256.Sum256(content)
	address := FilesAt + hex.EncodeToString(hash[:8]) + "/" + name
	f.files[name] = file{address, contentTypeOf(name), content, packed.Bytes()}
	return nil
}

// AddFiles adds every file that the pattern matches.
func (f *Frame) AddFiles(from fs.FS, pattern string) error {
	names, err := fs.Glob(from, pattern)
	if err != nil {
		return fmt.Errorf("list files %s: %w", pattern, err)
	}
	for _, name := range names {
		content, err := fs.ReadFile(from, name)
		if err != nil {
			return fmt.Errorf("read file %s: %w", name, err)
		}
		if path.Base(name) == styles {
			content = append(httpd.Colours(), content...)
		}
		if err := f.AddFile(path.Base(name), content); err != nil {
			return err
		}
	}
	return nil
}

// Address returns where a file is served; empty where none of the name was added.
func (f *Frame) Address(name string) string { return f.files[name].address }

// Has reports whether a file was added.
func (f *Frame) Has(name string) bool {
	_, ok := f.files[name]
	return ok
}

// serveFile answers for one file. Files are open: they hold nothing of a firm. What
// comes under another hash is gone.
func (f *Frame) serveFile(c *gin.Context) {
	found, ok := f.files[c.Param("name")]
	if !ok || found.address != c.Request.URL.Path {
		httpd.Abort(c, &events.Error{Code: events.NotFound, Field: "name", Value: c.Param("name"), Rule: "no such file"})
		return
	}
	h := c.Writer.Header()
	h.Set("Content-Type", found.contentType)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Vary", "Accept-Encoding")
	body := found.plain
	if strings.Contains(c.GetHeader("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = found.gzipped
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if c.Request.Method == http.MethodHead {
		return
	}
	if _, err := c.Writer.Write(body); err != nil {
		_ = c.Error(fmt.Errorf("write file: %w", err)) // hands it to the access log and returns it again
	}
}

// contentTypeOf does not ask the system's table of types, which differs between
// machines.
func contentTypeOf(name string) string {
	switch path.Ext(name) {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	}
	return "application/octet-stream"
}
