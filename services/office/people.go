package office

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// peoplePath is where those are listed who sign in by name.
const peoplePath = "/office/people"

// peopleBody is the page of those who sign in by name.
type peopleBody struct {
	Made     string // name of who was just given a password
	Secret   string // the password, shown once
	People   []personLine
	Controls []control
	Whole    string
	Strange  bool // what is wrong is said in English
	Wrong    []pages.Link
}

// personLine is one of them.
type personLine struct {
	Name, Says string
	Roles      []pages.Choice
	RoleOf     string // says whose role a list is
	Locked     bool
	Own        bool // the one who reads
}

// personFields are the controls of somebody who is added.
func personFields() []field {
	var roles []string
	for _, r := range httpd.Roles() {
		roles = append(roles, string(r))
	}
	return []field{{owner: "access", name: "name", kind: kindText, required: true},
		{owner: "access", name: "role", kind: kindChoice, required: true, enum: roles}}
}

// mountPeople adds the page for the owner. Nobody else may see who has access.
func (d *desk) mountPeople(engine *gin.Engine) {
	admin := engine.Group("", httpd.Require(httpd.ScopeAdmin))
	admin.GET(peoplePath, d.deps.Frame.Handler(d.showPeople))
	admin.POST(peoplePath, d.deps.Frame.Handler(d.addPerson))
	admin.POST(peoplePath+"/password", d.deps.Frame.Handler(d.resetPassword))
	for done, change := range map[string]func(v pages.Visit, name string) error{
		"role": func(v pages.Visit, name string) error {
			return d.deps.People.SetRole(v, v.Caller.Name, v.Firm, name, httpd.Role(v.Values.Get("role")))
		},
		"lock": func(v pages.Visit, name string) error {
			return d.deps.People.Disable(v, v.Caller.Name, v.Firm, name, true)
		},
		"unlock": func(v pages.Visit, name string) error {
			return d.deps.People.Disable(v, v.Caller.Name, v.Firm, name, false)
		},
		"remove": func(v pages.Visit, name string) error { return d.deps.People.Remove(v, v.Caller.Name, v.Firm, name) },
	} {
		admin.POST(peoplePath+"/"+done, d.deps.Frame.Handler(func(v pages.Visit) (pages.Page, error) {
			name := v.Values.Get("name")
			if err := change(v, name); err != nil {
				return d.notChanged(v, err)
			}
			return pages.Page{Leads: peoplePath + "?" + encode("done", done) + "&" + encode("name", name)}, nil
		}))
	}
}

// showPeople lists them, and says what was just done.
func (d *desk) showPeople(v pages.Visit) (pages.Page, error) {
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	p, err := d.peoplePage(v, newFilled(nil, names, say), peopleBody{})
	if name := v.Values.Get("name"); err == nil && name != "" {
		switch v.Values.Get("done") {
		case "role":
			p.Said = say.Say("people.said-role", "name", name)
		case "lock":
			p.Said = say.Say("people.said-lock", "name", name)
		case "unlock":
			p.Said = say.Say("people.said-unlock", "name", name)
		case "remove":
			p.Said = say.Say("people.said-remove", "name", name)
		}
		err = say.Err
	}
	return p, err
}

func (d *desk) peoplePage(v pages.Visit, f *filled, body peopleBody) (pages.Page, error) {
	list, err := d.deps.People.List()
	if err != nil {
		return pages.Page{}, err
	}
	s := &shown{filled: f}
	body.Controls = s.controls(personFields(), "", false)
	body.Whole, body.Strange, body.Wrong = f.whole, f.strange, wrongLinks(body.Controls)
	w := wording.NewFormat(f.names)
	for _, p := range list {
		if p.Firm == v.Firm {
			line := personLineOf(f.say, p, func(at time.Time) string { return w.Day(events.DayOf(f.names.Local(at))) })
			line.Own = v.Caller.Person && strings.EqualFold(p.Name, v.Caller.Name)
			body.People = append(body.People, line)
		}
	}
	title := f.say.Say("people.title")
	return spoken(f.say, pages.Page{Name: "office-people.html", Title: title,
		Crumbs: crumbs(f.say, pages.Link{Text: title}), Body: body})
}

// personLineOf says of somebody what the owner has to know. day writes a day as the firm
// does.
func personLineOf(say *texts.Speaker, p httpd.Person, day func(time.Time) string) personLine {
	line := personLine{Name: p.Name, Locked: !p.Disabled.IsZero(), RoleOf: say.Say("people.role-of", "name", p.Name)}
	for _, r := range httpd.Roles() {
		line.Roles = append(line.Roles, pages.Choice{Key: string(r), Name: choiceName(say, "role", string(r)),
			Chosen: r == p.Role})
	}
	parts := []string{say.Say("access.role." + string(p.Role)), say.Say("people.never")}
	if !p.SignedIn.IsZero() {
		parts[1] = say.Say("people.signed-in", "day", day(p.SignedIn))
	}
	if line.Locked {
		parts = append(parts, say.Say("people.locked", "day", day(p.Disabled)))
	}
	line.Says = strings.Join(parts, " · ")
	return line
}

// addPerson adds somebody and shows the first password this once. Sending the form again
// meets the name that is taken.
func (d *desk) addPerson(v pages.Visit) (pages.Page, error) {
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	f := newFilled(v.Values, names, say)
	f.read(personFields(), "", "")
	if !f.wrong() {
		person := httpd.Person{Firm: v.Firm, Name: f.text("name"), Role: httpd.Role(f.text("role"))}
		password := httpd.NewPassword()
		err := d.deps.People.Add(v, v.Caller.Name, person, password, d.deps.Tokens.List())
		if err == nil {
			return d.peoplePage(v, newFilled(nil, names, say), peopleBody{Made: person.Name, Secret: password})
		}
		var refusal *events.Error
		if !errors.As(err, &refusal) || refusal.Code == events.Unavailable {
			return pages.Page{}, err
		}
		f.place(refusal, "")
	}
	p, err := d.peoplePage(v, f, peopleBody{})
	p.Status = http.StatusUnprocessableEntity
	return p, err
}

// resetPassword gives somebody a new password, shown this once; every session of that
// person ends.
func (d *desk) resetPassword(v pages.Visit) (pages.Page, error) {
	name, password := v.Values.Get("name"), httpd.NewPassword()
	if err := d.deps.People.SetPassword(v, v.Caller.Name, v.Firm, name, password); err != nil {
		return d.notChanged(v, err)
	}
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	return d.peoplePage(v, newFilled(nil, names, say), peopleBody{Made: name, Secret: password})
}

// notChanged shows the page again with why somebody was left as is: the last owner stays.
func (d *desk) notChanged(v pages.Visit, wrong error) (pages.Page, error) {
	var refusal *events.Error
	if !errors.As(wrong, &refusal) || refusal.Code != events.Conflict && refusal.Code != events.Invalid {
		return pages.Page{}, wrong
	}
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	f := newFilled(nil, names, say)
	said, ok := say.Rule(refusal.Rule)
	f.whole, f.strange = httpd.Sentence(said), !ok
	p, err := d.peoplePage(v, f, peopleBody{})
	p.Status = httpd.Problem(wrong).Status
	return p, err
}
