package crew

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"maps"
	"path"
	"slices"

	"daysheet/services/photos"
	"daysheet/services/texts"
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

// files are the files of the pages in one language under one hash: a phone has all of a
// version or none of it.
type files struct {
	hash   string
	byName map[string]file
	shell  []byte
	worker []byte
}

// shrinkFile makes photos small. It belongs to the photos, whose page in the office uses
// it too.
const shrinkFile = "shrink.js"

// What is made for each language: the texts that scripts say, and what a phone shows of
// pages that are put on its home screen.
const (
	textsFile    = "texts.js"
	manifestFile = "manifest.webmanifest"
)

// readFiles reads what is in the folders assets and templates, and what is shared, and
// makes the rest of it in the language of t.
func readFiles(from fs.FS, t *texts.Texts) (*files, error) {
	f := &files{byName: map[string]file{}}
	names, err := fs.Glob(from, "assets/*")
	if err != nil {
		return nil, fmt.Errorf("list files: %w", err)
	}
	for _, name := range names {
		raw, err := fs.ReadFile(from, name)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		f.add(path.Base(name), raw)
	}
	shrink, err := photos.ShrinkScript()
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", shrinkFile, err)
	}
	f.add(shrinkFile, shrink)
	said := t.Of("crew.")
	maps.Copy(said, t.Of("unit."))
	list, err := json.Marshal(said)
	if err != nil {
		return nil, fmt.Errorf("write texts: %w", err)
	}
	f.add(textsFile, fmt.Appendf(nil, "export const texts = %s;\n", list))
	return f, f.render(from, t)
}

func (f *files) add(name string, content []byte) { f.byName[name] = file{typeOf(name), content} }

// render makes what stands in templates, and the worker. The hash is of all that goes
// into them.
func (f *files) render(from fs.FS, t *texts.Texts) error {
	quoted := func(key string) (template.HTML, error) {
		text, err := t.Say(key)
		raw, failure := json.Marshal(text)
		return template.HTML(raw), errors.Join(err, failure) // as it stands: the file is no HTML
	}
	page, err := template.New("").Funcs(template.FuncMap{"t": t.Say, "quoted": quoted}).
		ParseFS(from, "templates/shell.html", "templates/"+manifestFile)
	if err != nil {
		return fmt.Errorf("read page: %w", err)
	}
	make := func(name, base string) ([]byte, error) {
		var made bytes.Buffer
		err := page.ExecuteTemplate(&made, name, struct{ Base, Language string }{base, t.Language()})
		if err != nil {
			return nil, fmt.Errorf("render %s: %w", name, err)
		}
		return made.Bytes(), nil
	}
	manifest, err := make(manifestFile, "")
	if err != nil {
		return err
	}
	f.add(manifestFile, manifest)
	shell, err := make("shell.html", "")
	if err != nil {
		return err
	}
	sum := sha256.New()
	fmt.Fprintf(sum, "%d\n%s", len(shell), shell) // a hash never fails to write
	for _, name := range slices.Sorted(maps.Keys(f.byName)) {
		content := f.byName[name].content
		fmt.Fprintf(sum, "%s %d\n%s", name, len(content), content)
	}
	f.hash = hex.EncodeToString(sum.Sum(nil)[:8])
	if f.shell, err = make("shell.html", f.base()); err != nil {
		return err
	}
	return f.makeWorker()
}

// makeWorker puts before the worker's script what it has to keep.
func (f *files) makeWorker() error {
	script, ok := f.byName[workerFile]
	if !ok {
		return fmt.Errorf("there is no %s", workerFile)
	}
	delete(f.byName, workerFile)
	var addresses []string
	for _, name := range slices.Sorted(maps.Keys(f.byName)) {
		addresses = append(addresses, f.base()+name)
	}
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
