package handover

import (
	"slices"
	"strings"
	"unicode"
)

// script is writing that the printer may set wrongly, and what it is called.
type script struct {
	name  string
	table *unicode.RangeTable
}

// scripts lists them: what runs from right to left, where numbers, brackets and commas
// were seen out of their order (Unicode Standard Annex 9), and what is written in
// clusters, which was not looked at. Latin, Greek, Cyrillic, Armenian, Georgian, Chinese,
// Japanese and Korean writing is set letter by letter from left to right.
func scripts() []script {
	return []script{
		{"Arabic", unicode.Arabic}, {"Hebrew", unicode.Hebrew}, {"Syriac", unicode.Syriac}, {"Thaana", unicode.Thaana},
		{"N'Ko", unicode.Nko}, {"Bengali", unicode.Bengali}, {"Devanagari", unicode.Devanagari},
		{"Gujarati", unicode.Gujarati}, {"Gurmukhi", unicode.Gurmukhi}, {"Kannada", unicode.Kannada},
		{"Khmer", unicode.Khmer}, {"Lao", unicode.Lao}, {"Malayalam", unicode.Malayalam}, {"Myanmar", unicode.Myanmar},
		{"Oriya", unicode.Oriya}, {"Sinhala", unicode.Sinhala}, {"Tamil", unicode.Tamil}, {"Telugu", unicode.Telugu},
		{"Thai", unicode.Thai}, {"Tibetan", unicode.Tibetan},
	}
}

// unsure names the writing of a page that the printer may set wrongly.
func unsure(page string) string {
	var names []string
	known := scripts()
	for _, r := range page {
		if r < unicode.MaxLatin1 {
			continue
		}
		i := slices.IndexFunc(known, func(s script) bool { return unicode.Is(s.table, r) })
		if i >= 0 && !slices.Contains(names, known[i].name) {
			names = append(names, known[i].name)
		}
	}
	return strings.Join(names, " and ")
}

// unspacedMost is how many signs without a space a cell of a table may hold in one line.
const unspacedMost = 16

// lines cuts a text where writing without spaces between words is long: the printer makes a
// cell as wide as what it takes for one word.
func lines(text string) (cut []string) {
	from, run := 0, 0
	for i, r := range text {
		switch {
		case unicode.IsSpace(r):
			run = 0
		case unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana):
			if run++; run > unspacedMost {
				cut = append(cut, text[from:i])
				from, run = i, 1
			}
		}
	}
	return append(cut, text[from:])
}
