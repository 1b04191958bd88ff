package texts

import (
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/reports/coating"
	"daysheet/services/intake/history"
)

func mustLoad(t *testing.T) *Catalogue {
	t.Helper()
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestLanguages: English and one more, each with the same keys and places, which Load
// has checked; and no text that is the same in both, but for names.
func TestLanguages(t *testing.T) {
	c := mustLoad(t)
	if got := c.Languages(); !slices.Equal(got, []string{"de", "en"}) {
		t.Errorf("languages %v", got)
	}
	english, alike := c.For(English), []string{"Name", "Matt", "Token"} // words that are spelled the same
	for key, text := range c.For("de-AT").by {
		if len(c.For("de").by) != len(english.by) || text == english.by[key] && !slices.Contains(alike, text) {
			t.Errorf("%s is %q in both", key, text)
		}
	}
	for locale, language := range map[string]string{"de": "de", "de-AT": "de", "DE-ch": "de", "en-IE": "en", "": "en", "fr": "en", "deu": "en"} {
		if got := c.For(locale).Language(); got != language {
			t.Errorf("%q is answered in %s, not %s", locale, got, language)
		}
	}
}

// TestAccepted: the language that weighs most among those that there are; the first of
// several of the same weight.
func TestAccepted(t *testing.T) {
	c := mustLoad(t)
	for header, language := range map[string]string{"": "en", "de": "de", "de-AT,de;q=0.9,en;q=0.8": "de", "en-GB,de;q=0.9": "en",
		"fr,de;q=0.5,en;q=0.4": "de", "en;q=0.1, DE;q=0.7": "de", "de;q=0": "en", "de;q=x": "en", "*": "en", "de;q=,;;": "en"} {
		if got := c.Accepted(header).Language(); got != language {
			t.Errorf("%q is answered in %s, not %s", header, got, language)
		}
	}
}

func TestSay(t *testing.T) {
	de := mustLoad(t).For("de")
	if got, err := de.Say("board.finished-lately", "days", "90"); err != nil || got != "Fertig in den letzten 90 Tagen" {
		t.Errorf("%q, %v", got, err)
	}
	for _, values := range [][]string{{"board.nowhere"}, {"board.finished-lately"}, {"board.finished-lately", "days"},
		{"nav.jobs", "n", "1"}} {
		if got, err := de.Say(values[0], values[1:]...); err == nil {
			t.Errorf("%v: %q", values, got)
		}
	}
	s := Speaker{Texts: de}
	if s.Say("nav.jobs") != "Aufträge" || s.Err != nil || s.Say("nav.nowhere") != "" || s.Say("nav.jobs") != "Aufträge" || s.Err == nil {
		t.Errorf("the speaker ends with %v", s.Err)
	}
}

// TestMatches: what a language must not leave out or add.
func TestMatches(t *testing.T) {
	english := &Texts{language: English, by: map[string]string{"a": "one", "b": "in {days} days, {n} times"}}
	for _, c := range []struct {
		by   map[string]string
		says string
	}{
		{map[string]string{"a": "eins"}, "no text b"}, {map[string]string{"a": "", "b": "{n} {days}"}, "no text a"},
		{map[string]string{"a": "eins", "b": "{n} mal"}, "text b"}, {map[string]string{"a": "{n}", "b": "{n} {days}"}, "text a"},
		{map[string]string{"a": "eins", "b": "{n} {days}", "c": "{more}"}, "text c"},
	} {
		if err := (&Texts{language: "xx", by: c.by}).matches(english); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v", c.by, err)
		}
	}
	if err := (&Texts{language: "xx", by: map[string]string{"a": "eins", "b": "{n} mal in {days}"}}).matches(english); err != nil {
		t.Error(err)
	}
}

