package typed

import (
	"strings"
	"unicode"

	"daysheet/events"
)

// unitWords are other ways to write a unit, in small letters without spaces and
// dots, in English and German.
var unitWords = map[string]events.Unit{
	"m²": events.SquareMetre, "m^2": events.SquareMetre, "sqm": events.SquareMetre, "qm": events.SquareMetre,
	"squaremetre": events.SquareMetre, "squaremetres": events.SquareMetre, "squaremeter": events.SquareMetre,
	"squaremeters": events.SquareMetre,
	"lm":           events.Metre, "rm": events.Metre, "linm": events.Metre, "metre": events.Metre, "metres": events.Metre,
	"meter": events.Metre, "meters": events.Metre, "runningmetre": events.Metre, "runningmetres": events.Metre,
	"ea": events.Each, "pc": events.Each, "pcs": events.Each, "piece": events.Each, "pieces": events.Each,
	"no": events.Each, "nr": events.Each, "stk": events.Each, "stck": events.Each, "st": events.Each, "stück": events.Each,
	"quadratmeter": events.SquareMetre, "lfm": events.Metre, "lfdm": events.Metre, "laufmeter": events.Metre,
	"h": events.Hour, "hr": events.Hour, "hrs": events.Hour, "hours": events.Hour,
	"std": events.Hour, "stunde": events.Hour, "stunden": events.Hour,
	"lt": events.Litre, "ltr": events.Litre, "ltrs": events.Litre, "litre": events.Litre, "litres": events.Litre,
	"liter": events.Litre, "liters": events.Litre,
	"kilo": events.Kilogram, "kilos": events.Kilogram, "kilogram": events.Kilogram, "kilograms": events.Kilogram,
	"rolls": events.Roll, "sheets": events.Sheet, "packs": events.Pack, "packet": events.Pack, "packets": events.Pack,
	"rolle": events.Roll, "rollen": events.Roll, "bogen": events.Sheet, "bögen": events.Sheet, "platte": events.Sheet,
	"platten": events.Sheet, "packung": events.Pack, "packungen": events.Pack, "gebinde": events.Pack,
}

// Unit returns the unit that is written as text.
func Unit(text string) (events.Unit, bool) {
	word := strings.ToLower(strings.NewReplacer(" ", "", ".", "", "\u00a0", "").Replace(text))
	if u := events.Unit(word); u.Known() {
		return u, true
	}
	u, ok := unitWords[word]
	return u, ok
}

// plainLetters writes accented letters with the letters a key may have.
var plainLetters = strings.NewReplacer(
	"ä", "ae", "ö", "oe", "ü", "ue", "ß", "ss", "æ", "ae", "ø", "o", "å", "a", "á", "a", "à", "a",
	"â", "a", "ã", "a", "é", "e", "è", "e", "ê", "e", "ë", "e", "í", "i", "ì", "i", "î", "i", "ï", "i",
	"ó", "o", "ò", "o", "ô", "o", "õ", "o", "ú", "u", "ù", "u", "û", "u", "ç", "c", "ñ", "n", "ł", "l",
	"č", "c", "š", "s", "ž", "z", "ý", "y", "ő", "o", "ű", "u", "ą", "a", "ę", "e", "ś", "s", "ź", "z",
	"ż", "z", "ć", "c", "ń", "n", "ř", "r", "ě", "e", "ů", "u",
)

// Key makes a key of a name: "J 104/b" becomes "j-104-b". It is empty where
// the name has nothing that a key may have.
func Key(name string) string {
	var b strings.Builder
	gap := false
	for _, r := range plainLetters.Replace(strings.ToLower(name)) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			if gap && b.Len() > 0 {
				b.WriteByte('-')
			}
			gap = false
			b.WriteRune(r)
			continue
		}
		gap = true
	}
	return b.String()
}

// taskWords are other ways to write a standard task, squeezed.
var taskWords = map[string]string{
	"setup": "set-up", "floorprotection": "protect-floor", "protectfloors": "protect-floor",
	"protectsockets": "protect-socket-switch", "protectlights": "protect-light-fitting",
	"maskedges": "mask-edge", "taping": "mask-edge", "masking": "mask-edge", "maskopenings": "mask-opening",
	"washing": "wash", "washdown": "wash", "sanding": "sand", "rubdown": "sand", "filling": "fill",
	"caulking": "caulk", "priming": "prime", "coating": "coat", "trim": "coat-trim", "doors": "coat-door",
	"coatdoors": "coat-door", "demask": "lift-protection", "cleaning": "clean", "snags": "snag",
	"makinggood": "make-good",
}

// Task finds a task by key or name among the standard tasks and those of
// the firm.
func Task(text string, firm []events.FirmTask) (events.Task, bool) {
	word := Squeeze(text)
	if key, ok := taskWords[word]; ok {
		return events.StandardTask(key)
	}
	for _, t := range events.StandardTasks() {
		if word == Squeeze(t.Task) || word == Squeeze(t.Name) {
			return t, true
		}
	}
	for _, t := range firm {
		if word == Squeeze(t.Task) || word == Squeeze(t.Name) {
			return events.Task(t), true
		}
	}
	return events.Task{}, false
}

// Squeeze leaves the letters and digits of a name, in small letters, so that
// names can be compared however they were typed.
func Squeeze(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
}

// formulaSigns are what a text begins with that a spreadsheet takes for a formula,
// or passes over before one.
const formulaSigns = "=+-@\t\r\n"

// isFormula reports whether a text begins with a sign, or with apostrophes before one.
func isFormula(text string) bool {
	rest := strings.TrimLeft(text, "'")
	return rest != "" && strings.IndexByte(formulaSigns, rest[0]) >= 0
}

// Harmless keeps a spreadsheet from taking a text for a formula, by an apostrophe
// before it. A text that has one there already gets a second one, so that [Bare]
// brings every text back.
func Harmless(text string) string {
	if isFormula(text) {
		return "'" + text
	}
	return text
}

// Bare takes the apostrophe of [Harmless] off again.
func Bare(text string) string {
	if rest, ok := strings.CutPrefix(text, "'"); ok && isFormula(rest) {
		return rest
	}
	return text
}
