// Command parts lists what a program of Go was built of, as the program itself says it, in
// the form of CycloneDX 1.6 (ECMA-424), with the addresses of packages of package-url:
//
//	go run ./scripts/parts bin/daysheet >daysheet.cdx.json
package main

import (
	"cmp"
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"log"
	"os"
)

// bill is the list. It holds no time and no random number, so that the same program has
// the same list.
type bill struct {
	Format     string `json:"bomFormat"`
	Spec       string `json:"specVersion"`
	Version    int    `json:"version"`
	Metadata   about  `json:"metadata"`
	Components []part `json:"components"`
}

type about struct {
	Component part `json:"component"`
}

type part struct {
	Type    string `json:"type"`
	Ref     string `json:"bom-ref"`
	Name    string `json:"name"`
	Version string `json:"version,omitempty"`
	PURL    string `json:"purl,omitempty"`
}

func main() {
	log.SetFlags(0)
	log.SetPrefix("parts: ")
	if len(os.Args) != 2 {
		log.Fatal("name the program")
	}
	b, err := read(os.Args[1])
	if err != nil {
		log.Fatal(err)
	}
	out := json.NewEncoder(os.Stdout)
	out.SetIndent("", " ")
	if err := out.Encode(b); err != nil {
		log.Fatal(err)
	}
}

// read lists the parts of the program at path: Go's standard library and every module.
func read(path string) (bill, error) {
	info, err := buildinfo.ReadFile(path)
	if err != nil {
		return bill{}, fmt.Errorf("read what the program was built of: %w", err)
	}
	b := bill{Format: "CycloneDX", Spec: "1.6", Version: 1, Metadata: about{part{Type: "application",
		Ref: info.Main.Path, Name: info.Main.Path, Version: info.Main.Version}}}
	b.Components = append(b.Components, library("std", info.GoVersion[len("go"):]))
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		b.Components = append(b.Components, library(m.Path, cmp.Or(m.Version, "unknown")))
	}
	return b, nil
}

func library(path, version string) part {
	at := "pkg:golang/" + path + "@" + version
	return part{Type: "library", Ref: at, Name: path, Version: version, PURL: at}
}
