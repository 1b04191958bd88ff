package texts

import (
	"regexp"
	"slices"
	"strings"
)

// rulePrefix begins the keys of the rules by which the ledger refuses something. It says
// them in English; a page says them in its own language, see [Texts.Rule].
const rulePrefix = "rule."

// rule is a sentence with places, as it can be found again.
type rule struct {
	key     string
	pattern *regexp.Regexp
	places  []string
	fixed   int // letters outside of places: of two that fit, the one with more says more
}

var placeInPattern = regexp.MustCompile(`\\\{([a-z]+)\\\}`)

// rulesOf returns the rules among English texts.
func rulesOf(by map[string]string) []rule {
	var all []rule
	for key, text := range by {
		if !strings.HasPrefix(key, rulePrefix) {
			continue
		}
		quoted := regexp.QuoteMeta(text)
		r := rule{key: key, pattern: regexp.MustCompile("^" + placeInPattern.ReplaceAllString(quoted, "(.+)") + "$"),
			fixed: len(placeInPattern.ReplaceAllString(quoted, ""))}
		for _, found := range placeInPattern.FindAllStringSubmatch(quoted, -1) {
			r.places = append(r.places, found[1])
		}
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b rule) int { return b.fixed - a.fixed })
	return all
}

// Rule says a rule, which is given in English as the ledger says it. ok is false where
// the language has no text for it: then it stays in English.
func (t *Texts) Rule(english string) (said string, ok bool) {
	if t.language == English {
		return english, true
	}
	for _, r := range t.rules {
		found := r.pattern.FindStringSubmatch(english)
		if found == nil {
			continue
		}
		var values []string
		for i, name := range r.places {
			values = append(values, name, found[i+1])
		}
		said, err := t.Say(r.key, values...)
		return said, err == nil
	}
	return english, false
}
