package reporting

import (
	"cmp"
	"fmt"
	"maps"
	"net/url"
	"slices"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/facts"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/quoting"
)

// Rows of an empty form, and those beyond what is filled in.
const (
	roomRows, workRows = 3, 8
	spareRows          = 2
)

// quotePageBody is the form of a take-off and, where it is filled in, its price.
type quotePageBody struct {
	Grades, JobTypes, Rules []choice
	Surfaces, Methods       []string
	Rooms                   []roomRow
	Works                   []workRow
	ForJob                  string   // the job it was asked for
	ID                      string   // of the estimate that the form will issue
	Jobs                    []choice // that it can be issued on
	Wrong                   string   // what is wrong with the form; empty where nothing is
	Foreign                 bool     // and is said in English on a page that is not
	Report                  *reportView
	Hidden                  []link // the form again, to issue it
	CSV                     string // address of the form as a table
	File                    quoteFile
}

type roomRow struct {
	Name, Length, Width, Height        string
	Doors, DoorWidth, DoorHeight       string
	Windows, WindowWidth, WindowHeight string
}

type workRow struct {
	Tasks                            []choice
	Of                               []choice
	Surface, Method, Coats, Quantity string
}

// showQuote shows the form, and prices it where it holds work.
func (s *site) showQuote(v visit) (page, error) {
	w, err := s.teller(v, v.Firm)
	if err != nil {
		return page{}, err
	}
	return s.quotePage(v, w, quoteFile{})
}

// quotePage shows the form with what is there of it. file is what there is to say of the
// table that it was filled in from; it is looked over before it is priced.
func (s *site) quotePage(v visit, w teller, file quoteFile) (page, error) {
	body, title := w.quoteForm(v.Values), w.Say("nav.quote")
	body.File, body.CSV = file, takeOffOut+"?"+v.Values.Encode()
	shown := page{Name: quotePage, Title: title, Texts: w.Texts,
		Crumbs: []link{{Text: w.Say("nav.jobs"), Address: "/"}, {Text: title}}}
	if file.Said == "" && slices.ContainsFunc(v.Values[quoting.FieldTask], func(task string) bool { return task != "" }) {
		r, err := s.quote(v, w.Names)
		switch {
		case events.CodeOf(err) == events.Invalid:
			body.Wrong, body.Foreign = httpd.Problem(err).Explain(w.Speaker)
		case err != nil:
			return page{}, err
		default:
			view := s.newReportView("quote", r, w)
			body.Report = &view
			body.Hidden = hiddenFields(v.Values)
			if body.Jobs, err = s.openJobs(v, v.Values.Get(quoting.FieldJob)); err != nil {
				return page{}, err
			}
			if body.ID, err = pages.NewID(s.deps.Clock()); err != nil {
				return page{}, err
			}
			shown.AsOf = r.Filter.AsOf
		}
	}
	shown.Body = body
	return shown, w.Err
}

// quote prices the take-off of a form at the position the store stands at.
func (s *site) quote(v visit, names reports.Names) (reports.Report, error) {
	t, err := quoting.TakeOffFrom(v.Values)
	if err != nil {
		return reports.Report{}, err
	}
	f := reports.Filter{Firm: v.Firm, AsOf: s.deps.Position(v.Firm), Today: s.today(names)}
	a, err := facts.Ask(v, s.deps.Store, reports.RatesQuestion(f))
	if err != nil {
		return reports.Report{}, fmt.Errorf("read history: %w", err)
	}
	a.Names = names
	q, err := reports.NewQuote(f, a, t)
	if err != nil {
		return reports.Report{}, err
	}
	r := q.Report(f, names, nil)
	r.Figures = nil // drawn from an address that a form has not
	return r, nil
}

// openJobs lists the jobs that are not finished, with the chosen one marked.
func (s *site) openJobs(v visit, chosen string) ([]choice, error) {
	rows, err := s.deps.Store.Jobs(v, reports.JobQuery{Firm: v.Firm, Limit: choiceMost, AsOf: s.deps.Position(v.Firm),
		States: []events.State{events.Opened, events.Estimated, events.Accepted, events.Running}})
	if err != nil {
		return nil, fmt.Errorf("list jobs: %w", err)
	}
	var jobs []choice
	for _, r := range rows {
		jobs = append(jobs, choice{Key: r.Job, Name: cmp.Or(r.Title, r.Job) + " (" + r.Job + ")", Chosen: r.Job == chosen})
	}
	return jobs, nil
}

