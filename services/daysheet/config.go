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
	var members map[string]json.RawMessage
	if err := json.Unmarshal(raw, &members); err != nil {
		return nil, fmt.Errorf("read configuration %s: %w", path, err)
	}
	if members == nil {
		return nil, fmt.Errorf("read configuration %s: it is null; it has to be an object", path)
	}
	values := make(map[string]string, len(members))
	for name, member := range members {
		if values[name], err = settingOf(member); err != nil {
			return nil, fmt.Errorf("read configuration %s: %s: %w", path, name, err)
		}
	}
	return &configResolver{path: path, values: values}, nil
}

// settingOf writes a member as it would stand on the command line: numbers with the
// digits that they have in the file, and lists with commas between.
func settingOf(member json.RawMessage) (string, error) {
	var list []json.RawMessage
	if member[0] != '[' {
		return wordOf(member)
	}
	if err := json.Unmarshal(member, &list); err != nil {
		return "", err
	}
	words := make([]string, len(list))
	for i, m := range list {
		var err error
		if words[i], err = wordOf(m); err != nil {
			return "", err
		}
	}
	return kong.JoinEscaped(words, ','), nil
}

func wordOf(member json.RawMessage) (word string, err error) {
	switch member[0] {
	case '"':
		err = json.Unmarshal(member, &word)
		return word, err
	case '{', '[', 'n':
		const shown = 40
		return "", fmt.Errorf("%s is no setting: use a text, a number, true or false, or a list of texts",
			strings.ToValidUTF8(string(member[:min(len(member), shown)]), ""))
	}
	return string(member), nil
}

type configResolver struct {
	path   string
	values map[string]string // by the name of the flag, as on the command line
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
	return value, nil
}
