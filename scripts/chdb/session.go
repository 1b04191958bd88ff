package main

import (
	"fmt"
	"io"
	"maps"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
)

// session is a connection to the engine, with what its last request set.
type session struct {
	engine   *engine
	folder   string // for data on their way in
	database string
	settings map[string]string
}

// notSettings are what else a request has in its URL. The answer's format is
// Native, and the protocol's version is what the greeting says.
var notSettings = []string{"query", "database", "default_format", "client_protocol_version", "query_id"}

// settingPattern is what a setting may be named.
var settingPattern = regexp.MustCompile(`^[a-z0-9_]+$`)

// enter brings the session to the database and the settings of a request, and
// those that it does not have to their defaults.
func (s *session) enter(values url.Values) error {
	if database := values.Get("database"); database != "" && database != s.database {
		if _, err := s.engine.query("USE `"+escape(database)+"`", format); err != nil {
			return err
		}
		s.database = database
	}
	wanted := map[string]string{}
	for name := range values {
		if !slices.Contains(notSettings, name) {
			wanted[name] = values.Get(name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(wanted)) {
		if now, set := s.settings[name]; set && now == wanted[name] {
			continue
		}
		if !settingPattern.MatchString(name) {
			return &exception{code: "115", text: fmt.Sprintf("Code: 115. Unknown setting %q", name)} // UNKNOWN_SETTING
		}
		if _, err := s.engine.query("SET "+name+" = '"+escape(wanted[name])+"'", format); err != nil {
			return err
		}
		s.settings[name] = wanted[name]
	}
	for _, name := range slices.Sorted(maps.Keys(s.settings)) {
		if _, stays := wanted[name]; stays {
			continue
		}
		if _, err := s.engine.query("SET "+name+" = DEFAULT", format); err != nil {
			return err
		}
		delete(s.settings, name)
	}
	return nil
}

// escape makes text fit between quotes of any kind.
func escape(text string) string {
	return strings.NewReplacer(`\`, `\\`, `'`, `\'`, "`", "\\`").Replace(text)
}

// insertPattern is an INSERT whose rows come in the body; the first group is
// what stands before their format.
var insertPattern = regexp.MustCompile(`(?is)^\s*(INSERT\s+INTO\s.*)\sFORMAT\s+Native\s*$`)

// do runs a statement and gives its answer to take. rows is what comes in with
// an INSERT.
func (s *session) do(statement string, rows io.Reader, take func([]byte) error) error {
	if insert := insertPattern.FindStringSubmatch(statement); insert != nil {
		return s.insert(insert[1], rows)
	}
	if word := strings.ToUpper(strings.TrimSpace(statement)); strings.HasPrefix(word, "SELECT") {
		return s.engine.stream(statement, format, take)
	}
	answer, err := s.engine.query(statement, format)
	if err != nil || len(answer) == 0 {
		return err
	}
	return take(answer)
}

// insert gathers the rows in a file first, so that an INSERT that does not come
// in whole changes nothing.
func (s *session) insert(into string, rows io.Reader) (err error) {
	file, err := os.CreateTemp(s.folder, "rows-*")
	if err != nil {
		return err
	}
	defer func() {
		if removed := os.Remove(file.Name()); err == nil {
			err = removed
		}
	}()
	_, err = io.Copy(file, rows)
	if closed := file.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return fmt.Errorf("take the rows in: %w", err)
	}
	_, err = s.engine.query(into+" SELECT * FROM file('"+escape(file.Name())+"', 'Native')", format)
	return err
}
