package crew

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"slices"

	"daysheet/services/photos"
)

// Where things are served.
const (
	shellAt  = "/crew"
	workerAt = "/crew/sw.js"
	phonesAt = "/crew/pair"
	filesAt  = "/assets/crew/"
)

const (
	pageType   = "text/html; charset=utf-8"
	scriptType = "text/javascript; charset=utf-8"
)

//go:embed assets templates
var embedded embed.FS

// workerFile is served by itself, outside of the folder of the other files.
const workerFile = "sw.js"

// file is a file that pages refer to.
type file struct {
	contentType string
	content     []byte
}

// files are the files of the pages under one hash: a phone has all of a version or
// none of it.
type files struct {
	hash   string
	byName map[string]file
	shell  []byte
	worker []byte
}

// shrinkFile makes photos small. It belongs to the photos, whose page in the office uses
// it too.
const shrinkFile = "shrink.js"

// readFiles reads what is in the folders assets and templates, and what is shared.
func readFiles(from fs.FS) (*files, error) {
	f := &files{byName: map[string]file{}}
	names, err := fs.Glob(from, "*/*")
	if err != nil {
		return nil, fmt.Errorf("list files: %w", err)
	}
	slices.Sort(names)
	shrink, err := photos.ShrinkScript()
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", shrinkFile, err)
	}
	f.byName[shrinkFile] = file{typeOf(shrinkFile), shrink}
	sum := sha256.New()
	fmt.Fprintf(sum, "%s %d\n%s", shrinkFile, len(shrink), shrink)
	for _, name := range names {
		raw, err := fs.ReadFile(from, name)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		fmt.Fprintf(sum, "%s %d\n%s", name, len(raw), raw) // a hash never fails to write
		if path.Dir(name) == "assets" {
			f.byName[path.Base(name)] = file{typeOf(name), raw}
		}
	}
	f.hash = hex.EncodeToString(sum.Sum(nil)[:8])
	page, err := template.ParseFS(from, "templates/shell.html")
	if err != nil {
		return nil, fmt.Errorf("read page: %w", err)
	}
	var shell bytes.Buffer
	if err := page.Execute(&shell, struct{ Base string }{f.base()}); err != nil {
		return nil, fmt.Errorf("render page: %w", err)
	}
	f.shell = shell.Bytes()
	return f, f.makeWorker()
}

// makeWorker puts before the worker's script what it has to keep.
func (f *files) makeWorker() error {
	script, ok := f.byName[workerFile]
	if !ok {
		return fmt.Errorf("there is no %s", workerFile)
	}
	delete(f.byName, workerFile)
	var addresses []string
	for name := range f.byName {
		addresses = append(addresses, f.base()+name)
	}
	slices.Sort(addresses)
	list, err := json.Marshal(addresses)
	if err != nil {
		return fmt.Errorf("write list of files: %w", err)
	}
	f.worker = fmt.Appendf(nil, "const version = %q;\nconst files = %s;\n%s", f.hash, list, script.content)
	return nil
}

func (f *files) base() string { return filesAt + f.hash + "/" }

// typeOf does not ask the system's table of types, which differs between machines.
func typeOf(name string) string {
	switch path.Ext(name) {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return scriptType
	case ".svg":
		return "image/svg+xml"
	case ".webmanifest":
		return "application/manifest+json"
	}
	return "application/octet-stream"
}
