package handover

import (
	"slices"
	"strconv"

	"daysheet/events"
	"daysheet/reports"
)

// caution is one general caution that applies to a job: the key of what it says, why it
// does, and the key of who published it.
type caution struct {
	words, because, body string
}

// Years by which the age of a building decides. Lead: US homes built before 1978
// (40 CFR 745.83); in the UK sale to the public ended in 1992 (HSE). Asbestos: UK
// buildings before 2000 (HSE, Control of Asbestos Regulations 2012).
const (
	leadUS, leadUK = 1978, 1992
	asbestosUK     = 2000
)

// cautions says what to be careful with in this job: by what was recorded, and by
// the age of the building.
func (d *Dossier) cautions() Section {
	s := Section{Name: "cautions", Title: d.says("paper.cautions-of-job")}
	t := reports.Table{Name: "cautions", Title: d.says("paper.cautions"), Columns: []reports.Column{
		d.col("caution", "paper.caution", reports.FormText), d.col("because", "paper.because", reports.FormText),
		d.col("published_by", "paper.published-by", reports.FormText),
	}}
	for _, c := range slices.Concat(d.ofAge(), d.ofProducts(), d.ofWork()) {
		t.Rows = append(t.Rows, []reports.Cell{text(d.says(c.words) + " " + d.says("caution.defer")), text(c.because),
			text(d.says(c.body))})
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.say(d.says("caution.none") + " " + d.says("caution.defer"))
	}
	return s
}

// ofAge returns the cautions that follow from the age of the building. Where it is
// not known they stay: that a building is new has to be known.
func (d *Dossier) ofAge() (all []caution) {
	var built int64
	if o, ok := last[*events.Opening](d); ok {
		built = o.what.Built
	}
	because := d.says("caution.built", "year", strconv.FormatInt(built, 10))
	if built == 0 {
		because = d.says("caution.built-unknown")
	}
	if built < leadUK {
		body := "body.lead-uk"
		if built < leadUS {
			body = "body.lead-us-uk"
		}
		all = append(all, caution{"caution.lead", because, body})
	}
	if built < asbestosUK {
		all = append(all, caution{"caution.asbestos", because, "body.asbestos"})
	}
	return all
}

// ofProducts returns the cautions that the products on the surfaces ask for.
func (d *Dossier) ofProducts() (all []caution) {
	holding := func(hazard string) (names []string) {
		for _, r := range d.records {
			key := ""
			switch p := r.payload.(type) {
			case *events.Coat:
				key = p.Product
			case *events.Usage:
				key = p.Product
			}
			if slices.Contains(d.listed[key].Hazards, hazard) {
				names = once(names, d.product(key))
			}
		}
		return names
	}
	for _, h := range []struct{ hazard, words, body string }{
		{events.HazardIsocyanate, "caution.isocyanate", "body.isocyanate"},
		{events.HazardSolvent, "caution.solvent", "body.solvent"},
		{events.HazardDryingOil, "caution.drying-oil", "body.drying-oil"},
	} {
		if names := holding(h.hazard); len(names) > 0 {
			all = append(all, caution{h.words, d.says("caution.used-here", "products", d.some(names)), h.body})
		}
	}
	return all
}

// ofWork returns the cautions that follow from what was done.
func (d *Dossier) ofWork() (all []caution) {
	if slices.ContainsFunc(of[*events.Preparation](d), func(p entry[*events.Preparation]) bool {
		return p.what.Task == "sand" && p.what.Method != "wet"
	}) {
		all = append(all, caution{"caution.dust", d.says("caution.because.sanded"), "body.dust"})
	}
	covered := func(task string) bool {
		return slices.ContainsFunc(of[*events.Protection](d),
			func(p entry[*events.Protection]) bool { return p.what.Task == task })
	}
	if covered(taskSocket) {
		all = append(all, caution{"caution.sockets", d.says("caution.because.sockets"), "body.sockets"})
	}
	if covered(taskLight) {
		all = append(all, caution{"caution.lights", d.says("caution.because.lights"), "body.lights"})
	}
	if covered(taskDetector) {
		all = append(all, caution{"caution.detectors", d.says("caution.because.detectors"), "body.common-practice"})
	}
	if slices.ContainsFunc(of[*events.Usage](d), func(u entry[*events.Usage]) bool { return u.what.Left }) {
		all = append(all, caution{"caution.left", d.says("caution.because.left"), "body.left"})
	}
	return all
}