// TestEveryTextIsSaid looks for each key in the program, its templates and its scripts,
// and for the keys that are put together from names, which must all be there.
func TestEveryTextIsSaid(t *testing.T) {
	by := mustLoad(t).For(English).by
	said := map[string]bool{}
	for _, state := range events.States() {
		said["state."+string(state)] = true
	}
	for _, task := range events.StandardTasks() {
		if key := "task." + task.Task; by[key] != task.Name {
			t.Errorf("%s is %q, the task is called %q", key, by[key], task.Name)
		} else {
			said[key] = true
		}
	}
	for _, key := range []coating.Key{coating.AirTooCold, coating.AirTooHot, coating.SurfaceTooCold, coating.SurfaceTooHot,
		coating.AirTooHumid, coating.SurfaceNearDewPoint, coating.RecoatTooSoon, coating.FilmTooThin, coating.FilmTooThick,
		coating.CoverageTooSmall, coating.CoverageTooGreat} {
		said["warning."+string(key)] = true
	}
	for _, sheen := range events.Sheens() {
		said["sheen."+sheen] = true
	}
	for _, unit := range events.Units() {
		said["unit."+string(unit)] = by["unit."+string(unit)] != "" // the others have signs
	}
	for beginning, keys := range wordsOf() {
		for _, key := range keys {
			said[beginning+key] = true
		}
	}
	for _, d := range reports.Definitions() {
		for key, text := range map[string]string{"report." + d.Name: d.Title, "report." + d.Name + ".about": d.About,
			"report-group." + d.Group: d.Group} {
			if said[key] = true; by[key] != text {
				t.Errorf("%s is %q, the report says %q", key, by[key], text)
			}
		}
	}
	for key, is := range said {
		if is && by[key] == "" {
			t.Errorf("there is no text %s", key)
		}
	}
	out, err := exec.Command("git", "ls-files", "--cached", "--others", "--exclude-standard", "--",
		"../*.go", "../../events/*.go", "../../reports/*.go", "../*.html", "../*.js", "../*.webmanifest").Output()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range events.Families() {
		names = append(names, "family."+string(f))
	}
	for _, scope := range []string{"read", "record", "admin"} {
		names = append(names, "tokens.may."+scope)
	}
	for _, member := range []string{"What", "Role", "Purpose"} { // of a change of access
		f, _ := reflect.TypeFor[events.AccessChange]().FieldByName(member)
		for key := range strings.SplitSeq(f.Tag.Get("enum"), ",") {
			name := "access." + strings.ToLower(member) + "." + key
			if names = append(names, name); by[name] == "" {
				t.Errorf("there is no text %s", name)
			}
		}
	}
	var sources strings.Builder
	for _, name := range strings.Fields(string(out)) {
		if raw, err := os.ReadFile(filepath.FromSlash(name)); err == nil && !strings.HasSuffix(name, "_test.go") {
			sources.Write(raw)
		}
	}
	joined := regexp.MustCompile(`"\s*\+\s*"`).ReplaceAllString(sources.String(), "")
	for key := range by {
		switch prefix, _, _ := strings.Cut(key, "."); prefix {
		case "form", "field", "choice", "column", "problem": // package office looks for them
			said[key] = true
		case "tokens", "family", "access":
			said[key] = said[key] || slices.Contains(names, key)
		case "rule":
			said[key] = true
			ofRules(t, by[key], joined)
		}
		if !said[key] && !strings.Contains(sources.String(), `"`+key+`"`) && !strings.Contains(sources.String(), `'`+key+`'`) {
			t.Errorf("nobody says %s", key)
		}
	}
	for _, found := range regexp.MustCompile(`\bsay\('([a-z-]+\.[a-z0-9.-]+)'`).FindAllStringSubmatch(sources.String(), -1) {
		if by[found[1]] == "" { // a script says it only when it runs
			t.Errorf("there is no text %s", found[1])
		}
	}
}

// ofRules looks for the longest part of a rule in the sources of the rooms that say it.
func ofRules(t *testing.T, rule, sources string) {
	t.Helper()
	longest := ""
	for _, part := range regexp.MustCompile(`\{[a-z]+\}`).Split(rule, -1) {
		if len(part) > len(longest) {
			longest = part
		}
	}
	if !strings.Contains(sources, longest) {
		t.Errorf("nobody says %q of the rule %q", longest, rule)
	}
}

// TestRule: what the ledger says in English is said in another language, with its values.
func TestRule(t *testing.T) {
	c := mustLoad(t)
	de := c.For("de")
	for english, german := range map[string]string{
		"it must be given":             "das muss angegeben werden",
		"at most 3 decimals":           "höchstens 3 Nachkommastellen",
		"a whole number from 1 to 500": "eine ganze Zahl von 1 bis 500",
		"use one of m2, m, each":       "eines von m2, m, each",
	} {
		if got, ok := de.Rule(english); !ok || got != german {
			t.Errorf("%q is said as %q", english, got)
		}
		if got, ok := c.For("en").Rule(english); !ok || got != english {
			t.Errorf("%q is said as %q in English", english, got)
		}
	}
	if got, ok := de.Rule("nobody has thought of this"); ok || got != "nobody has thought of this" {
		t.Errorf("what is not known is said as %q", got)
	}
}

// wordsOf returns the fixed keys that have a word each, by what the key of the text
// begins with.
func wordsOf() map[string][]string {
	words := map[string][]string{"cause.": {"ours", "others", "before", "unknown"}, "raised-by.": {"customer", "firm"},
		"sign.":       {"hour", "pack", "roll", "sheet"},
		"signs.":      {"pack", "roll", "sheet"},
		"explain.as-": {"json", "csv"}, "side.": {string(reports.SideEstimate), string(reports.SideVariation), string(reports.SideActual)}}
	for _, kind := range []reports.Kind{reports.KindLabour, reports.KindQuantity, reports.KindMaterial, reports.KindOverhead,
		reports.KindDamage, reports.KindPrice, reports.KindPurchase, reports.KindMove, reports.KindCount, reports.KindDown,
		reports.KindMark} {
		words["kind."] = append(words["kind."], string(kind))
	}
	for _, table := range history.Tables() {
		words["import."] = append(words["import."], string(table), string(table)+".about")
	}
	words["import."] = append(words["import."], "past-jobs", "past-jobs.about") // the sheet
	for _, d := range reports.Dimensions() {
		words["dimension."] = append(words["dimension."], string(d))
	}
	return words
}
