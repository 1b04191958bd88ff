package office

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

// section is a part of the firm's settings that is changed on a page of its own.
type section struct {
	form
	slug    string
	members []string
}

// settingsPath is where the parts of the settings are listed.
const settingsPath = "/office/settings"

// controlBase holds a hash of the part as it was when the form was rendered, so that
// two people do not overwrite each other.
const controlBase = "base"

// firstSection is shown where a firm has no settings yet.
const firstSection = "first"

func newSections() []section {
	whole := shapeOf(reflect.TypeFor[events.Settings]())
	all := []section{
		{slug: "firm", members: []string{"name", "currency", "time_zone", "locale", "vat_basis_points", "measured_by"},
			form: form{title: "Name, currency and tax", about: "The currency cannot change what was recorded in another: " +
				"keep it."}},
		{slug: "job-types", members: []string{"job_types"}, form: form{title: "Job types",
			about: "The kinds of jobs that the firm compares with each other. Empty a row to take it off the list; jobs of " +
				"that " +
				"type keep it."}},
		{slug: "people", members: []string{"people"}, form: form{title: "People",
			about: "Who books hours. A short name is enough. Who leaves can be taken off the list; hours keep their key."}},
		{slug: "grades", members: []string{"grades"}, form: form{title: "Grades of labour",
			about: "What an hour of each grade costs the firm, not what it charges. A new cost counts for hours booked from " +
				"now on."}},
		{slug: "tasks", members: []string{"tasks"}, form: form{title: "The firm's own tasks",
			about: "Work that the standard list does not have, with the family it is counted under and its unit."}},
		{slug: "overhead", members: []string{"overhead"}, form: form{title: "Overhead",
			about: "How jobs bear what the firm costs beside its jobs: office, vans, insurance. The parts add up. Left empty, " +
				"margins are told before overhead."}},
		{slug: "pricing", members: []string{"pricing"}, form: form{title: "Pricing of quotes",
			about: "What quotes add to cost. A margin of a quarter is a mark-up of a third: say which of the two is meant."}},
		{slug: firstSection, members: []string{"name", "currency", "time_zone", "locale", "job_types", "grades"},
			form: form{title: "First settings", about: "What has to be known before anything can be recorded."}},
	}
	for i := range all {
		s := &all[i]
		s.kind, s.path, s.button = events.FirmSettingsChanged, settingsPath+"/"+s.slug, "Record the change"
		for _, d := range whole {
			if slices.Contains(s.members, d.name) {
				s.fields = append(s.fields, d)
			}
		}
	}
	return all
}

func (d *desk) mountSettings(record *gin.RouterGroup) {
	record.GET(settingsPath, d.deps.Frame.Handler(d.showSettings))
	sections := newSections()
	for i := range sections {
		s := &sections[i]
		record.GET(s.path, d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) { return d.showSection(v, s) }))
		record.POST(s.path, d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) { return d.sendSection(v, s) }))
	}
}

// settingsLine is a part of the settings with what it says now.
type settingsLine struct {
	Title, Address, Says string
}

// showSettings lists the parts of the settings.
func (d *desk) showSettings(v pages.Visit) (pages.Page, error) {
	names, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	if names.Settings == nil {
		return pages.Page{Leads: settingsPath + "/" + firstSection}, nil
	}
	var lines []settingsLine
	for _, s := range newSections() {
		if s.slug != firstSection {
			lines = append(lines, settingsLine{s.title, s.path, says(s.slug, names.Settings, wording.NewWords(names))})
		}
	}
	return pages.Page{Name: "office-settings.html", Title: "Settings", Crumbs: crumbs(pages.Link{Text: "Settings"}),
		Body: lines}, nil
}

// says tells a part of the settings in one line.
func says(slug string, s *events.Settings, w wording.Words) string {
	var all []string
	switch slug {
	case "firm":
		all = append(all, s.Name, s.Currency, s.TimeZone, "tax "+w.Share(s.VATBasisPoints))
	case "job-types":
		for _, t := range s.JobTypes {
			all = append(all, t.Name)
		}
	case "people":
		for _, p := range s.People {
			all = append(all, p.Name+" ("+p.Grade+")")
		}
	case "grades":
		for _, g := range s.Grades {
			all = append(all, g.Grade+" "+w.Sum(g.CostPerHourE4))
		}
	case "tasks":
		for _, t := range s.Tasks {
			all = append(all, t.Name)
		}
	case "overhead":
		if o := s.Overhead; o != nil {
			all = append(all, w.Sum(o.PerHourE4)+" an hour", w.Share(o.LabourBasisPoints)+" of labour",
				w.Share(o.MaterialBasisPoints)+" of material")
		}
	case "pricing":
		if p := s.Pricing; p != nil {
			all = append(all, wording.PlainKey(p.Method)+" "+w.Share(p.BasisPoints))
			for _, a := range p.AddOns {
				all = append(all, a.Name+" "+w.Share(a.BasisPoints))
			}
		}
	}
	if len(all) == 0 {
		return "Nothing yet"
	}
	return strings.Join(all, ", ")
}