func hiddenFields(values url.Values) []link {
	var hidden []link
	for _, name := range slices.Sorted(maps.Keys(values)) {
		for _, value := range values[name] {
			if name != quoting.FieldJob && name != quoting.FieldID {
				hidden = append(hidden, link{Text: name, Address: value})
			}
		}
	}
	return hidden
}

// quoteForm fills the form in with what was sent.
func (w teller) quoteForm(values url.Values) quotePageBody {
	names := w.Names
	b := quotePageBody{ForJob: values.Get(quoting.FieldJob), JobTypes: sortedChoices(names.JobTypes,
		values.Get(quoting.FieldJobType))}
	rule := ""
	if names.Settings != nil {
		rule = names.Settings.MeasuredBy
		grade := cmp.Or(values.Get(quoting.FieldGrade), usualGrade(names.Settings))
		for _, g := range names.Settings.Grades {
			b.Grades = append(b.Grades, choice{Key: g.Grade, Name: g.Grade, Chosen: g.Grade == grade})
		}
	}
	chosen := cmp.Or(values.Get(quoting.FieldRule), rule, events.MeasureNet)
	for _, r := range []choice{{Key: events.MeasureNet, Name: w.Say("choice.measured_by.net"), Chosen: false},
		{Key: events.MeasureDIN18363, Name: w.Say("choice.measured_by.din-18363"), Chosen: false},
		{Key: events.MeasureIS1200, Name: w.Say("choice.measured_by.is-1200"), Chosen: false}} {
		r.Chosen = r.Key == chosen
		b.Rules = append(b.Rules, r)
	}
	b.Surfaces, b.Methods = usedWords(names)
	at := func(field string, i int) string {
		if all := values[field]; i < len(all) {
			return all[i]
		}
		return ""
	}
	for i := range max(roomRows, len(values[quoting.FieldRoom])+spareRows) {
		b.Rooms = append(b.Rooms, roomRow{at(quoting.FieldRoom, i), at(quoting.FieldLength, i), at(quoting.FieldWidth, i),
			at(quoting.FieldHeight, i), at(quoting.FieldDoors, i), at(quoting.FieldDoorWidth, i), at(quoting.FieldDoorHeight, i),
			at(quoting.FieldWindows, i), at(quoting.FieldWindowWidth, i), at(quoting.FieldWindowHeight, i)})
	}
	for i := range max(workRows, len(values[quoting.FieldTask])+spareRows) {
		row := workRow{Surface: at(quoting.FieldSurface, i), Method: at(quoting.FieldMethod, i),
			Coats: at(quoting.FieldCoats, i), Quantity: at(quoting.FieldQuantity, i)}
		row.Tasks = sortedChoices(names.Tasks, at(quoting.FieldTask, i))
		for _, of := range []choice{{Key: quoting.OfQuantity, Name: w.Say("quote.of.quantity"), Chosen: false},
			{Key: reports.OfWalls,
				Name: w.Say("quote.of.walls"), Chosen: false},
			{Key: reports.OfCeiling, Name: w.Say("quote.of.ceilings"), Chosen: false}, {Key: reports.OfFloor,
				Name: w.Say("quote.of.floors"), Chosen: false},
			{Key: reports.OfEdges, Name: w.Say("quote.of.edges"), Chosen: false},
			{Key: reports.OfOpenings, Name: w.Say("quote.of.openings"), Chosen: false}} {
			of.Chosen = of.Key == at(quoting.FieldOf, i)
			row.Of = append(row.Of, of)
		}
		b.Works = append(b.Works, row)
	}
	return b
}

// usualGrade returns the grade that most of the firm's people have, the first of those
// where several do; empty where nobody has one. Quotes begin with it.
func usualGrade(s *events.Settings) (usual string) {
	most, counts := 0, map[string]int{}
	for _, p := range s.People {
		counts[p.Grade]++
	}
	for _, g := range s.Grades {
		if counts[g.Grade] > most {
			usual, most = g.Grade, counts[g.Grade]
		}
	}
	return usual
}

// usedWords returns the surfaces and methods that the firm's rate book names.
func usedWords(names reports.Names) (surfaces, methods []string) {
	for _, book := range names.RateBooks {
		for _, r := range book.Rates {
			surfaces, methods = append(surfaces, r.Surface), append(methods, r.Method)
		}
	}
	tidy := func(words []string) []string {
		slices.Sort(words)
		return slices.DeleteFunc(slices.Compact(words), func(w string) bool { return w == "" })
	}
	return tidy(surfaces), tidy(methods)
}
