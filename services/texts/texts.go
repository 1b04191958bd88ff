// Package texts holds what pages say, in a folder for each language with a file for each
// room of the house. A page asks for a text by its key, so that nothing is said twice and a
// language is added by adding a folder: see the other ones for what it needs.
//
// A text may have places for values in braces: "finished in the last {days} days".
package texts

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strconv"
	"strings"
)

//go:embed */*.json */by-english/*.json
var files embed.FS

// English is the language that is complete before any other, and is spoken where a
// reader's own is not there.
const English = "en"

// Catalogue is the texts of every language. It does not change.
type Catalogue struct {
	languages map[string]*Texts
}

// Texts is what pages say in one language.
type Texts struct {
	language string
	by       map[string]string
	english  map[string]string // by what English says
	rules    []rule            // with the patterns of the English ones
}

// Load reads every language. It fails where a file is no list of texts, or where a
// language lacks a key or has one that English has not.
func Load() (*Catalogue, error) {
	names, err := fs.Glob(files, "*/*.json")
	if err != nil {
		return nil, fmt.Errorf("list texts: %w", err)
	}
	c := &Catalogue{languages: map[string]*Texts{}}
	for _, name := range names {
		if err := c.read(name); err != nil {
			return nil, fmt.Errorf("read texts %s: %w", name, err)
		}
	}
	if err := c.readTranslations(); err != nil {
		return nil, err
	}
	rules := rulesOf(c.languages[English].by)
	for language, t := range c.languages {
		t.rules = rules
		if err := t.matches(c.languages[English]); err != nil {
			return nil, fmt.Errorf("read texts of %s: %w", language, err)
		}
	}
	return c, nil
}

// read adds the texts of one file, none of which may be there already.
func (c *Catalogue) read(name string) error {
	raw, err := files.ReadFile(name)
	if err != nil {
		return err
	}
	var by map[string]string
	if err := json.Unmarshal(raw, &by); err != nil {
		return err
	}
	language := path.Dir(name)
	t := c.languages[language]
	if t == nil {
		t = &Texts{language: language, by: map[string]string{}}
		c.languages[language] = t
	}
	for key, text := range by {
		if _, there := t.by[key]; there {
			return fmt.Errorf("text %s is in another file too", key)
		}
		t.by[key] = text
	}
	return nil
}

// matches compares the keys, and the places for values in each text.
func (t *Texts) matches(english *Texts) error {
	for key := range english.by {
		if t.by[key] == "" {
			return fmt.Errorf("there is no text %s", key)
		}
	}
	for key, text := range t.by {
		if !slices.Equal(places(text), places(english.by[key])) {
			return fmt.Errorf("text %s: its places are %v, in English %v", key, places(text), places(english.by[key]))
		}
	}
	return nil
}

// places returns the names in braces, sorted.
func places(text string) []string {
	var names []string
	for _, part := range strings.Split(text, "{")[1:] {
		name, _, _ := strings.Cut(part, "}")
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// Languages returns the languages that there are, sorted.
func (c *Catalogue) Languages() []string {
	var all []string
	for language := range c.languages {
		all = append(all, language)
	}
	slices.Sort(all)
	return all
}

// For returns the texts of a locale (BCP 47), by its language alone; the English ones
// where there are none of it.
func (c *Catalogue) For(locale string) *Texts {
	language, _, _ := strings.Cut(strings.ToLower(locale), "-")
	if t := c.languages[language]; t != nil {
		return t
	}
	return c.languages[English]
}

// Accepted returns the texts of the language that a browser prefers among those that
// there are, by its header Accept-Language (RFC 9110 section 12.5.4); the English ones
// where it prefers none of them.
func (c *Catalogue) Accepted(header string) *Texts {
	best, weight := c.languages[English], 0.0
	for part := range strings.SplitSeq(header, ",") {
		tag, parameters, _ := strings.Cut(part, ";")
		language, _, _ := strings.Cut(strings.ToLower(strings.TrimSpace(tag)), "-")
		q := 1.0
		if value, given := strings.CutPrefix(strings.TrimSpace(parameters), "q="); given {
			var err error
			if q, err = strconv.ParseFloat(value, 64); err != nil {
				q = 0
			}
		}
		if t := c.languages[language]; t != nil && q > weight {
			best, weight = t, q
		}
	}
	return best
}

// Language returns the language of the texts, as it stands in a page (BCP 47).
func (t *Texts) Language() string { return t.language }

// Of returns the texts whose keys begin so, by their keys, with the places for values
// in them, for scripts to say.
func (t *Texts) Of(beginning string) map[string]string {
	found := map[string]string{}
	for key, text := range t.by {
		if strings.HasPrefix(key, beginning) {
			found[key] = text
		}
	}
	return found
}

// Has reports whether there is a text of a key.
func (t *Texts) Has(key string) bool { return t.by[key] != "" }

// Keys returns every key, sorted.
func (t *Texts) Keys() []string { return slices.Sorted(maps.Keys(t.by)) }

// Say returns the text of a key, with values put into its places, in pairs of name and
// value. It fails where there is no such text, or a place is left without a value.
func (t *Texts) Say(key string, values ...string) (string, error) {
	text := t.by[key]
	if text == "" {
		return "", fmt.Errorf("say %s in %s: there is no such text", key, t.language)
	}
	whole, open, used := text, 0, 0
	var said strings.Builder
	for {
		before, rest, found := strings.Cut(text, "{")
		said.WriteString(before)
		if !found {
			break
		}
		open++
		name, after, _ := strings.Cut(rest, "}")
		text = after
		for i := 0; i+1 < len(values); i += 2 {
			if values[i] == name {
				said.WriteString(values[i+1])
				used++
				break
			}
		}
	}
	if len(values) != 2*open || used != open {
		return "", fmt.Errorf("say %s in %s: %d values for the places %v", key, t.language, len(values)/2, places(whole))
	}
	return said.String(), nil
}

// Speaker says many texts and keeps the first error for the end. The zero value is of
// no use.
type Speaker struct {
	*Texts
	Err error // why the first text that could not be said could not; nil where all could
}

// Say returns the text of a key, and the empty text where there is none.
func (s *Speaker) Say(key string, values ...string) string {
	text, err := s.Texts.Say(key, values...)
	if s.Err == nil {
		s.Err = err
	}
	return text
}
