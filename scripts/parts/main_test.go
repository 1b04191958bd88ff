package main

import (
	"os"
	"slices"
	"testing"
)

// TestPartsOfThisTest reads the program of this test, which is built of what it says itself.
func TestPartsOfThisTest(t *testing.T) {
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	b, err := read(program)
	if err != nil || b.Metadata.Component.Name != "daysheet" || b.Spec != "1.6" {
		t.Fatalf("%+v, %v", b, err)
	}
	if !slices.ContainsFunc(b.Components, func(p part) bool {
		return p.Name == "std" && p.PURL == "pkg:golang/std@"+p.Version && p.Version[0] == '1'
	}) {
		t.Errorf("no standard library among %v", b.Components)
	}
	if _, err := read("main.go"); err == nil {
		t.Error("a file that is no program has parts")
	}
}
