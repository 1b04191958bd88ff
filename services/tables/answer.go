package tables

import (
	"fmt"
	"net/http"

	"daysheet/services/httpd"
	"daysheet/services/intake/history"
)

// refusalsMost bounds what is said of the rows of one table.
const refusalsMost = 1000

// Body says what a table that was sent in came to.
type Body struct {
	Table    string           `json:"table" example:"jobs"`
	DryRun   bool             `json:"dry_run" doc:"Nothing was recorded"`
	Recorded int              `json:"recorded" doc:"Events that were recorded; with dry_run those that the good rows come to"`
	Before   int              `json:"before" doc:"Events that the ledger had already and that were not recorded again; 0 with dry_run, which does not ask"`
	Summary  history.Summary  `json:"summary"`
	Errors   []httpd.Refusal  `json:"errors" doc:"What is wrong with rows, at most 1000 times; field is the column as the header of the file calls it"`
	Notices  []history.Notice `json:"notices" doc:"What else there is to know of rows"`
}

// Answer is what a table is answered with: 201 where anything was recorded.
type Answer struct {
	Status int
	Body   Body
}

// Read says what a table came to that was read, before anything is recorded of it.
func Read(table string, dry bool, summary history.Summary, wrong history.RowErrors,
	notices []history.Notice) *Answer {
	for _, list := range []*[]string{&summary.UnknownColumns, &summary.NewJobTypes, &summary.NewProducts,
		&summary.NewPeople} {
		if *list == nil {
			*list = []string{}
		}
	}
	if notices == nil {
		notices = []history.Notice{}
	}
	a := &Answer{Status: http.StatusOK, Body: Body{Table: table, DryRun: dry, Summary: summary, Errors: refusals(wrong),
		Notices: notices}}
	if dry {
		a.Body.Recorded = summary.Events
	}
	return a
}

// Took adds what was recorded.
func (a *Answer) Took(recorded, before int) *Answer {
	a.Body.Recorded, a.Body.Before = recorded, before
	if recorded > 0 {
		a.Status = http.StatusCreated
	}
	return a
}

func refusals(wrong history.RowErrors) []httpd.Refusal {
	all := []httpd.Refusal{}
	for i, e := range wrong {
		if i == refusalsMost {
			all = append(all, httpd.Refusal{Message: fmt.Sprintf("and %d more", len(wrong)-i)})
			break
		}
		all = append(all, httpd.Refusal{Message: e.Error(), Line: e.Line, Field: e.Column, Value: e.Value, Rule: e.Rule})
	}
	return all
}

// Refused is the problem of a table that was not taken because of its rows. detail says so.
func Refused(wrong history.RowErrors, detail string) error {
	p := httpd.NewProblem(http.StatusUnprocessableEntity, detail)
	p.Errors = refusals(wrong)
	return p
}

// NotRecorded says in a detail how many rows kept a table from being recorded.
func NotRecorded(bad int) string {
	return fmt.Sprintf("%d rows have errors and nothing was recorded: mend them, or record the rest with skip_bad", bad)
}

// Stopped is the problem of a table of which the ledger took a part, and then no more.
func Stopped(recorded int, err error) error {
	p := *httpd.Problem(err)
	p.Detail = fmt.Sprintf("%s; %d events of the table were recorded before: send the same table again once that is "+
		"mended, and nothing is recorded twice", p.Error(), recorded)
	return &p
}
