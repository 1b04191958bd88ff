package office

import (
	"strings"

	"daysheet/services/texts"
)

// rareFields are shown behind "More": most records do without them.
func rareFields() []string {
	return []string{"place", "batch", "thinned_basis_points", "wet_film_um", "air_celsius_milli",
		"surface_celsius_milli", "humidity_percent_milli", "product_unit", "unit", "reused", "built", "rate_book",
		"volume_solids_basis_points", "recoat_minutes", "dry_film_um", "spreading_rate_milli", "least_celsius_milli",
		"most_celsius_milli", "most_humidity_milli", "evidence", "hazards", "cure_days", "sheen", "care"}
}

// ownKey is the key of what is said of a member of one struct only, and commonKey of what
// every member of its name is called.
func (f field) ownKey() string    { return "field." + f.owner + "." + f.name }
func (f field) commonKey() string { return "field." + f.name }

// label returns how a member is called: by struct and name, where one name means two
// things, else by its name alone.
func (f field) label(say *texts.Speaker) string {
	if key := f.ownKey(); say.Has(key) {
		return say.Say(key)
	}
	return say.Say(f.commonKey())
}

// help returns what is said about a member; nothing where its label says enough.
func (f field) help(say *texts.Speaker) string {
	const help = ".help"
	switch {
	case say.Has(f.ownKey() + help):
		return say.Say(f.ownKey() + help)
	case !say.Has(f.ownKey()) && say.Has(f.commonKey()+help):
		return say.Say(f.commonKey() + help)
	}
	return ""
}

// choiceName names an entry of a fixed list.
func choiceName(say *texts.Speaker, list, key string) string {
	return say.Say("choice." + list + "." + key)
}

// slug is how a form is known in texts: the end of its address.
func (f *form) slug() string {
	if rest, ok := strings.CutPrefix(f.path, settingsPath+"/"); ok {
		return "settings-" + rest
	}
	return f.path[strings.LastIndexByte(f.path, '/')+1:]
}

func (f *form) title(say *texts.Speaker) string { return say.Say("form." + f.slug()) }

// about says what a form is for, in one or two sentences.
func (f *form) about(say *texts.Speaker) string { return say.Say("form." + f.slug() + ".about") }

// button returns the words on the button: the form's own, else those of a record, or of a
// change of the settings.
func (f *form) button(say *texts.Speaker) string {
	switch key := "form." + f.slug() + ".button"; {
	case say.Has(key):
		return say.Say(key)
	case strings.HasPrefix(f.path, settingsPath):
		return say.Say("office.change")
	}
	return say.Say("office.record")
}
