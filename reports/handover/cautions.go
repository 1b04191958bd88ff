package handover

import (
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
)

// deferring ends every caution: a report knows neither the place nor what was not
// recorded.
const deferring = "Defer to local codes, to licensed practice and to the safety data sheet of the product."

// caution is one general caution that applies to a job, and why.
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
	s := Section{Name: "cautions", Title: "Cautions that apply to this job"}
	t := reports.Table{Name: "cautions", Title: "Cautions", Columns: []reports.Column{
		{Key: "caution", Title: "Caution", Form: reports.FormText}, {Key: "because", Title: "Because",
			Form: reports.FormText},
		{Key: "published_by", Title: "Published by", Form: reports.FormText},
	}}
	for _, c := range slices.Concat(d.ofAge(), d.ofProducts(), d.ofWork()) {
		t.Rows = append(t.Rows, []reports.Cell{text(c.words + " " + deferring), text(c.because), text(c.body)})
	}
	s.table(t)
	if len(t.Rows) == 0 {
		s.say("No caution follows from what is recorded. " + deferring)
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
	because := fmt.Sprintf("The building is of %d.", built)
	if built == 0 {
		because = "The year of the building is not recorded."
	}
	if built < leadUK {
		body := "HSE (UK), Control of Lead at Work Regulations 2002"
		if built < leadUS {
			body = "US EPA, 40 CFR 745 (built before 1978); " + body
		}
		all = append(all, caution{"Old coats may hold lead. Take them as leaded until they are tested: leave sound coats " +
			"alone, " +
			"do not sand them dry and do not burn them off, and keep dust from children.", because, body})
	}
	if built < asbestosUK {
		all = append(all, caution{"Textured coatings and boards may hold asbestos. Ask for the survey before anybody " +
			"sands, " +
			"drills or removes them.", because, "HSE (UK), Control of Asbestos Regulations 2012"})
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
	for _, h := range []struct {
		hazard string
		words  string
		body   string
	}{
		{events.HazardIsocyanate, "The coating cures with isocyanates, which can cause asthma. Sanding, grinding or " +
			"heating it " +
			"later sets dust and fumes free: leave that to people who are equipped for it.", "HSE (UK), EH40 and COSHH"},
		{events.HazardSolvent, "The coating gives off solvent vapour until it is dry. Let air through, and keep flames, " +
			"sparks " +
			"and heaters away.", "HSE (UK), COSHH and DSEAR; US OSHA"},
		{events.HazardDryingOil, "Rags with drying oil heat up by themselves within hours. Do not leave any folded or in " +
			"a bin: " +
			"keep them in a covered metal container or in water.", "US OSHA, 29 CFR 1926.252(e); NFPA"},
	} {
		if names := holding(h.hazard); len(names) > 0 {
			all = append(all, caution{h.words, "Used here: " + some(names) + ".", h.body})
		}
	}
	return all
}

// ofWork returns the cautions that follow from what was done.
func (d *Dossier) ofWork() (all []caution) {
	if slices.ContainsFunc(of[*events.Preparation](d), func(p entry[*events.Preparation]) bool {
		return p.what.Task == "sand" && p.what.Method != "wet"
	}) {
		all = append(all, caution{"Dust of sanding is harmful to breathe. What settles later is to be wiped damp or taken " +
			"up " +
			"with a fine filter, not swept dry.", "Surfaces were rubbed down.",
			"HSE (UK), COSHH and CIS36; US OSHA, 29 CFR 1926.1153"})
	}
	covered := func(task string) bool {
		return slices.ContainsFunc(of[*events.Protection](d),
			func(p entry[*events.Protection]) bool { return p.what.Task == task })
	}
	if covered(taskSocket) {
		all = append(all, caution{"Sockets and switches were covered or masked. Do not use one whose plate is loose or " +
			"cracked: " +
			"only a competent person may open it, with the circuit dead.", "Covering of sockets or switches is recorded.",
			"HSE (UK), Electricity at Work Regulations 1989; US OSHA, 29 CFR 1910.333"})
	}
	if covered(taskLight) {
		all = append(all, caution{"Film that is left on a lamp or too near to it can catch fire. Look that every light " +
			"fitting is " +
			"free before it is switched on.", "Covering of light fittings is recorded.", "AS/NZS 3000, clearances of " +
			"recessed lamps"})
	}
	if covered(taskDetector) {
		all = append(all, caution{"A detector that is still covered does not warn. Press the test button of each.",
			"Covering of detectors is recorded.", "Common practice, no source"})
	}
	if slices.ContainsFunc(of[*events.Usage](d), func(u entry[*events.Usage]) bool { return u.what.Left }) {
		all = append(all, caution{"Nothing of what was left may go into a drain or, while it is liquid, into household " +
			"waste.",
			"Material was left with the customer.", "EU List of Waste 08 01; UK environment regulators, duty of care"})
	}
	return all
}
