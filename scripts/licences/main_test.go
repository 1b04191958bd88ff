package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestGather reads the terms of what the program is really built from.
func TestGather(t *testing.T) {
	notices, err := gather("../..")
	if err != nil {
		t.Fatal(err)
	}
	terms := regexp.MustCompile(`(?i)licen[cs]e|copyright|permission`)
	of := map[string]string{}
	for _, n := range notices {
		if !terms.MatchString(n.Text) {
			t.Errorf("%v has no terms: %.80q", n.Of, n.Text)
		}
		for _, name := range n.Of {
			if !strings.Contains(name, " (") {
				of[strings.Fields(name)[0]] = n.Text
			}
		}
	}
	// Which licence each has is what its own site says; from memory.
	for module, says := range map[string]string{
		"github.com/nats-io/nats-server/v2": "Apache License", "github.com/gin-gonic/gin": "MIT",
		"github.com/duckdb/duckdb-go/v2": "Permission is hereby granted", "golang.org/x/time": "Redistribution and use",
		"Go": "Redistribution and use", "github.com/prometheus/client_golang": "Apache",
	} {
		if !strings.Contains(of[module], says) {
			t.Errorf("%s: %.200q lacks %q", module, of[module], says)
		}
	}
	for _, testsOnly := range []string{"github.com/chromedp/chromedp", "github.com/santhosh-tekuri/jsonschema/v6"} {
		if of[testsOnly] != "" {
			t.Errorf("%s is listed, and is no part of the program", testsOnly)
		}
	}
}

// TestEveryModuleIsListed counts modules in another way: what the go command
// records for a build of the program.
func TestEveryModuleIsListed(t *testing.T) {
	notices, err := gather("../..")
	if err != nil {
		t.Fatal(err)
	}
	listed := map[string]bool{}
	for _, n := range notices {
		for _, name := range n.Of {
			name, _, _ = strings.Cut(name, " (")
			listed[name] = true
		}
	}
	info, err := ask("../..", "list", "-f", "{{join .Deps \"\\n\"}}", program)
	if err != nil {
		t.Fatal(err)
	}
	modules, err := ask("../..", "list", "-m", "-f", "{{.Path}} {{.Version}}", "all")
	if err != nil {
		t.Fatal(err)
	}
	compiled := 0
	for module := range strings.Lines(modules) {
		module = strings.TrimSpace(module)
		path := strings.Fields(module)[0]
		used := regexp.MustCompile(`(?m)^`+regexp.QuoteMeta(path)+`(/.*)?$`).FindAllString(info, -1)
		if path == "daysheet" || len(used) == 0 || !ownsOne(modules, path, used) {
			continue
		}
		if compiled++; !listed[module] {
			t.Errorf("%s is compiled in and not listed", module)
		}
	}
	if compiled < 30 {
		t.Errorf("only %d modules found", compiled)
	}
}

// ownsOne reports whether a package is of the module and not of another one whose
// path is longer.
func ownsOne(modules, path string, packages []string) bool {
	for _, p := range packages {
		longest := ""
		for module := range strings.Lines(modules) {
			name := strings.Fields(module)[0]
			if (p == name || strings.HasPrefix(p, name+"/")) && len(name) > len(longest) {
				longest = name
			}
		}
		if longest == path {
			return true
		}
	}
	return false
}

func TestPartsHaveTermsOfTheirOwn(t *testing.T) {
	module := t.TempDir()
	inner := filepath.Join(module, "deep", "inner")
	if err := os.MkdirAll(inner, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"LICENSE", "NOTICE", "deep/COPYING.txt", "deep/inner/licence.md", "licenses.go", "README"} {
		if err := os.WriteFile(filepath.Join(module, name), []byte("terms of "+name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	texts := map[string][]string{}
	for _, file := range filesFor(module, inner) {
		if err := add(texts, "example 1", module, file); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), "licences.json")
	if err := write(path, sorted(texts)); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var read []notice
	if err := json.Unmarshal(raw, &read); err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, n := range read {
		names = append(names, n.Of...)
	}
	want := "example 1, example 1 (NOTICE), example 1 (deep/COPYING.txt), example 1 (deep/inner/licence.md)"
	if got := strings.Join(names, ", "); got != want {
		t.Errorf("found %s; want %s", got, want)
	}
}
