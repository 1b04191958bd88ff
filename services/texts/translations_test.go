package texts

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
)

// TestReportsAreTranslated reads the source of the reports: whatever they say has a text in
// every other language.
func TestReportsAreTranslated(t *testing.T) {
	c := mustLoad(t)
	said := saidByReports(t, "../../reports/*.go")
	if len(said) < 400 {
		t.Fatalf("only %d texts were found in the reports", len(said))
	}
	for _, language := range c.Languages() {
		if language == English {
			continue
		}
		for _, english := range said {
			if c.For(language).english[english] == "" {
				t.Errorf("%s has nothing for %q", language, english)
			}
		}
	}
}

// saidByReports returns what stands in the source where a report says something: titles,
// columns, names of series, and what is made a phrase.
func saidByReports(t *testing.T, pattern string) []string {
	t.Helper()
	names, err := filepath.Glob(pattern)
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	keep := func(e ast.Expr) {
		text, ok := literal(e)
		if words := place.ReplaceAllString(text, ""); ok && strings.ContainsFunc(words, unicode.IsLetter) {
			said = append(said, text)
		}
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") || filepath.Base(name) == "definitions.go" { // see TestEveryTextIsSaid
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			for _, e := range sayings(n) {
				keep(e)
			}
			return true
		})
	}
	slices.Sort(said)
	return slices.Compact(said)
}

// sayings returns the expressions of a node that are said to a reader.
func sayings(n ast.Node) []ast.Expr {
	switch x := n.(type) {
	case *ast.CallExpr:
		if f, ok := x.Fun.(*ast.Ident); ok && slices.Contains([]string{"phrase", "phrases", "wordCell", "counted"}, f.Name) {
			return x.Args
		}
	case *ast.KeyValueExpr:
		if key, ok := x.Key.(*ast.Ident); ok && slices.Contains([]string{"Title", "Empty", "Middle"}, key.Name) {
			return []ast.Expr{x.Value}
		}
	case *ast.CompositeLit: // of a column, or of a series
		if len(x.Elts) == 3 {
			if form, ok := x.Elts[2].(*ast.Ident); ok && strings.HasPrefix(form.Name, "Form") {
				return x.Elts[1:2]
			}
		}
		if kv, ok := firstOf(x).(*ast.KeyValueExpr); ok {
			if text, ok := literal(kv.Value); ok && text != "" && unicode.IsUpper(rune(text[0])) {
				return []ast.Expr{kv.Value}
			}
		}
	case *ast.ValueSpec:
		for _, beginning := range []string{"note", "price", "forecast", "part"} {
			if strings.HasPrefix(x.Names[0].Name, beginning) {
				return x.Values
			}
		}
	}
	return nil
}

func firstOf(x *ast.CompositeLit) ast.Expr {
	if len(x.Elts) == 0 {
		return nil
	}
	return x.Elts[0]
}

// literal returns the text of a string, or of several that are added.
func literal(e ast.Expr) (string, bool) {
	switch x := e.(type) {
	case *ast.BasicLit:
		text, err := strconv.Unquote(x.Value)
		return text, err == nil && x.Kind == token.STRING
	case *ast.BinaryExpr:
		a, first := literal(x.X)
		b, second := literal(x.Y)
		return a + b, first && second && x.Op == token.ADD
	}
	return "", false
}
