package office

import (
	"cmp"
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// formBody is the page of a form.
type formBody struct {
	About, Action, Button string
	Another               string // of the button that shows the form again; empty for none
	Hidden                []pages.Fact
	Lists                 []proposals
	Controls, More        []control
	MoreOpen              bool
	Back                  pages.Link
	Files                 []pages.Link // the same as a table, out and in
	Whole                 string       // what is wrong with no field in particular
	Strange               bool         // and is said in English
	Wrong                 []pages.Link // to the fields with problems
}

// keyField is the control for the key of a job that is opened.
func keyField() field {
	return field{owner: "job", name: controlKey, kind: kindKey}
}

func (d *desk) formPage(v pages.Visit, e *entry) (pages.Page, error) {
	s, say := &shown{filled: e.filled, history: e.history}, e.filled.say
	lists, err := d.proposalsOf(v, e)
	if err != nil {
		return pages.Page{}, err
	}
	body := formBody{About: e.form.about(say), Action: e.form.path, Button: e.form.button(say),
		Whole: e.filled.whole, Strange: e.filled.strange, Lists: lists, Hidden: []pages.Fact{{Text: controlID, Value: e.id}}}
	first, behind := more(e.form.fields)
	if e.opens {
		first = append(slices.Clone(first), keyField())
	} else if e.job != events.FirmJob || e.form.kind == events.EventVoided {
		body.Hidden = append(body.Hidden, pages.Fact{Text: controlJob, Value: e.job})
	}
	body.Controls = s.controls(first, "", false)
	body.More = s.controls(behind, "", false)
	body.MoreOpen = settled(body.More)
	body.Wrong = append(wrongLinks(body.Controls), wrongLinks(body.More)...)
	title := e.form.title(say)
	if e.job == events.FirmJob || e.form.again || e.opens {
		body.Files = e.form.files(say)
	}
	if e.form.again {
		body.Another = say.Say("office.another", "button", body.Button)
	}
	p := pages.Page{Name: "office-form.html", Title: title, Crumbs: crumbs(say, pages.Link{Text: title})}
	if e.title != "" {
		p.Crumbs = []pages.Link{{Text: say.Say("nav.jobs"), Address: "/"}, {Text: e.title, Address: "/jobs/" + e.job},
			{Text: title}}
		body.Back = pages.Link{Text: say.Say("office.back"), Address: "/jobs/" + e.job}
	}
	if e.form.kind == events.JobOpened && !e.opens {
		p.Title, body.Button = say.Say("office.change-job"), say.Say("office.change")
		body.About = say.Say("office.change-job.about")
		p.Crumbs[len(p.Crumbs)-1].Text = p.Title
	}
	p.Body = body
	return spoken(say, p)
}

// chooseBody asks for the job of a form.
type chooseBody struct {
	About, Action string
	Jobs          []optionGroup
	Hidden        []pages.Fact
}

// choiceMost bounds the jobs that are offered.
const choiceMost = 500

// chooseJob asks on which job something is to be recorded.
func (d *desk) chooseJob(v pages.Visit, f *form) (pages.Page, error) {
	_, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	body := chooseBody{About: f.about(say), Action: f.path}
	for _, g := range []struct {
		label  string
		states []events.State
	}{
		{say.Say("board.running"), []events.State{events.Running}},
		{say.Say("board.not-started"), []events.State{events.Opened, events.Estimated, events.Accepted}},
		{say.Say("board.finished"), []events.State{events.SignedOff, events.Closed}},
	} {
		rows, err := d.deps.Store.Jobs(v, reports.JobQuery{Firm: v.Firm, States: g.states, Limit: choiceMost,
			AsOf: d.deps.Position(v.Firm)})
		if err != nil {
			return pages.Page{}, fmt.Errorf("list jobs: %w", err)
		}
		group := optionGroup{Label: g.label}
		for _, r := range rows {
			group.Options = append(group.Options, pages.Choice{Key: r.Job, Name: cmp.Or(r.Title, r.Job) + " (" + r.Job + ")"})
		}
		if group.Options != nil {
			body.Jobs = append(body.Jobs, group)
		}
	}
	for name, values := range v.Values {
		if name != controlJob {
			body.Hidden = append(body.Hidden, pages.Fact{Text: name, Value: values[0]})
		}
	}
	title := f.title(say)
	return spoken(say, pages.Page{Name: "office-choose.html", Title: title, Crumbs: crumbs(say, pages.Link{Text: title}),
		Body: body})
}

// deskGroup is links that are listed together.
type deskGroup struct {
	Title string
	Links []pages.Link
}

// showIndex lists everything that can be done at the desk.
func (d *desk) showIndex(v pages.Visit) (pages.Page, error) {
	_, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	var groups []deskGroup
	for _, group := range []string{groupJob, groupSite, groupFound, groupStock, groupFirm} {
		g := deskGroup{Title: say.Say(group)}
		for i := range d.forms {
			if f := &d.forms[i]; f.group == group {
				g.Links = append(g.Links, pages.Link{Text: f.title(say), Address: f.path})
			}
		}
		switch group {
		case groupJob:
			g.Links = slices.Insert(g.Links, 1, pages.Link{Text: say.Say("office.quote"), Address: "/quotes"})
		case groupSite: // the day sheet is what most hours come by
			g.Links = append(g.Links[len(g.Links)-1:], g.Links[:len(g.Links)-1]...)
		case groupFirm:
			g.Links = append(d.firmLinks(v, say), g.Links...)
		}
		groups = append(groups, g)
	}
	return spoken(say, pages.Page{Name: "office-index.html", Title: say.Say("nav.office"), Body: groups})
}

// firmLinks leads to what the firm keeps in order beside single records.
func (d *desk) firmLinks(v pages.Visit, say *texts.Speaker) []pages.Link {
	links := []pages.Link{{Text: say.Say("office.firm"), Address: "/office/firm"},
		{Text: say.Say("office.settings-link"), Address: settingsPath}, {Text: say.Say("office.tables"), Address: importPath}}
	if d.deps.People != nil && v.Caller.May(httpd.ScopeAdmin) {
		links = append(links, pages.Link{Text: say.Say("people.title"), Address: peoplePath})
	}
	if v.Caller.May(httpd.ScopeAdmin) {
		links = append(links, pages.Link{Text: say.Say("office.tokens"), Address: tokensPath},
			pages.Link{Text: say.Say("access.title"), Address: "/office/access"})
	}
	if d.deps.Frame.Serves("/crew/pair") && v.Caller.May(httpd.ScopeAdmin) {
		links = append(links, pages.Link{Text: say.Say("frame.phones"), Address: "/crew/pair"})
	}
	return links
}

// firmBody is the page of the firm's own records.
type firmBody struct {
	Products pages.Table
	Records  []firmRecord
	More     bool
}

type firmRecord struct {
	Day, What, By string
	Voided        bool
	TakeBack      string // address; empty where it cannot be taken back
}

// recordsMost bounds the records on the page of the firm.
const recordsMost = 200

// showFirm lists products and what was recorded on the firm itself, newest first.
func (d *desk) showFirm(v pages.Visit) (pages.Page, error) {
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	h, err := d.history(v, events.FirmJob)
	if err != nil {
		return pages.Page{}, err
	}
	w := wording.NewWords(names, say)
	body := firmBody{Products: productTable(names, w, say), More: len(h.Records) > recordsMost}
	for _, r := range slices.Backward(h.Records) {
		if r.Event.Type == events.AccessChanged {
			continue // the owner sees it on a page of its own
		}
		if len(body.Records) == recordsMost {
			break
		}
		shown := firmRecord{Day: w.Day(r.Day()), What: w.Says(h, r), By: w.RecordedBy(r), Voided: r.VoidedBy != ""}
		if !shown.Voided && r.CanBeVoided() {
			shown.TakeBack = pages.RecordAt(events.EventVoided, events.FirmJob, "event", r.Event.ID)
		}
		body.Records = append(body.Records, shown)
	}
	title := say.Say("office.firm")
	return spoken(say, pages.Page{Name: "office-firm.html", Title: title, Crumbs: crumbs(say, pages.Link{Text: title}),
		Said: saidOf(say, w, h, v.Values.Get("recorded")), Body: body})
}

func productTable(names reports.Names, w wording.Words, say *texts.Speaker) pages.Table {
	t := pages.Table{ID: "products", Title: say.Say("firm.products"), Empty: say.Say("firm.products.empty"),
		Columns: []pages.Column{{Title: say.Say("firm.product")}, {Title: say.Say("firm.unit")},
			{Title: say.Say("firm.price"), Measure: w.Currency, Number: true}, {Title: say.Say("firm.pack"), Number: true}}}
	units := map[string]string{}
	for _, u := range unitOptions(say) {
		units[u.Key] = u.Name
	}
	for _, p := range named(names.Products) {
		listed := names.Listed[p.Key]
		pack := pages.Cell{Number: true, Blank: listed.PackMilli == 0, Text: w.Quantity(listed.PackMilli, listed.Unit)}
		t.Rows = append(t.Rows, pages.Row{Cells: []pages.Cell{
			{Text: p.Name, Word: p.Key, Head: true, Address: pages.RecordAt(events.ProductListed, "", "product", p.Key)},
			{Text: units[string(listed.Unit)]},
			{Text: w.Money(listed.PriceE4), Number: true}, pack,
		}})
	}
	return t
}
