// Command schema writes the JSON Schema of every event type from the Go structs
// of the events package, so that the two cannot drift apart. Run it from the
// root of the module:
//
//	go run ./scripts/schema          writes events/schema/<type>.json
//	go run ./scripts/schema -check   names each file that differs, and exits with 1
package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
)

func main() {
	check := flag.Bool("check", false, "write nothing; exit with 1 if a file differs from what would be written")
	dir := flag.String("events", "events", "folder of the events package")
	flag.Parse()
	if err := run(*dir, *check); err != nil {
		fmt.Fprintln(os.Stderr, "schema:", err)
		os.Exit(1)
	}
}

// run writes the schemas beside the events package in dir, or checks them.
func run(dir string, check bool) error {
	files, err := generate(dir)
	if err != nil {
		return err
	}
	out := filepath.Join(dir, "schema")
	if check {
		return differences(out, files)
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return fmt.Errorf("make schema folder: %w", err)
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(out, name), content, 0o644); err != nil {
			return fmt.Errorf("write schema: %w", err)
		}
	}
	return nil
}

// differences returns one error for each file in dir that is missing, stale, or
// not generated; nil if the folder is what the structs say.
func differences(dir string, files map[string][]byte) error {
	var found []error
	for _, name := range slices.Sorted(maps.Keys(files)) {
		committed, err := os.ReadFile(filepath.Join(dir, name))
		switch {
		case errors.Is(err, fs.ErrNotExist):
			found = append(found, fmt.Errorf("%s is missing", name))
		case err != nil:
			found = append(found, fmt.Errorf("read schema: %w", err))
		case !bytes.Equal(committed, files[name]):
			found = append(found, fmt.Errorf("%s differs from the Go structs", name))
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		found = append(found, fmt.Errorf("list schemas: %w", err))
	}
	for _, entry := range entries {
		if _, known := files[entry.Name()]; !known {
			found = append(found, fmt.Errorf("%s belongs to no event type", entry.Name()))
		}
	}
	return errors.Join(found...)
}
