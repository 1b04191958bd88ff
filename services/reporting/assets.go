package reporting

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"

	"daysheet/services/httpd"
)

//go:embed assets
var ownAssets embed.FS

// libAssets holds what npm brought; nothing but a .gitignore where it was not
// asked for, so that the program builds without it.
//
//go:embed all:web/lib
var libAssets embed.FS

// chartLibrary is the file without which pages show tables alone.
const chartLibrary = "echarts.js"

// styles is the style sheet of the pages, which takes its colours from those of all.
const styles = "assets/style.css"

// asset is a file that pages refer to, compressed once.
type asset struct {
	contentType string
	plain       []byte
	gzipped     []byte
}

// assets are the files of the pages, by an address that holds the hash of all
// of them. A new version has new addresses, so browsers may keep files for ever.
type assets struct {
	base    string // address of the folder
	files   map[string]asset
	notices notices
}

// assetsAt is the address under which the files of the pages are served.
const assetsAt = "/assets/pages/"

// loadAssets reads the files of the pages, and from lib what npm brought.
func loadAssets(lib fs.FS) (*assets, error) {
	a := &assets{files: map[string]asset{}}
	hash := sha256.New()
	add := func(from fs.FS, name string) error {
		raw, err := fs.ReadFile(from, name)
		if err != nil {
			return fmt.Errorf("read asset %s: %w", name, err)
		}
		if name == styles {
			raw = append(httpd.Colours(), raw...)
		}
		hash.Write(raw) // a hash never fails to write
		var packed bytes.Buffer
		w, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
		if err != nil {
			return fmt.Errorf("compress asset %s: %w", name, err)
		}
		if _, err := w.Write(raw); err != nil {
			return fmt.Errorf("compress asset %s: %w", name, err)
		}
		if err := w.Close(); err != nil {
			return fmt.Errorf("compress asset %s: %w", name, err)
		}
		a.files[path.Base(name)] = asset{contentTypeOf(name), raw, packed.Bytes()}
		return nil
	}
	names, err := fs.Glob(ownAssets, "assets/*")
	if err != nil {
		return nil, fmt.Errorf("list assets: %w", err)
	}
	for _, name := range names {
		if err := add(ownAssets, name); err != nil {
			return nil, err
		}
	}
	if err := add(lib, chartLibrary); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	a.base = assetsAt + hex.EncodeToString(hash.Sum(nil)[:8]) + "/"
	a.notices, err = readNotices(lib, a.hasCharts())
	return a, err
}

// hasCharts reports whether the chart library was there at build time.
func (a *assets) hasCharts() bool { _, ok := a.files[chartLibrary]; return ok }

// address returns where a file is served.
func (a *assets) address(name string) string { return a.base + name }

// serve answers for one file. What comes under another hash is gone.
func (a *assets) serve(w http.ResponseWriter, r *http.Request, hash, name string) (found bool, err error) {
	file, ok := a.files[name]
	if !ok || assetsAt+hash+"/" != a.base {
		return false, nil
	}
	h := w.Header()
	h.Set("Content-Type", file.contentType)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Vary", "Accept-Encoding")
	body := file.plain
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = file.gzipped
	}
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if r.Method == http.MethodHead {
		return true, nil
	}
	if _, err := w.Write(body); err != nil {
		return true, fmt.Errorf("write asset: %w", err)
	}
	return true, nil
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
