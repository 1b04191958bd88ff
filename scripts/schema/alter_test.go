package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const absent = "(left out)"

// trials returns what is put in the place of each member.
func trials() []string {
	all := []string{absent, `null`, `true`, `[]`, `{}`, `["x"]`, `-1`, `0`, `1`, `7.0`, `7.5`, `1440`, `10001`, `1000000000`,
		`1000000001`, `1000000000001`, `-1000000000001`, `9007199254740992`, `""`, `"  "`, `"x"`, `"Upper"`, `"-x"`, `"a b"`,
		`"m2"`, `"acre"`, `"tap-0001"`, `"2026-02-28"`, `"2026-02-30"`, `"28.02.2026"`, `"a\u0000b"`, `"coat"`, `"firm"`}
	for _, n := range []int{36, 64, 65, 120, 121, 201, 2000, 2001} {
		all = append(all, strconv.Quote(strings.Repeat("a", n)))
	}
	return all
}

// members returns the path of every member of an event that is not an object,
// at any depth; of lists also the first item.
func members(t *testing.T, raw []byte) []string {
	t.Helper()
	var value any
	if err := json.Unmarshal(raw, &value); err != nil {
		t.Fatal(err)
	}
	return pathsOf(value, "")
}

func pathsOf(value any, at string) []string {
	paths := []string{at}
	switch v := value.(type) {
	case map[string]any:
		paths = nil
		for _, name := range slices.Sorted(maps.Keys(v)) {
			paths = append(paths, pathsOf(v[name], strings.TrimPrefix(at+"."+name, "."))...)
		}
		paths = append(paths, strings.TrimPrefix(at+".colour", ".")) // a member that nobody knows
	case []any:
		paths = append(paths, pathsOf(v[0], at+".0")...)
	}
	return paths
}

// alter returns the event with the member at the path replaced by the value.
func alter(t *testing.T, raw []byte, path, value string) []byte {
	t.Helper()
	altered, err := replace(raw, strings.Split(path, "."), value)
	if err != nil {
		t.Fatal(err)
	}
	return altered
}

func replace(raw []byte, path []string, value string) ([]byte, error) {
	if len(path) == 0 {
		return []byte(value), nil
	}
	if raw[0] == '[' {
		var list []json.RawMessage
		if err := json.Unmarshal(raw, &list); err != nil {
			return nil, fmt.Errorf("read list: %w", err)
		}
		if len(path) == 1 && value == absent {
			return json.Marshal(list[1:])
		}
		inner, err := replace(list[0], path[1:], value)
		if err != nil {
			return nil, err
		}
		list[0] = inner
		return json.Marshal(list)
	}
	object := map[string]json.RawMessage{}
	if err := json.Unmarshal(raw, &object); err != nil {
		return nil, fmt.Errorf("read object: %w", err)
	}
	if len(path) == 1 && value == absent {
		delete(object, path[0])
		return json.Marshal(object)
	}
	inner, err := replace(object[path[0]], path[1:], value)
	if err != nil {
		return nil, err
	}
	object[path[0]] = inner
	return json.Marshal(object)
}
