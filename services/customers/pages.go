package customers

import (
	"cmp"
	"embed"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/intake/history"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

//go:embed templates
var templates embed.FS

// pageName is the file with both pages.
const pageName = "customers.html"

// shownMost is how many customers a page lists.
const shownMost = 500

// pageBody is one of the two pages.
type pageBody struct {
	List *listPage
	One  *customerPage
}

// listPage is the list with the form for a new customer.
type listPage struct {
	Search    string
	Customers []customerRow
	Count     int
	More      int // that match and are not shown
	May       bool
	Form      formView
	Table     tablePage
	Columns   []history.Column // of the table
}

// customerRow is a line of the list.
type customerRow struct {
	Key, Name, State, Says string
}

// customerPage is the page of one customer.
type customerPage struct {
	customerBody
	LastRecorded     string   // day of the last record, as the firm writes it
	ErasedOn         string   // day
	Why              string   // nothing can be read
	Foreign          bool     // and that is said in English
	Lines            []string // of the address
	MayRecord, Admin bool
	Jobs             []pages.Link
	Form             formView
	EraseProblem     problem
	EraseReason      string
}

// formView is the form of what is known.
type formView struct {
	Action, Key, Seen             string
	Problem                       problem
	Name, Address, Contacts, Note string
	New                           bool
}

func (d *Desk) mountPages(server *httpd.Server) {
	read := server.Engine.Group("", httpd.Require(httpd.ScopeRead))
	read.GET("/customers", d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) {
		return d.listPage(v, formView{New: true, Action: "/customers"}, nil, tablePage{})
	}))
	read.GET("/customers/:customer", d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) {
		return d.customerPage(v, v.Param("customer"), nil, nil, "")
	}))
	record := read.Group("", httpd.Require(httpd.Office))
	d.mountTable(server, read, record)
	record.POST("/customers", d.form(d.addForm))
	record.POST("/customers/:customer", d.form(d.putForm))
	read.Group("", httpd.Require(httpd.ScopeAdmin)).POST("/customers/:customer/erase", d.form(d.eraseForm))
}

// form reads a form. handle returns the address to go on to, or the page that says
// what is wrong.
func (d *Desk) form(handle func(pages.Visit, httpd.Caller, url.Values) (string, pages.Page, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		caller, err := httpd.RequireCaller(c.Request.Context())
		if err == nil {
			err = httpd.ReadForm(c.Request)
		}
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		v := pages.Visit{Context: c.Request.Context(), Caller: caller, Firm: caller.Firm, Values: url.Values{},
			Param: c.Param}
		address, page, err := handle(v, caller, c.Request.PostForm)
		switch {
		case err != nil:
			httpd.Abort(c, err)
		case address != "":
			c.Redirect(http.StatusSeeOther, address)
		default:
			page.Status = http.StatusUnprocessableEntity
			d.deps.Frame.Show(c, v, page)
		}
	}
}

// problem is what is wrong with a form that was sent.
type problem struct {
	Says    string // empty where nothing is
	Foreign bool   // it is said in English on a page that is not
}

// refused reports whether what was sent is wrong, and not the ledger.
func refused(err error) bool {
	if changed := (*httpd.ProblemDetails)(nil); errors.As(err, &changed) {
		return changed.Status < http.StatusInternalServerError
	}
	refusal := (*events.Error)(nil)
	return errors.As(err, &refusal) && (refusal.Code == events.Invalid || refusal.Code == events.Conflict)
}

// problemOf says in the language of a page why something was refused.
func problemOf(say *texts.Speaker, err error) problem {
	if err == nil {
		return problem{}
	}
	english := httpd.Problem(err).Error()
	rule := english
	if refusal := (*events.Error)(nil); errors.As(err, &refusal) {
		rule = refusal.Rule
	}
	if said, ok := say.Rule(rule); ok && say.Language() != texts.English {
		return problem{Says: httpd.Sentence(said)}
	}
	return problem{httpd.Sentence(english), say.Language() != texts.English}
}

// speaker returns who says what pages say, and how the firm writes its days.
func (d *Desk) speaker(v pages.Visit) (*texts.Speaker, wording.Format, error) {
	names, err := d.deps.Names(v, v.Firm)
	if err != nil {
		return nil, wording.Format{}, fmt.Errorf("read names: %w", err)
	}
	return &texts.Speaker{Texts: d.deps.Frame.Texts(names.Locale)}, wording.NewFormat(names), nil
}

func detailsFrom(values url.Values) (details Details, form formView) {
	form = formView{Name: values.Get("name"), Address: values.Get("address"), Contacts: values.Get("contacts"),
		Note: values.Get("note"), Seen: values.Get("seen"), Key: strings.TrimSpace(values.Get("customer"))}
	details = Details{Name: form.Name, Address: strings.ReplaceAll(form.Address, "\r\n", "\n"),
		Note: strings.ReplaceAll(form.Note, "\r\n", "\n")}
	for line := range strings.Lines(form.Contacts) {
		if line = strings.TrimSpace(line); line != "" {
			details.Contacts = append(details.Contacts, line)
		}
	}
	return details, form
}

func (d *Desk) addForm(v pages.Visit, caller httpd.Caller, values url.Values) (string, pages.Page, error) {
	details, form := detailsFrom(values)
	key := cmp.Or(form.Key, newKey())
	_, known, err := d.lookUp(v, v.Firm, key)
	if err == nil && known {
		err = cannot(key, "a customer has this key already; choose another, or leave it open")
	}
	if err == nil {
		_, err = d.put(v, caller, key, details, "")
	}
	if refused(err) {
		form.New, form.Action = true, "/customers"
		page, err := d.listPage(v, form, err, tablePage{})
		return "", page, err
	}
	return "/customers/" + key, pages.Page{}, err
}

