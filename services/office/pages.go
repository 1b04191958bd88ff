package office

import (
	"cmp"
	"fmt"
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/wording"
)

// formBody is the page of a form.
type formBody struct {
	About, Action, Button string
	Hidden                []pages.Fact
	Lists                 []proposals
	Controls, More        []control
	MoreOpen              bool
	Again                 bool
	Back                  pages.Link
	Whole                 string       // what is wrong with no field in particular
	Wrong                 []pages.Link // to the fields with problems
}

// keyField is the control for the key of a job that is opened.
func keyField() field {
	return field{name: controlKey, label: "Job number or short name", kind: kindKey,
		help: "Short and for ever, it stands in addresses; left empty, it is made of what the job is"}
}

func (d *desk) formPage(v pages.Visit, e *entry) (pages.Page, error) {
	s := &shown{filled: e.filled, history: e.history}
	lists, err := d.proposalsOf(v, e)
	if err != nil {
		return pages.Page{}, err
	}
	body := formBody{About: e.form.about, Action: e.form.path, Button: e.form.button, Again: e.form.again,
		Whole: e.filled.whole, Lists: lists, Hidden: []pages.Fact{{Text: controlID, Value: e.id}}}
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
	p := pages.Page{Name: "office-form.html", Title: e.form.title, Crumbs: crumbs(pages.Link{Text: e.form.title})}
	if e.title != "" {
		p.Crumbs = []pages.Link{{Text: "Jobs", Address: "/"}, {Text: e.title, Address: "/jobs/" + e.job},
			{Text: e.form.title}}
		body.Back = pages.Link{Text: "Back to the job", Address: "/jobs/" + e.job}
	}
	if e.form.kind == events.JobOpened && !e.opens {
		p.Title, body.Button = "Change what the job is", "Record the change"
		body.About = "The job keeps its key and its records. What is said here holds from now on."
		p.Crumbs[len(p.Crumbs)-1].Text = p.Title
	}
	p.Body = body
	return p, nil
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
	body := chooseBody{About: f.about, Action: f.path}
	for _, g := range []struct {
		label  string
		states []events.State
	}{
		{"Running", []events.State{events.Running}},
		{"Not started", []events.State{events.Opened, events.Estimated, events.Accepted}},
		{"Finished", []events.State{events.SignedOff, events.Closed}},
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
	return pages.Page{Name: "office-choose.html", Title: f.title, Crumbs: crumbs(pages.Link{Text: f.title}),
		Body: body}, nil
}

// deskGroup is links that are listed together.
type deskGroup struct {
	Title string
	Links []pages.Link
}

// showIndex lists everything that can be done at the desk.
func (d *desk) showIndex(v pages.Visit) (pages.Page, error) {
	var groups []deskGroup
	for _, title := range []string{groupJob, groupSite, groupFound, groupStock, groupFirm} {
		g := deskGroup{Title: title}
		for i := range d.forms {
			if f := &d.forms[i]; f.group == title {
				g.Links = append(g.Links, pages.Link{Text: f.title, Address: f.path})
			}
		}
		switch title {
		case groupJob:
			g.Links = slices.Insert(g.Links, 1, pages.Link{Text: "Take off, price and issue a quote", Address: "/quotes"})
		case groupSite: // the day sheet is what most hours come by
			g.Links = append(g.Links[len(g.Links)-1:], g.Links[:len(g.Links)-1]...)
		case groupFirm:
			g.Links = append(d.firmLinks(v), g.Links...)
		}
		groups = append(groups, g)
	}
	return pages.Page{Name: "office-index.html", Title: "Office", Body: groups}, nil
}

// firmLinks leads to what the firm keeps in order beside single records.
func (d *desk) firmLinks(v pages.Visit) []pages.Link {
	links := []pages.Link{{Text: "Records of the firm", Address: "/office/firm"},
		{Text: "Settings: people, grades, job types, overhead", Address: settingsPath}, {Text: "Tables in and out (CSV)",
			Address: importPath}}
	if v.Caller.May(httpd.ScopeAdmin) {
		links = append(links, pages.Link{Text: "Tokens", Address: tokensPath})
	}
	if d.deps.Frame.Serves("/crew/pair") && v.Caller.May(httpd.ScopeAdmin) {
		links = append(links, pages.Link{Text: "Phones of the crew", Address: "/crew/pair"})
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
	names, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	h, err := d.history(v, events.FirmJob)
	if err != nil {
		return pages.Page{}, err
	}
	w := wording.NewWords(names)
	body := firmBody{Products: productTable(names, w), More: len(h.Records) > recordsMost}
	for _, r := range slices.Backward(h.Records) {
		if len(body.Records) == recordsMost {
			break
		}
		shown := firmRecord{Day: w.Day(r.Day()), What: w.Says(h, r), By: w.RecordedBy(r), Voided: r.VoidedBy != ""}
		if !shown.Voided && r.CanBeVoided() {
			shown.TakeBack = pages.RecordAt(events.EventVoided, events.FirmJob, "event", r.Event.ID)
		}
		body.Records = append(body.Records, shown)
	}
	return pages.Page{Name: "office-firm.html", Title: "Records of the firm", Crumbs: crumbs(pages.Link{Text: "Records " +
		"of the firm"}),
		Said: saidOf(w, h, v.Values.Get("recorded")), Body: body}, nil
}

func productTable(names reports.Names, w wording.Words) pages.Table {
	t := pages.Table{ID: "products", Title: "Products",
		Empty: "No product is listed yet. List what the firm buys, with its price: records of paint and tape can name it " +
			"then.",
		Columns: []pages.Column{{Title: "Product"}, {Title: "Unit"}, {Title: "Price", Measure: w.Currency, Number: true},
			{Title: "Pack", Number: true}}}
	for _, p := range named(names.Products) {
		listed := names.Listed[p.Key]
		pack := pages.Cell{Number: true, Blank: listed.PackMilli == 0, Text: w.Quantity(listed.PackMilli, listed.Unit)}
		t.Rows = append(t.Rows, pages.Row{Cells: []pages.Cell{
			{Text: p.Name, Word: p.Key, Head: true, Address: pages.RecordAt(events.ProductListed, "", "product", p.Key)},
			{Text: cmp.Or(wording.UnitSign(listed.Unit), "piece")},
			{Text: w.Money(listed.PriceE4), Number: true}, pack,
		}})
	}
	return t
}
