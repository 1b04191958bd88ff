package office

import (
	"cmp"
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// optionGroup is entries of a list to choose from, under a heading where it has one.
type optionGroup struct {
	Label   string
	Options []pages.Choice
}

// proposals are words that fields propose without asking for one of them.
type proposals struct {
	ID    string
	Words []pages.Choice
}

// listID returns the id of the proposals of a source; empty where it has none.
func listID(s source) string {
	switch s {
	case ofSurfaces, ofMethods, ofPlaces, ofCustomers:
		return "list-" + string(s)
	}
	return ""
}

// proposalsOf lists the surfaces and methods that the firm's rate books name, and the
// customers where a form asks for one.
func (d *desk) proposalsOf(v pages.Visit, e *entry) ([]proposals, error) {
	words := map[source]map[string]string{ofSurfaces: {}, ofMethods: {}, ofPlaces: {}}
	for _, book := range e.names.RateBooks {
		for _, r := range book.Rates {
			words[ofSurfaces][r.Surface], words[ofMethods][r.Method] = "", ""
		}
	}
	for _, method := range []string{"brush", "roller", "spray"} {
		words[ofMethods][method] = choiceName(e.filled.say, "methods", method)
	}
	for _, place := range []string{"store", "van-1", "van-2"} {
		words[ofPlaces][place] = choiceName(e.filled.say, "places", place)
	}
	if d.deps.Customers != nil && slices.ContainsFunc(e.form.fields,
		func(f field) bool { return f.source == ofCustomers }) {
		customers, err := d.deps.Customers(v, v.Firm)
		if err != nil {
			return nil, fmt.Errorf("list customers: %w", err)
		}
		words[ofCustomers] = customers
	}
	var all []proposals
	for _, s := range []source{ofSurfaces, ofMethods, ofPlaces, ofCustomers} {
		delete(words[s], "")
		if len(words[s]) > 0 {
			all = append(all, proposals{listID(s), named(words[s])})
		}
	}
	return all, nil
}

// optionsOf returns what a field can be, with the chosen one marked. What was chosen
// before and is in no list any more is kept.
func (s *shown) optionsOf(d field, chosen string) []optionGroup {
	names, h := s.names, s.history
	var groups []optionGroup
	switch {
	case d.enum != nil:
		groups = ungrouped(enumOptions(s.say, d))
	case d.source == ofTasks:
		groups = taskOptions(s.say, names)
	case d.source == ofUnits:
		groups = ungrouped(unitOptions(s.say))
	case d.source == ofFamilies:
		for _, f := range events.Families() {
			groups = ungrouped(append(flat(groups), pages.Choice{Key: string(f), Name: s.say.Say("family." + string(f))}))
		}
	case d.source == ofProducts:
		groups = ungrouped(named(names.Products))
	case d.source == ofPeople:
		groups = ungrouped(named(names.People))
	case d.source == ofJobTypes:
		groups = ungrouped(named(names.JobTypes))
	case d.source == ofGrades && names.Settings != nil:
		var grades []pages.Choice
		for _, g := range names.Settings.Grades {
			grades = append(grades, pages.Choice{Key: g.Grade, Name: wording.PlainKey(g.Grade)})
		}
		groups = ungrouped(grades)
	case d.source == ofRecords && h != nil:
		groups = ungrouped(recordOptions(d, wording.NewWords(names, s.say), h))
	}
	return mark(groups, chosen)
}

func ungrouped(options []pages.Choice) []optionGroup {
	if len(options) == 0 {
		return nil
	}
	return []optionGroup{{Options: options}}
}

func flat(groups []optionGroup) []pages.Choice {
	var all []pages.Choice
	for _, g := range groups {
		all = append(all, g.Options...)
	}
	return all
}

func mark(groups []optionGroup, chosen string) []optionGroup {
	found := chosen == ""
	for _, g := range groups {
		for i := range g.Options {
			g.Options[i].Chosen = g.Options[i].Key == chosen
			found = found || g.Options[i].Chosen
		}
	}
	if !found {
		kept := pages.Choice{Key: chosen, Name: chosen, Chosen: true}
		groups = append(groups, optionGroup{Options: []pages.Choice{kept}})
	}
	return groups
}

// named lists keys with their names in the order of the names.
func named(names map[string]string) []pages.Choice {
	var all []pages.Choice
	for key, name := range names {
		all = append(all, pages.Choice{Key: key, Name: cmp.Or(name, key)})
	}
	slices.SortFunc(all, func(a, b pages.Choice) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Key, b.Key))
	})
	return all
}

