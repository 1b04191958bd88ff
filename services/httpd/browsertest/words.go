package browsertest

import (
	"io"
	"slices"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/net/html"
)

// Words returns everything in a page that is read or read out.
func Words(t *testing.T, page string) []string {
	t.Helper()
	var found []string
	keep := func(s string) {
		if s = strings.TrimSpace(s); strings.ContainsFunc(s, unicode.IsLetter) {
			found = append(found, s)
		}
	}
	page = strings.NewReplacer("<noscript>", "", "</noscript>", "").Replace(page) // what is in it is markup, too
	z := html.NewTokenizer(strings.NewReader(page))
	for {
		switch z.Next() {
		case html.ErrorToken:
			if z.Err() != io.EOF {
				t.Fatal(z.Err())
			}
			return found
		case html.TextToken:
			keep(string(z.Text()))
		case html.StartTagToken, html.SelfClosingTagToken:
			token := z.Token()
			for _, a := range token.Attr {
				if slices.Contains([]string{"aria-label", "alt", "title", "placeholder", "data-say", "data-all"}, a.Key) {
					keep(a.Val)
				}
			}
		}
	}
}
