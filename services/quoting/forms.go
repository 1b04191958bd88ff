package quoting

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/services/httpd"
	"daysheet/services/pages"
)

// mountForms adds what the pages send: the browser is led back to where the answer
// can be seen.
func (d *desk) mountForms(engine *gin.Engine) {
	record := engine.Group("", httpd.Require(httpd.Office))
	record.POST("/quotes/issue", form(d.issueForm))
	record.POST("/rates/accept", form(d.acceptForm))
	record.POST("/rates/reject", form(d.rejectForm))
}

// form reads a form and leads to the address that handle returns.
func form(handle func(*gin.Context, httpd.Caller, url.Values) (string, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		caller, err := httpd.RequireCaller(c.Request.Context())
		if err == nil {
			err = httpd.ReadForm(c.Request)
		}
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		address, err := handle(c, caller, c.Request.PostForm)
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		c.Redirect(http.StatusSeeOther, address)
	}
}

func (d *desk) issueForm(c *gin.Context, caller httpd.Caller, values url.Values) (string, error) {
	t, err := TakeOffFrom(values)
	if err != nil {
		return "", err
	}
	job := values.Get(FieldJob)
	id := values.Get(FieldID)
	if _, err := pages.TimeOf(id); err != nil {
		return "", err
	}
	if _, _, err := d.issue(c.Request.Context(), caller, job, id, t); err != nil {
		return "", err
	}
	return "/jobs/" + url.PathEscape(job) + "?" + url.Values{"recorded": {id}}.Encode(), nil
}

// evidenceOf reads the position that a form was made for.
func evidenceOf(values url.Values) (int64, error) {
	n, err := strconv.ParseInt(values.Get("evidence"), 10, 64)
	if err != nil || n < 1 {
		return 0, events.Refuse("evidence", values.Get("evidence"), "the position that the proposals were made from")
	}
	return n, nil
}

// keyOf reads a rate as the pages write it: task, surface and method with bars
// between.
func keyOf(text string) rateKey {
	parts := append(strings.Split(text, "|"), "", "")
	return rateKey{parts[0], parts[1], parts[2]}
}

func (d *desk) acceptForm(c *gin.Context, caller httpd.Caller, values url.Values) (string, error) {
	evidence, err := evidenceOf(values)
	if err != nil {
		return "", err
	}
	in := acceptance{Evidence: evidence, Revision: values.Get("revision"), EffectiveFrom: values.Get("effective_from"),
		Reason: values.Get("reason")}
	for _, rate := range values["rate"] {
		in.Rates = append(in.Rates, keyOf(rate))
	}
	if len(in.Rates) == 0 {
		return "", events.Refuse("rate", "", "choose at least one rate to take over")
	}
	_, err = d.accept(c.Request.Context(), caller, in)
	return "/reports/rates", err
}

func (d *desk) rejectForm(c *gin.Context, caller httpd.Caller, values url.Values) (string, error) {
	evidence, err := evidenceOf(values)
	if err != nil {
		return "", err
	}
	key := keyOf(values.Get("rate"))
	in := rejection{Task: key.Task, Surface: key.Surface, Method: key.Method, Evidence: evidence,
		Reason: values.Get("reason")}
	_, err = d.reject(c.Request.Context(), caller, in)
	return "/reports/rate-proposals", err
}