func enumOptions(say *texts.Speaker, d field) []pages.Choice {
	var all []pages.Choice
	for _, key := range d.enum {
		all = append(all, pages.Choice{Key: key, Name: choiceName(say, d.name, key)})
	}
	return all
}

func unitOptions(say *texts.Speaker) []pages.Choice {
	var all []pages.Choice
	for _, u := range events.Units() {
		name := wording.Format{}.UnitSign(u)
		if key := "unit." + string(u); say.Has(key) {
			name = say.Say(key)
		}
		all = append(all, pages.Choice{Key: string(u), Name: name})
	}
	return all
}

// taskOptions groups tasks by their family, in the order in which a job meets them.
func taskOptions(say *texts.Speaker, names reports.Names) []optionGroup {
	tasks := events.StandardTasks()
	if names.Settings != nil {
		for _, t := range names.Settings.Tasks {
			tasks = append(tasks, events.Task(t))
		}
	}
	var groups []optionGroup
	for _, f := range events.Families() {
		g := optionGroup{Label: say.Say("family." + string(f))}
		for _, t := range tasks {
			if t.Family == f {
				g.Options = append(g.Options, pages.Choice{Key: t.Task, Name: cmp.Or(names.Tasks[t.Task], t.Name)})
			}
		}
		if g.Options != nil {
			groups = append(groups, g)
		}
	}
	return groups
}

// recordOptions lists the records that a field can refer to, the newest first.
func recordOptions(d field, w wording.Words, h *wording.History) []pages.Choice {
	var records []*wording.Record
	switch d.name {
	case "laid":
		for _, down := range h.Down {
			records = append(records, down.Record)
		}
	case "damage":
		records = h.Damage
	case "snag":
		records = h.Snags
	case "estimate":
		records = live(h, func(t events.Type) bool { return t == events.EstimateIssued })
	default:
		records = live(h, func(t events.Type) bool { return t != events.EventVoided })
	}
	var all []pages.Choice
	for _, r := range slices.Backward(records) {
		all = append(all, pages.Choice{Key: r.Event.ID, Name: w.Day(r.Day()) + ": " + w.Says(h, r)})
	}
	return all
}

// live returns the records of some types that were not taken back.
func live(h *wording.History, of func(events.Type) bool) []*wording.Record {
	var found []*wording.Record
	for _, r := range h.Records {
		if r.VoidedBy == "" && of(r.Event.Type) {
			found = append(found, r)
		}
	}
	return found
}

// lacking says what has to be there before anything can be chosen, and where it is
// recorded.
func lacking(say *texts.Speaker, d field) pages.Link {
	switch d.source {
	case ofProducts:
		return pages.Link{Text: say.Say("lacking.products"), Address: pages.RecordPath(events.ProductListed)}
	case ofPeople:
		return pages.Link{Text: say.Say("lacking.people"), Address: settingsPath + "/people"}
	case ofGrades:
		return pages.Link{Text: say.Say("lacking.grades"), Address: settingsPath + "/grades"}
	case ofJobTypes:
		return pages.Link{Text: say.Say("lacking.job-types"), Address: settingsPath + "/job-types"}
	case ofRecords:
		switch d.name {
		case "laid":
			return pages.Link{Text: say.Say("lacking.laid")}
		case "damage":
			return pages.Link{Text: say.Say("lacking.damage")}
		case "snag":
			return pages.Link{Text: say.Say("lacking.snag")}
		case "estimate":
			return pages.Link{Text: say.Say("lacking.estimate")}
		}
		return pages.Link{Text: say.Say("lacking.record")}
	}
	return pages.Link{}
}
