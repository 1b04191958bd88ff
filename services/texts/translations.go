package texts

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
)

// readTranslations reads what languages say in place of what reports say in English.
func (c *Catalogue) readTranslations() error {
	names, err := fs.Glob(files, "*/by-english/*.json")
	for _, name := range names {
		if err == nil {
			err = c.readTranslation(name)
		}
	}
	if err != nil {
		return fmt.Errorf("read translations: %w", err)
	}
	return nil
}

func (c *Catalogue) readTranslation(name string) error {
	raw, err := files.ReadFile(name)
	if err != nil {
		return err
	}
	t := c.languages[path.Dir(path.Dir(name))]
	if t == nil {
		return errors.New("the language has no other texts")
	}
	if err := json.Unmarshal(raw, &t.english); err != nil {
		return err
	}
	for english, text := range t.english {
		if !slices.Equal(verbs(english), verbs(text)) {
			return fmt.Errorf("%q has other places for values in %q", english, text)
		}
	}
	return nil
}

// place finds where a format of package fmt takes a value in.
var place = regexp.MustCompile(`%[-+.0-9]*(\[[0-9]+\])?([a-z%])`)

// verbs returns how a format shows its values, sorted.
func verbs(format string) []string {
	var all []string
	for _, found := range place.FindAllStringSubmatch(format, -1) {
		all = append(all, found[2])
	}
	slices.Sort(all)
	return all
}

// Translate returns what the language says in place of what a report says in English, as a
// format of package fmt where that is one; the English where there is nothing else.
func (t *Texts) Translate(english string) string {
	return cmp.Or(t.english[english], english)
}
