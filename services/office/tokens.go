package office

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
	"daysheet/services/pages"
	"daysheet/services/texts"
	"daysheet/services/wording"
)

// tokensPath is where tokens are listed and made.
const tokensPath = "/office/tokens"

// tokensBody is the page of the tokens.
type tokensBody struct {
	Made     string // name of the token that was just made
	Secret   string // shown once
	Tokens   []tokenLine
	Controls []control
	Whole    string
	Strange  bool // what is wrong is said in English
	Wrong    []pages.Link
}

type tokenLine struct {
	Name, Says, Revoke string
	Holds              bool
	Own                bool // the one that the reader is signed in with
}

// tokenFields are the controls of a token that is made.
func tokenFields() []field {
	return []field{
		{owner: "token", name: "name", kind: kindText, required: true},
		{owner: "token", name: "scopes", kind: kindSeveral,
			enum: []string{string(httpd.ScopeRead), string(httpd.ScopeRecord), string(httpd.ScopeAdmin)}},
		{owner: "token", name: "expires", kind: kindDay},
	}
}

func (d *desk) mountTokens(engine *gin.Engine) {
	admin := engine.Group("", httpd.Require(httpd.ScopeAdmin))
	admin.GET(tokensPath, d.deps.Frame.Handler(d.showTokens))
	admin.POST(tokensPath, d.deps.Frame.Handler(d.makeToken))
	admin.POST(tokensPath+"/revoke", d.deps.Frame.Handler(d.revokeToken))
}

func (d *desk) showTokens(v pages.Visit) (pages.Page, error) {
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	p := d.tokensPage(v, newFilled(v.Values, names, say), tokensBody{})
	if name := v.Values.Get("revoked"); name != "" {
		p.Said = say.Say("tokens.revoked-said", "name", name)
	}
	return spoken(say, p)
}

func (d *desk) tokensPage(v pages.Visit, f *filled, body tokensBody) pages.Page {
	s := &shown{filled: f}
	body.Controls = s.controls(tokenFields(), "", false)
	body.Whole, body.Strange, body.Wrong = f.whole, f.strange, wrongLinks(body.Controls)
	w := wording.NewWords(f.names, f.say)
	for _, t := range slices.Backward(d.deps.Tokens.List()) {
		if t.Firm == v.Firm {
			body.Tokens = append(body.Tokens, d.tokenLine(f.say, t, w, t.Name == v.Caller.Name))
		}
	}
	title := f.say.Say("tokens.title")
	return pages.Page{Name: "office-tokens.html", Title: title, Crumbs: crumbs(f.say, pages.Link{Text: title}), Body: body}
}

func (d *desk) tokenLine(say *texts.Speaker, t httpd.Token, w wording.Words, own bool) tokenLine {
	day := func(at time.Time, never string) string {
		if at.IsZero() {
			return never
		}
		return w.Day(events.DayOf(w.Names.Local(at)))
	}
	line := tokenLine{Name: t.Name, Own: own, Holds: true, Revoke: say.Say("tokens.revoke-it", "name", t.Name)}
	state := say.Say("tokens.no-end")
	var may []string
	for _, s := range t.Scopes {
		may = append(may, say.Say("tokens.may."+string(s)))
	}
	switch {
	case !t.Revoked.IsZero():
		state, line.Holds = say.Say("tokens.revoked", "day", day(t.Revoked, "")), false
	case !t.Expires.IsZero() && !d.deps.Clock().Before(t.Expires):
		state, line.Holds = say.Say("tokens.ended", "day", day(t.Expires.Add(-time.Second), "")), false
	case !t.Expires.IsZero():
		state = say.Say("tokens.to", "day", day(t.Expires.Add(-time.Second), ""))
	}
	line.Says = say.Say("tokens.line", "may", strings.Join(may, ", "), "made", day(t.Created, ""),
		"used", day(t.LastUsed, say.Say("tokens.never")), "state", state)
	return line
}

// makeToken makes a token and shows its secret this once. Sending the form again
// meets the name that is taken.
func (d *desk) makeToken(v pages.Visit) (pages.Page, error) {
	names, say, err := d.names(v)
	if err != nil {
		return pages.Page{}, err
	}
	f := newFilled(v.Values, names, say)
	token := httpd.Token{Firm: v.Firm, Name: f.text("name")}
	for _, s := range v.Values["scopes"] {
		token.Scopes = append(token.Scopes, httpd.Scope(s))
	}
	if last := events.Day(f.text("expires")); last != "" {
		if !last.Valid() {
			f.refuse("expires", say.Say("tokens.a-day"))
		}
		token.Expires = endOf(last, names)
	}
	if !f.wrong() {
		secret, err := d.deps.Tokens.Add(v, v.Caller.Name, token)
		if err == nil {
			empty := newFilled(nil, names, say)
			return spoken(say, d.tokensPage(v, empty, tokensBody{Made: token.Name, Secret: secret}))
		}
		var refusal *events.Error
		if !errors.As(err, &refusal) {
			return pages.Page{}, err
		}
		f.places["name"], f.places["scopes"], f.places["expires"] = "name", "scopes", "expires"
		f.place(refusal, "")
	}
	p := d.tokensPage(v, f, tokensBody{})
	p.Status = http.StatusUnprocessableEntity
	return spoken(say, p)
}

// endOf returns the end of a day where the firm works.
func endOf(day events.Day, names reports.Names) time.Time {
	next := day.Add(1).Time()
	return time.Date(next.Year(), next.Month(), next.Day(), 0, 0, 0, 0, names.Local(next).Location())
}

// revokeToken ends a token. The one that is used for it is kept: who ends it locks
// himself out, perhaps for good.
func (d *desk) revokeToken(v pages.Visit) (pages.Page, error) {
	name := v.Values.Get("name")
	if name == v.Caller.Name {
		return pages.Page{}, events.Refuse("name", name, "you are signed in with it: sign in with another token first")
	}
	if err := d.deps.Tokens.Revoke(v, v.Caller.Name, v.Firm, name); err != nil {
		return pages.Page{}, err
	}
	return pages.Page{Leads: tokensPath + "?" + encode("revoked", name)}, nil
}
