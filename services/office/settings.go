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
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/pages"
	"daysheet/services/texts"
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
		{slug: "firm", members: []string{"name", "currency", "time_zone", "locale", "vat_basis_points", "measured_by"}},
		{slug: "job-types", members: []string{"job_types"}},
		{slug: "people", members: []string{"people"}},
		{slug: "grades", members: []string{"grades"}},
		{slug: "tasks", members: []string{"tasks"}},
		{slug: "overhead", members: []string{"overhead"}},
		{slug: "pricing", members: []string{"pricing"}},
		{slug: "warranty", members: []string{"warranty"}},
		{slug: firstSection, members: []string{"name", "currency", "time_zone", "locale", "job_types", "grades"}},
	}
	for i := range all {
		s := &all[i]
		s.kind, s.path = events.FirmSettingsChanged, settingsPath+"/"+s.slug
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
	Reports              []pages.Link // what the firm has learnt of it
}

// showSettings lists the parts of the settings.
func (d *desk) showSettings(v pages.Visit) (pages.Page, error) {
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	if names.Settings == nil {
		return pages.Page{Leads: settingsPath + "/" + firstSection}, nil
	}
	var lines []settingsLine
	for _, s := range newSections() {
		if s.slug != firstSection {
			lines = append(lines, settingsLine{s.title(say), s.path,
				says(say, s.slug, names.Settings, wording.NewWords(names, say)), d.learnt(v, say, s.slug, s.title(say))})
		}
	}
	body := settingsBody{Lines: lines}
	if body.Backup, err = d.backup(say, names); err != nil {
		return pages.Page{}, err
	}
	title := say.Say("settings.title")
	return spoken(say, pages.Page{Name: "office-settings.html", Title: title, Crumbs: crumbs(say, pages.Link{Text: title}),
		Body: body})
}

// settingsBody is what the page of the settings shows.
type settingsBody struct {
	Lines  []settingsLine
	Backup []string // how backups of the ledger went; none where that is not known
}

// backup tells how backups of the ledger went.
func (d *desk) backup(say *texts.Speaker, names reports.Names) (told []string, err error) {
	if d.deps.Backups == nil {
		return nil, nil
	}
	last, failed, err := d.deps.Backups()
	if err != nil {
		return nil, err
	}
	f := wording.NewFormat(names)
	moment := func(at time.Time) string {
		local := names.Local(at)
		return f.Day(events.DayOf(local)) + ", " + local.Format("15:04")
	}
	if last.IsZero() {
		told = append(told, say.Say("settings.backup-none"))
	} else {
		told = append(told, say.Say("settings.backup-last", "moment", moment(last)))
	}
	if !failed.IsZero() {
		told = append(told, say.Say("settings.backup-failed", "moment", moment(failed)))
	}
	return told, nil
}

// learnt leads from a part of the settings to its list as CSV, out and in, and to the reports
// of it where this process has them.
func (d *desk) learnt(v pages.Visit, say *texts.Speaker, slug, title string) []pages.Link {
	of := map[string][]string{
		"people": {"hours-by-person"}, "grades": {"hours-by-person"}, "job-types": {"job-types", "job-spread"},
		"tasks": {"estimate-vs-actual"},
	}
	var found []pages.Link
	if of[slug] != nil {
		found = append(found, pages.Link{Text: say.Say("import.as-csv", "table", title), Address: exportPath + slug + ".csv"},
			pages.Link{Text: say.Say("import.from-csv", "table", title), Address: importPath + "?" + encode("table", slug)})
	}
	for _, name := range of[slug] {
		if address := "/reports/" + name; d.deps.Frame.Serves(address) {
			found = append(found, pages.Link{Text: say.Say("settings.report", "name", say.Say("report."+name)),
				Address: address})
		}
	}
	return found
}

// says tells a part of the settings in one line.
func says(say *texts.Speaker, slug string, s *events.Settings, w wording.Words) string {
	var all []string
	switch slug {
	case "firm":
		all = append(all, s.Name, s.Currency, s.TimeZone, say.Say("settings.tax", "share", w.Share(s.VATBasisPoints)))
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
			all = append(all, say.Say("settings.per-hour", "sum", w.Sum(o.PerHourE4)),
				say.Say("settings.of-labour", "share", w.Share(o.LabourBasisPoints)),
				say.Say("settings.of-material", "share", w.Share(o.MaterialBasisPoints)))
		}
	case "pricing":
		if p := s.Pricing; p != nil {
			key := "settings.mark-up"
			if p.Method == events.PricingMargin {
				key = "settings.margin"
			}
			all = append(all, say.Say(key, "share", w.Share(p.BasisPoints)))
			for _, a := range p.AddOns {
				all = append(all, a.Name+" "+w.Share(a.BasisPoints))
			}
		}
	case "warranty":
		all = append(all, s.Warranty)
	}
	if strings.Join(all, "") == "" {
		return say.Say("settings.nothing")
	}
	return strings.Join(all, "; ") // names have commas of their own
}

// settingsEntry reads what the form of a part stands on: the settings in force.
func (d *desk) settingsEntry(v pages.Visit, s *section) (*entry, error) {
	names, say, err := d.names(v)
	if err != nil {
		return nil, err
	}
	h, err := d.history(v, events.FirmJob)
	if err != nil {
		return nil, err
	}
	return &entry{form: &s.form, job: events.FirmJob, names: names, history: h, id: v.Values.Get(controlID),
		filled: newFilled(v.Values, names, say)}, nil
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
	p.Body, p.Crumbs = body, crumbs(e.filled.say,
		pages.Link{Text: e.filled.say.Say("settings.title"), Address: settingsPath}, pages.Link{Text: p.Title})
	return spoken(e.filled.say, p)
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
		e.filled.whole = e.filled.say.Say("settings.changed")
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
		e.filled.whole = e.filled.say.Say("office.unavailable")
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
			e.filled.refuse("grades", e.filled.say.Say("settings.grade-in-use", "name", p.Name, "grade", p.Grade))
		}
	}
}