// settingsEntry reads what the form of a part stands on: the settings in force.
func (d *desk) settingsEntry(v pages.Visit, s *section) (*entry, error) {
	names, err := d.names(v)
	if err != nil {
		return nil, err
	}
	h, err := d.history(v, events.FirmJob)
	if err != nil {
		return nil, err
	}
	return &entry{form: &s.form, job: events.FirmJob, names: names, history: h, id: v.Values.Get(controlID),
		filled: newFilled(v.Values, names)}, nil
}

func (d *desk) showSection(v pages.Visit, s *section) (pages.Page, error) {
	e, err := d.settingsEntry(v, s)
	if err != nil {
		return pages.Page{}, err
	}
	if e.id, err = pages.NewID(d.deps.Clock()); err != nil {
		return pages.Page{}, err
	}
	if e.names.Settings != nil {
		if err := fillIn(e.filled.values, s.fields, e.names.Settings, e.filled.format); err != nil {
			return pages.Page{}, err
		}
	}
	return s.page(d, v, e)
}

// page shows the form of a part, with the hash of what it was made from.
func (s *section) page(d *desk, v pages.Visit, e *entry) (pages.Page, error) {
	current, err := membersOf(e.names.Settings)
	if err != nil {
		return pages.Page{}, err
	}
	base, err := s.base(current)
	if err != nil {
		return pages.Page{}, err
	}
	p, err := d.formPage(v, e)
	if err != nil {
		return pages.Page{}, err
	}
	body, _ := p.Body.(formBody)
	body.Hidden = append(body.Hidden, pages.Fact{Text: controlBase, Value: base})
	p.Body, p.Crumbs = body, crumbs(pages.Link{Text: "Settings", Address: settingsPath}, pages.Link{Text: s.title})
	return p, nil
}

// membersOf writes settings as the members of their JSON; none where there are none.
func membersOf(settings *events.Settings) (map[string]json.RawMessage, error) {
	members := map[string]json.RawMessage{}
	if settings == nil {
		return members, nil
	}
	raw, err := json.Marshal(settings)
	if err == nil {
		err = json.Unmarshal(raw, &members)
	}
	if err != nil {
		return nil, fmt.Errorf("read settings: %w", err)
	}
	return members, nil
}

// base is a hash of the part as it stands.
func (s *section) base(current map[string]json.RawMessage) (string, error) {
	part := map[string]json.RawMessage{}
	for _, name := range s.members {
		if value, given := current[name]; given {
			part[name] = value
		}
	}
	raw, err := json.Marshal(part)
	if err != nil {
		return "", fmt.Errorf("write settings: %w", err)
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:8]), nil
}

// sendSection records the settings with one part changed. The rest is as it stands
// now, whoever changed it meanwhile.
func (d *desk) sendSection(v pages.Visit, s *section) (pages.Page, error) {
	e, err := d.settingsEntry(v, s)
	if err != nil {
		return pages.Page{}, err
	}
	if e.history.ByID[e.id] != nil { // sent twice
		return pages.Page{Leads: e.leadsTo()}, nil
	}
	at, err := pages.TimeOf(e.id)
	if err != nil {
		return pages.Page{}, err
	}
	current, err := membersOf(e.names.Settings)
	if err != nil {
		return pages.Page{}, err
	}
	if base, err := s.base(current); err != nil || base != e.filled.text(controlBase) {
		e.filled.whole = "Somebody changed this part of the settings since the form was opened. Open it again to see it as " +
			"it is now, or send this once more to overwrite it."
		return s.refused(d, v, e, http.StatusConflict, err)
	}
	members := e.filled.read(s.fields, "", "")
	s.checkGrades(e, members)
	merged := map[string]any{}
	for name, value := range current {
		if !slices.Contains(s.members, name) {
			merged[name] = value
		}
	}
	for name, value := range members {
		merged[name] = value
	}
	if e.filled.wrong() {
		return s.refused(d, v, e, http.StatusUnprocessableEntity, nil)
	}
	one, err := e.event(e.id, merged, at, "")
	if err != nil {
		return pages.Page{}, err
	}
	if e.filled.wrong() {
		return s.refused(d, v, e, http.StatusUnprocessableEntity, nil)
	}
	if err := d.record(v, events.FirmJob, []made{one}); err != nil {
		var refusal *events.Error
		if !errors.As(err, &refusal) || refusal.Code != events.Unavailable {
			return pages.Page{}, err
		}
		e.filled.whole = unavailable
		return s.refused(d, v, e, http.StatusServiceUnavailable, nil)
	}
	return pages.Page{Leads: e.leadsTo()}, nil
}

func (s *section) refused(d *desk, v pages.Visit, e *entry, status int, err error) (pages.Page, error) {
	if err != nil {
		return pages.Page{}, err
	}
	p, err := s.page(d, v, e)
	p.Status = status
	return p, err
}

// checkGrades keeps a grade in the list that people work at.
func (s *section) checkGrades(e *entry, members map[string]any) {
	rows, given := members["grades"].([]any)
	if !given || e.names.Settings == nil {
		return
	}
	kept := map[any]bool{}
	for _, row := range rows {
		if grade, ok := row.(map[string]any); ok {
			kept[grade["grade"]] = true
		}
	}
	for _, p := range e.names.Settings.People {
		if !kept[p.Grade] {
			e.filled.refuse("grades", p.Name+" works at the grade "+p.Grade+": give people another grade before it goes")
		}
	}
}
