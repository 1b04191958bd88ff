package texts

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// roomsThatRefuse are the packages whose refusals can come to stand on a page.
var roomsThatRefuse = []string{"events", "reports", "reports/handover", "reports/measure", "reports/rates",
	"services/access", "services/crew", "services/customers", "services/handover", "services/httpd",
	"services/intake/history", "services/office", "services/pages", "services/photos", "services/quoting",
	"services/reporting", "services/sealing", "services/signoff", "services/typed"}

// refusedToPrograms are files whose refusals only programs can earn: how a request, an event
// or a question is written. Pages write those themselves.
var refusedToPrograms = []string{"events/access.go", "events/canonical.go", "events/event.go", "events/event_json.go",
	"events/json.go", "events/payload.go", "services/intake/history/jsonlines.go", "services/httpd/requests.go",
	"reports/rates/options.go", "reports/rates/sample.go", "reports/query.go"}

// TestEveryRefusalIsSaidInEveryLanguage reads the rules by which something is refused out of
// the source, and asks each language for them. A rule that is added, or worded anew, has to
// be said there too.
func TestEveryRefusalIsSaidInEveryLanguage(t *testing.T) {
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, room := range roomsThatRefuse {
		names, err := filepath.Glob(filepath.Join("..", "..", filepath.FromSlash(room), "*.go"))
		if err != nil || len(names) == 0 {
			t.Fatalf("%s has no source: %v", room, err)
		}
		for _, name := range names {
			at := room + "/" + filepath.Base(name)
			if strings.HasSuffix(name, "_test.go") || slices.Contains(refusedToPrograms, at) {
				continue
			}
			for _, rule := range rulesIn(t, name, room == "services/typed") {
				found++
				for _, language := range c.Languages() {
					if _, ok := c.For(language).Rule(rule); !ok {
						t.Errorf("%s: in %s nobody says %q", at, language, rule)
					}
				}
			}
		}
	}
	if found < 150 {
		t.Errorf("%d rules were found: the source is written in another way than this test reads", found)
	}
}

// rulesIn returns the rules in a file, with something in the places of their values. all takes
// every sentence that is returned: the package hands rules out as texts.
func rulesIn(t *testing.T, name string, all bool) (rules []string) {
	t.Helper()
	source, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	file, err := parser.ParseFile(token.NewFileSet(), name, source, 0)
	if err != nil {
		t.Fatal(err)
	}
	known := constants(file)
	add := func(e ast.Expr) {
		if text, ok := known.sentence(e); ok && strings.Contains(text, " ") {
			rules = append(rules, text)
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			if at := known.ruleAmong(n); at >= 0 {
				add(n.Args[at])
			}
		case *ast.KeyValueExpr:
			if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Rule" {
				add(n.Value)
			}
		case *ast.AssignStmt:
			if to, ok := n.Lhs[len(n.Lhs)-1].(*ast.Ident); ok && to.Name == "rule" {
				add(n.Rhs[len(n.Rhs)-1])
			}
		case *ast.ReturnStmt:
			if all && len(n.Results) > 1 {
				add(n.Results[len(n.Results)-1])
			}
		case *ast.ValueSpec:
			if len(n.Values) == 1 && (all || strings.HasSuffix(n.Names[0].Name, "Rule")) {
				add(n.Values[0])
			}
		}
		return true
	})
	return rules
}

// ruleAmong returns which argument of a call is a rule; -1 where it is no refusal.
func (known named) ruleAmong(call *ast.CallExpr) int {
	name := ""
	switch called := call.Fun.(type) {
	case *ast.Ident:
		name = called.Name
	case *ast.SelectorExpr:
		name = called.Sel.Name
	}
	switch name {
	case "Refuse":
		return min(2, len(call.Args)-1)
	case "refuse", "refuseNamed", "missing", "cannot", "notice":
		for at := len(call.Args) - 1; at > 0; at-- { // values for its places may stand behind it
			if text, ok := known.sentence(call.Args[at]); ok && strings.Contains(text, " ") {
				return at
			}
		}
	case "NewProblem":
		return 1
	}
	return -1
}

// named is the texts that a file has names for.
type named map[string]string

func constants(file *ast.File) named {
	known := named{}
	ast.Inspect(file, func(n ast.Node) bool {
		if s, ok := n.(*ast.ValueSpec); ok && len(s.Names) == 1 && len(s.Values) == 1 {
			if text, ok := known.sentence(s.Values[0]); ok {
				known[s.Names[0].Name] = text
			}
		}
		return true
	})
	return known
}

var verb = regexp.MustCompile(`%[+#]?[a-z]`)

// sentence returns a text of the source with a word in each place for a value; ok is false
// where it is made up at run time altogether.
func (known named) sentence(e ast.Expr) (text string, ok bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		text, err := strconv.Unquote(e.Value)
		return verb.ReplaceAllString(text, "7"), err == nil && e.Kind == token.STRING
	case *ast.Ident:
		text, ok = known[e.Name]
		return text, ok
	case *ast.BinaryExpr:
		left, ok := known.sentence(e.X)
		right, also := known.sentence(e.Y)
		if !ok {
			left = "7"
		}
		if !also {
			right = "7"
		}
		return left + right, ok || also
	case *ast.CallExpr:
		if called, is := e.Fun.(*ast.SelectorExpr); is && called.Sel.Name == "Sprintf" {
			return known.sentence(e.Args[0])
		}
	}
	return "", false
}
