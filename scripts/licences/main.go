// Command licences gathers the licence texts of everything that is compiled into
// daysheet from Go: the modules and the standard library. It reads them where the
// go command keeps the modules, so that none of them stands in the tree, and
// writes one file for the page of licences to show:
//
//	go run ./scripts/licences services/reporting/web/lib/licences.json
package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// program is what is built.
const program = "./services/daysheet"

// notice is a text with everything that it holds for, in the order of the names.
// The page of licences reads it.
type notice struct {
	Of   []string `json:"of"`
	Text string   `json:"text"`
}

func main() {
	log.SetFlags(0)
	log.SetPrefix("licences: ")
	if len(os.Args) != 2 {
		log.Fatal("name the file to write")
	}
	notices, err := gather(".")
	if err == nil {
		err = write(os.Args[1], notices)
	}
	if err != nil {
		log.Fatal(err)
	}
}

// write puts the notices into a file, whole or not at all.
func write(path string, notices []notice) error {
	raw, err := json.MarshalIndent(notices, "", " ")
	if err != nil {
		return fmt.Errorf("write licences: %w", err)
	}
	part := path + ".part"
	if err := os.WriteFile(part, raw, 0o644); err != nil {
		return fmt.Errorf("write licences: %w", err)
	}
	if err := os.Rename(part, path); err != nil {
		return fmt.Errorf("write licences: %w", err)
	}
	return nil
}

// gather returns the notices of the program in the module at root. It fails where
// a module has no licence file: such a program must not be passed on unread.
func gather(root string) ([]notice, error) {
	const packages = "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Version}}\t{{.Dir}}\t{{$.Dir}}{{end}}{{end}}"
	out, err := ask(root, "list", "-deps", "-f", packages, program)
	if err != nil {
		return nil, err
	}
	texts := map[string][]string{} // names by text
	var problems []string
	found := map[string]bool{}
	for line := range strings.Lines(out) {
		fields := strings.Split(strings.TrimSpace(line), "\t")
		if len(fields) != 4 {
			continue // a package of the program itself or of the standard library
		}
		name := fields[0] + " " + fields[1]
		for _, file := range filesFor(fields[2], fields[3]) {
			found[name] = true
			if err := add(texts, name, fields[2], file); err != nil {
				return nil, err
			}
		}
		if !found[name] && !slices.Contains(problems, name) {
			problems = append(problems, name)
		}
	}
	problems = slices.DeleteFunc(problems, func(name string) bool { return found[name] })
	if len(problems) > 0 {
		return nil, fmt.Errorf("no licence file in %s", strings.Join(problems, ", "))
	}
	if err := addGo(texts, root); err != nil {
		return nil, err
	}
	return sorted(texts), nil
}

// addGo adds the licence of the standard library.
func addGo(texts map[string][]string, root string) error {
	place, err := ask(root, "env", "GOROOT", "GOVERSION")
	if err != nil {
		return err
	}
	fields := strings.Fields(place)
	if len(fields) != 2 {
		return fmt.Errorf("find the standard library: go env says %q", place)
	}
	return add(texts, "Go standard library "+fields[1], fields[0], filepath.Join(fields[0], "LICENSE"))
}

// licenceFile is what files with the terms of a module are called.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents)([.-].*)?$`)

// extra is what files beside the licence are called.
var extra = regexp.MustCompile(`(?i)^(notice|patents)`)

// filesFor lists the files with terms from the folder of a package up to that of
// its module: parts of a module can have terms of their own.
func filesFor(module, folder string) []string {
	var files []string
	for {
		entries, err := os.ReadDir(folder)
		for _, e := range entries {
			if err == nil && e.Type().IsRegular() && licenceFile.MatchString(e.Name()) && filepath.Ext(e.Name()) != ".go" {
				files = append(files, filepath.Join(folder, e.Name()))
			}
		}
		if folder == module || len(folder) <= len(module) {
			return files
		}
		folder = filepath.Dir(folder)
	}
}

// add reads a file and notes whose it is; a file other than the module's main one
// is named with it.
func add(texts map[string][]string, name, module, file string) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("read terms of %s: %w", name, err)
	}
	short, err := filepath.Rel(module, file)
	if err != nil {
		return fmt.Errorf("name terms of %s: %w", name, err)
	}
	if filepath.Dir(short) != "." || extra.MatchString(short) {
		name += " (" + filepath.ToSlash(short) + ")"
	}
	text := strings.TrimSpace(strings.ReplaceAll(string(bytes.ToValidUTF8(raw, nil)), "\r\n", "\n"))
	if !slices.Contains(texts[text], name) {
		texts[text] = append(texts[text], name)
	}
	return nil
}

// sorted puts the notices in the order of their first names.
func sorted(texts map[string][]string) []notice {
	all := make([]notice, 0, len(texts))
	for text, names := range texts {
		slices.Sort(names)
		all = append(all, notice{names, text})
	}
	slices.SortFunc(all, func(a, b notice) int {
		return cmp.Or(cmp.Compare(a.Of[0], b.Of[0]), cmp.Compare(a.Text, b.Text))
	})
	return all
}

// ask runs the go command in a folder and returns what it prints.
func ask(folder string, args ...string) (string, error) {
	cmd := exec.Command("go", args...)
	cmd.Dir = folder
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("run go %s: %w: %s", args[0], err, strings.TrimSpace(complaint.String()))
	}
	return string(out), nil
}
