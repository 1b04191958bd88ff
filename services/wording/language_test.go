package wording

import (
	"testing"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/texts"
)

// TestInLanguage: standard tasks in German, those of the firm as it calls them.
func TestInLanguage(t *testing.T) {
	catalogue, err := texts.Load()
	if err != nil {
		t.Fatal(err)
	}
	before := reports.NamesOf(&events.Settings{Tasks: []events.FirmTask{{Task: "sand", Name: "Denibbing"},
		{Task: "paper-strip", Name: "Strip paper"}}}, nil)
	names, err := InLanguage(before, catalogue.For("de-AT"))
	if err != nil {
		t.Fatal(err)
	}
	for task, name := range map[string]string{"fill": "Spachteln", "mask-edge": "Kanten abkleben", "sand": "Denibbing",
		"paper-strip": "Strip paper"} {
		if names.Tasks[task] != name {
			t.Errorf("%s is %q", task, names.Tasks[task])
		}
	}
	if before.Tasks["fill"] != "Fill" {
		t.Error("the names that were given have changed")
	}
}