func (d *Desk) putForm(v pages.Visit, caller httpd.Caller, values url.Values) (string, pages.Page, error) {
	key := v.Param("customer")
	details, form := detailsFrom(values)
	_, err := d.put(v, caller, key, details, form.Seen)
	if refused(err) {
		page, err := d.customerPage(v, key, &form, err, "")
		return "", page, err
	}
	return "/customers/" + key, pages.Page{}, err
}

func (d *Desk) eraseForm(v pages.Visit, caller httpd.Caller, values url.Values) (string, pages.Page, error) {
	key, reason := v.Param("customer"), values.Get("reason")
	var err error
	if strings.TrimSpace(values.Get("confirm")) != key {
		err = events.Refuse("confirm", values.Get("confirm"), "type the key of the customer, %s, to confirm", key)
	} else {
		_, err = d.erase(v, caller, key, reason)
	}
	if refused(err) {
		page, err := d.customerPage(v, key, nil, err, reason)
		return "", page, err
	}
	return "/customers/" + key, pages.Page{}, err
}

// listPage lists the customers, with the form for one more; wrong is why what was sent
// was refused, and nil where nothing was. table is what there is to say of a table.
func (d *Desk) listPage(v pages.Visit, form formView, wrong error, table tablePage) (pages.Page, error) {
	all, err := d.all(v, v.Firm)
	if err != nil {
		return pages.Page{}, err
	}
	say, format, err := d.speaker(v)
	if err != nil {
		return pages.Page{}, err
	}
	form.Problem = problemOf(say, wrong)
	body := listPage{Search: strings.TrimSpace(v.Values.Get("search")), Count: len(all), Form: form,
		May: v.Caller.May(httpd.Office), Table: table, Columns: history.CustomerColumns()}
	for i := range body.Columns {
		body.Columns[i].Meaning = say.Say("column.customers." + body.Columns[i].Name)
	}
	for _, c := range all {
		shown, err := d.show(v.Firm, c)
		if err != nil {
			return pages.Page{}, err
		}
		row := customerRow{Key: c.Customer, State: shown.State}
		if shown.State == stateErased {
			row.Says = say.Say("customers.erased-on", "day", format.Day(events.Day(shown.Erased)))
		}
		if shown.Details != nil {
			row.Name = shown.Details.Name
		}
		if body.Search == "" || holds(row, shown.Details, body.Search) {
			body.Customers = append(body.Customers, row)
		}
	}
	slices.SortStableFunc(body.Customers, func(a, b customerRow) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(strings.ToLower(a.Name), strings.ToLower(b.Name)))
	})
	if len(body.Customers) > shownMost {
		body.More = len(body.Customers) - shownMost
		body.Customers = body.Customers[:shownMost]
	}
	said := ""
	if n := v.Values.Get("recorded"); n != "" {
		said = say.Say("customers.table.recorded", "n", n)
	}
	return pages.Page{Name: pageName, Title: say.Say("nav.customers"), Body: pageBody{List: &body}, Said: said,
		Texts: say.Texts}, say.Err
}

// rank puts those first who can be read, and those last who were erased.
func rank(r customerRow) int {
	return slices.Index([]string{stateKnown, stateSigner, stateSealed, stateErased}, r.State)
}

// holds reports whether a customer is one that is looked for.
func holds(row customerRow, details *Details, search string) bool {
	text := row.Key
	if details != nil {
		text += "\n" + details.Name + "\n" + details.Address + "\n" + strings.Join(details.Contacts, "\n")
	}
	return strings.Contains(strings.ToLower(text), strings.ToLower(search))
}

// customerPage shows one customer. form is what was sent and refused, and wrong is why;
// where form is nil it was the erasure.
func (d *Desk) customerPage(v pages.Visit, key string, form *formView, wrong error, reason string) (pages.Page,
	error) {
	known, err := d.find(v, v.Firm, key)
	if err != nil {
		return pages.Page{}, err
	}
	say, format, err := d.speaker(v)
	if err != nil {
		return pages.Page{}, err
	}
	body := customerPage{customerBody: known, MayRecord: v.Caller.May(httpd.Office),
		Admin: v.Caller.May(httpd.ScopeAdmin), EraseReason: reason,
		LastRecorded: format.Day(events.Day(known.Recorded)), ErasedOn: format.Day(events.Day(known.Erased))}
	why, ok := say.Rule(known.Says)
	body.Why, body.Foreign = httpd.Sentence(why), !ok
	title := say.Say("customers.customer", "key", key)
	if known.Details != nil {
		title = known.Details.Name
		body.Lines = strings.Split(known.Details.Address, "\n")
		body.Form = formView{Name: title, Address: known.Details.Address, Contacts: strings.Join(known.Details.Contacts,
			"\n"),
			Note: known.Details.Note, Seen: known.Event}
	}
	if form != nil {
		body.Form = *form
		body.Form.Problem = problemOf(say, wrong)
	} else {
		body.EraseProblem = problemOf(say, wrong)
	}
	body.Form.Action = "/customers/" + key
	jobs, err := d.jobsOf(v, v.Firm, key)
	if err != nil {
		return pages.Page{}, err
	}
	for _, row := range jobs {
		body.Jobs = append(body.Jobs, pages.Link{Text: cmp.Or(row.Title, row.Job), Address: "/jobs/" + row.Job})
	}
	return pages.Page{Name: pageName, Title: title, Body: pageBody{One: &body}, Texts: say.Texts,
		Crumbs: []pages.Link{{Text: say.Say("nav.customers"), Address: "/customers"}, {Text: title}}}, say.Err
}
