package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
)

// structComments returns the comment of each type in the Go files of dir by its
// name, on one line.
func structComments(dir string) (map[string]string, error) {
	paths, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return nil, fmt.Errorf("list events package: %w", err)
	}
	comments := map[string]string{}
	for _, path := range paths {
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
		if err != nil {
			return nil, fmt.Errorf("read events package: %w", err)
		}
		for _, d := range file.Decls {
			declared, ok := d.(*ast.GenDecl)
			if !ok || declared.Tok != token.TYPE || len(declared.Specs) != 1 {
				continue
			}
			name := declared.Specs[0].(*ast.TypeSpec).Name.Name
			comments[name] = strings.Join(strings.Fields(plainLinks(declared.Doc.Text())), " ")
		}
	}
	return comments, nil
}

// plainLinks takes the brackets from Go's doc links: a schema has nothing to
// link to.
func plainLinks(comment string) string { return strings.NewReplacer("[", "", "]", "").Replace(comment) }
