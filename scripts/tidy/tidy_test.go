package tidy

import (
	"bufio"
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// root is the top of the work tree, seen from this package.
const root = "../.."

// tracked lists the files of the tree that git knows or would take.
func tracked(t *testing.T, patterns ...string) []string {
	t.Helper()
	args := append([]string{"ls-files", "--cached", "--others", "--exclude-standard", "--"}, patterns...)
	cmd := exec.Command("git", args...)
	cmd.Dir = root
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("list files: %v", err)
	}
	files := strings.Fields(string(out))
	files = slices.DeleteFunc(files, func(f string) bool {
		_, err := os.Stat(filepath.Join(root, f))
		return err != nil // deleted, not yet committed
	})
	if len(files) == 0 {
		t.Fatalf("no files match %v", patterns)
	}
	return files
}

func read(t *testing.T, file string) []byte {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(root, file))
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func TestTopLevelHoldsOnlyTheGivenNames(t *testing.T) {
	given := []string{"services", "events", "reports", "deploy", "scripts", "go.mod", "go.sum",
		"README.md", "DEVELOPERS.md", "Taskfile.yml", "LICENSE"}
	for _, f := range tracked(t, ".") {
		top := strings.Split(f, "/")[0]
		if !slices.Contains(given, top) && !strings.HasPrefix(top, ".") {
			t.Errorf("%s: the top level holds only %v and dot files", f, given)
		}
	}
}

// TestPureRooms keeps technology out of the two rooms that must be provable by
// reading.
func TestPureRooms(t *testing.T) {
	for _, room := range []struct {
		pattern string
		allowed []string // beside the standard library
	}{
		{"events/*.go", nil},
		{"reports/*.go", []string{"daysheet/events", "daysheet/reports", "gonum.org/v1/gonum/"}},
	} {
		for _, f := range tracked(t, room.pattern) {
			if strings.HasSuffix(f, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, f), nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			for _, spec := range file.Imports {
				name := strings.Trim(spec.Path.Value, `"`)
				standard := !strings.Contains(strings.Split(name, "/")[0], ".") && !strings.HasPrefix(name, "daysheet/")
				ok := standard && !slices.Contains([]string{"os", "net", "net/http", "io/fs", "math/rand"}, name)
				for _, allowed := range room.allowed {
					ok = ok || strings.HasPrefix(name, allowed)
				}
				if !ok {
					t.Errorf("%s imports %s: this room does no input or output and knows no technology", f, name)
				}
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if sel, ok := n.(*ast.SelectorExpr); ok {
					if pkg, ok := sel.X.(*ast.Ident); ok && pkg.Name == "time" && (sel.Sel.Name == "Now" || sel.Sel.Name == "Since") {
						t.Errorf("%s reads the clock: in this room the time is an argument", f)
					}
				}
				return true
			})
		}
	}
}

func TestSizes(t *testing.T) {
	const fileMax, functionMax, lineMax = 400, 70, 120
	for _, f := range tracked(t, "*.go") {
		raw := read(t, f)
		if n := bytes.Count(raw, []byte("\n")); n > fileMax && !strings.HasSuffix(f, "_test.go") {
			t.Errorf("%s has %d lines, more than %d: it has more than one job", f, n, fileMax)
		}
		lines := bufio.NewScanner(bytes.NewReader(raw))
		lines.Buffer(nil, 1<<20)
		for n := 1; lines.Scan(); n++ {
			text := lines.Text()
			structTag := strings.Contains(text, "`json:") || strings.Contains(text, "help:\"") || strings.Contains(text, "doc:\"")
			if len([]rune(text)) > lineMax && !structTag && !strings.HasSuffix(f, "_test.go") {
				t.Errorf("%s:%d is longer than %d columns", f, n, lineMax)
			}
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, f, raw, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, decl := range file.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			if !ok || strings.HasSuffix(f, "_test.go") {
				continue
			}
			if n := set.Position(fn.End()).Line - set.Position(fn.Pos()).Line + 1; n > functionMax {
				t.Errorf("%s: %s has %d lines, more than %d", f, fn.Name.Name, n, functionMax)
			}
		}
	}
}

// TestExportedThingsAreDocumented covers the packages that others import.
func TestExportedThingsAreDocumented(t *testing.T) {
	for _, f := range tracked(t, "events/*.go", "reports/*.go", "services/*.go") {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, f), nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		for _, decl := range file.Decls {
			switch d := decl.(type) {
			case *ast.FuncDecl:
				if d.Name.IsExported() && d.Doc == nil && receiverExported(d) {
					t.Errorf("%s: %s has no comment", f, d.Name.Name)
				}
			case *ast.GenDecl:
				for _, spec := range d.Specs {
					if s, ok := spec.(*ast.TypeSpec); ok && s.Name.IsExported() && d.Doc == nil && s.Doc == nil {
						t.Errorf("%s: %s has no comment", f, s.Name.Name)
					}
				}
			}
		}
	}
}

func receiverExported(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	exported := false
	ast.Inspect(d.Recv.List[0].Type, func(n ast.Node) bool {
		if id, ok := n.(*ast.Ident); ok {
			exported = exported || id.IsExported()
		}
		return true
	})
	return exported
}

// TestNothingIsLeftLying looks for marks of unfinished work and for rooms that
// have no job.
func TestNothingIsLeftLying(t *testing.T) {
	unfinished := []string{"TO" + "DO", "FIX" + "ME", "XX" + "X", "HA" + "CK"}
	for _, f := range tracked(t, "*.go", "*.js", "*.html", "*.css", "*.md", "*.yml") {
		for i, line := range strings.Split(string(read(t, f)), "\n") {
			for _, mark := range unfinished {
				for _, word := range strings.FieldsFunc(line, func(r rune) bool { return !('A' <= r && r <= 'Z' || 'a' <= r && r <= 'z') }) {
					if word == mark {
						t.Errorf("%s:%d holds %s: finish it or file it", f, i+1, mark)
					}
				}
			}
		}
		for _, room := range strings.Split(path.Dir(f), "/") {
			if slices.Contains([]string{"util", "utils", "common", "models", "helpers", "pkg", "misc"}, room) {
				t.Errorf("%s: a folder named %s has no job", f, room)
			}
		}
	}
}

// TestNoTestSkips: a missing server is a failure, not a skip.
func TestNoTestSkips(t *testing.T) {
	for _, f := range tracked(t, "*_test.go") {
		raw := string(read(t, f))
		for _, call := range []string{"t.Ski" + "p(", "t.Ski" + "pf(", "t.Ski" + "pNow(", "b.Ski" + "p("} {
			if strings.Contains(raw, call) {
				t.Errorf("%s skips: let it fail and say what is missing", f)
			}
		}
	}
}
