package main

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// configFile finds the configuration file before the command line is parsed,
// since its values are needed for parsing: --config, else the environment.
func configFile(args []string) string {
	for i, a := range args {
		if value, ok := strings.CutPrefix(a, "--config="); ok {
			return value
		}
		if a == "--config" && i+1 < len(args) {
			return args[i+1]
		}
	}
	return os.Getenv("DAYSHEET_CONFIG")
}

// readConfig reads a JSON object with one member for each flag name. A member
// that is no flag is an error: a misspelt setting must not be dropped.
func readConfig(path string) (kong.Resolver, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read configuration: %w", err)
	}
	var values map[string]any
	if err := json.Unmarshal(raw, &values); err != nil {
		return nil, fmt.Errorf("read configuration %s: %w", path, err)
	}
	return &configResolver{path: path, values: values}, nil
}

type configResolver struct {
	path   string
	values map[string]any
}

// Validate refuses members that are no flag of any command.
func (c *configResolver) Validate(app *kong.Application) error {
	known := map[string]bool{}
	_ = kong.Visit(app, func(node kong.Visitable, next kong.Next) error {
		if flag, ok := node.(*kong.Flag); ok {
			known[flag.Name] = true
		}
		return next(nil)
	})
	var unknown []string
	for name := range c.values {
		if !known[name] || name == "config" || name == "help" {
			unknown = append(unknown, name)
		}
	}
	if len(unknown) > 0 {
		slices.Sort(unknown)
		return fmt.Errorf("configuration %s: %s is no setting; each member is the name of a flag (see daysheet serve --help)",
			c.path, strings.Join(unknown, ", "))
	}
	return nil
}

// Resolve answers for a flag that was not given. The environment goes before the
// file, so where one of the flag's variables is set it answers nothing.
func (c *configResolver) Resolve(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	for _, name := range flag.Envs {
		if _, set := os.LookupEnv(name); set {
			return nil, nil
		}
	}
	value, ok := c.values[flag.Name]
	if !ok {
		return nil, nil
	}
	if list, ok := value.([]any); ok {
		words := make([]string, len(list))
		for i, v := range list {
			words[i] = fmt.Sprint(v)
		}
		return strings.Join(words, ","), nil
	}
	return fmt.Sprint(value), nil
}
