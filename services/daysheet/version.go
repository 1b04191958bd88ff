package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
)

// VersionCmd prints what was built.
type VersionCmd struct {
	JSON bool `help:"Print it as JSON."`
}

// Build says what this program was built from.
type Build struct {
	Version  string `json:"version"`
	Revision string `json:"revision,omitempty"`
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

// build reads what the Go tool stamped into the program.
func build() Build {
	b := Build{Version: "devel", Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		b.Version = v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			b.Revision = s.Value
		}
	}
	return b
}

// Run prints the version.
func (c *VersionCmd) Run() error { return c.print(os.Stdout) }

func (c *VersionCmd) print(w io.Writer) error {
	b := build()
	if c.JSON {
		return json.NewEncoder(w).Encode(b)
	}
	_, err := fmt.Fprintf(w, "daysheet %s (%s, %s)\n", b.Version, b.Go, b.Platform)
	return err
}
