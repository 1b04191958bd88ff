package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"
)

// request is something that is asked of the server, with what a good answer holds.
type request struct {
	path    string
	content string // is posted; nothing: the path is got
	kind    string // of the content
	job     string // that it is about; nothing: the whole firm
	check   func(answer []byte) error
}

// answer is what came back, and how long it took to the last byte.
type answer struct {
	status int
	body   []byte
	took   time.Duration
}

// ask sends a request once.
func (s *served) ask(ctx context.Context, q request) (answer, error) {
	method, body := http.MethodGet, io.Reader(nil)
	if q.content != "" {
		method, body = http.MethodPost, strings.NewReader(q.content)
	}
	r, err := http.NewRequestWithContext(ctx, method, s.base+q.path, body)
	if err != nil {
		return answer{}, err
	}
	r.Header.Set("Authorization", "Bearer "+s.token)
	if q.kind != "" {
		r.Header.Set("Content-Type", q.kind)
	}
	start := time.Now()
	got, err := s.http.Do(r)
	if err != nil {
		return answer{}, fmt.Errorf("ask for %s: %w", q.path, err)
	}
	defer got.Body.Close()
	raw, err := io.ReadAll(got.Body)
	if err != nil {
		return answer{}, fmt.Errorf("ask for %s: %w", q.path, err)
	}
	return answer{got.StatusCode, raw, time.Since(start)}, nil
}

// errNoRows says that an answer is right and has nothing in it.
var errNoRows = errors.New("the answer has no rows")

// good asks and fails unless the answer is a success that passes its check, so that no
// error page is ever timed.
func (s *served) good(ctx context.Context, q request) (time.Duration, error) {
	a, err := s.ask(ctx, q)
	if err != nil {
		return 0, err
	}
	if a.status/100 != 2 {
		return 0, fmt.Errorf("%s answers %d: %.300s", q.path, a.status, a.body)
	}
	if err := q.check(a.body); err != nil {
		return 0, fmt.Errorf("%s: %w: %.300s", q.path, err, a.body)
	}
	return a.took, nil
}

// page is a page of the office that leads from a figure to the records behind it.
func page(path string) request {
	return request{path: path, check: holds("</html>", "href=\"/explain?")}
}

// holds is a check that an answer has all those texts.
func holds(texts ...string) func([]byte) error {
	return func(body []byte) error {
		for _, text := range texts {
			if !bytes.Contains(body, []byte(text)) {
				return fmt.Errorf("the answer lacks %q", text)
			}
		}
		return nil
	}
}

// report is a report as JSON, of one job or, without, of the whole firm.
func report(name, job string) request {
	path := "/v1/reports/" + name
	if job != "" {
		path += "?job=" + job
	}
	return request{path: path, job: job, check: func(body []byte) error {
		var r struct {
			Report string
			Tables []struct{ Rows []json.RawMessage }
		}
		if err := json.Unmarshal(body, &r); err != nil {
			return err
		}
		if r.Report != name {
			return fmt.Errorf("the answer is the report %q", r.Report)
		}
		for _, t := range r.Tables {
			if len(t.Rows) > 0 {
				return nil
			}
		}
		return errNoRows
	}}
}

// quote prices a small take-off.
func quote() request {
	return request{path: "/v1/quotes", kind: "application/json", content: `{"grade":"painter","lines":[` +
		`{"task":"coat","surface":"plaster","method":"roller","quantity_milli":80000},` +
		`{"task":"protect-floor","surface":"wood-floor","quantity_milli":25000}]}`, check: func(body []byte) error {
		var q struct {
			Minutes struct{ Expected int64 }
			Cost    struct {
				Net int64 `json:"net_e4"`
			}
		}
		if err := json.Unmarshal(body, &q); err != nil {
			return err
		}
		if q.Minutes.Expected <= 0 || q.Cost.Net <= 0 {
			return errors.New("the quote has no hours or no price")
		}
		return nil
	}}
}

// paper is the PDF of a job's handover.
func paper(job string) request {
	return request{path: "/jobs/" + job + "/handover.pdf", job: job, check: func(body []byte) error {
		if !bytes.HasPrefix(body, []byte("%PDF-")) || len(body) < 10_000 {
			return fmt.Errorf("%d bytes are no paper", len(body))
		}
		return nil
	}}
}

// booking records half an hour on a job.
func booking(job string, n int) request {
	return request{path: "/v1/events", kind: "application/cloudevents+json", check: holds(`"sequence"`),
		content: fmt.Sprintf(`{"specversion":"1.0","id":"one-%08d","source":"/bench","type":"daysheet.hours.booked.v1",`+
			`"subject":%q,"time":%q,"data":{"person":"veskil","task":"sand","minutes":30}}`, n, job,
			today.Add(time.Duration(n)*time.Second).Format(time.RFC3339))}
}

// today is the day on which scripts/load ends its ledgers.
var today = time.Date(2026, 6, 30, 18, 0, 0, 0, time.UTC)

// jobs lists the keys of all finished jobs.
func (s *served) jobs(ctx context.Context) ([]string, error) {
	var all []string
	for path := "/v1/jobs?limit=500"; path != ""; {
		a, err := s.ask(ctx, request{path: path})
		if err != nil {
			return nil, err
		}
		var list struct {
			Jobs []struct{ Job, Finished string }
			Next string
		}
		if err := json.Unmarshal(a.body, &list); err != nil || a.status != http.StatusOK {
			return nil, fmt.Errorf("list jobs: status %d: %w: %.300s", a.status, err, a.body)
		}
		for _, j := range list.Jobs {
			if j.Finished != "" {
				all = append(all, j.Job)
			}
		}
		path = list.Next
	}
	if len(all) == 0 {
		return nil, errors.New("list jobs: none is finished")
	}
	slices.Sort(all)
	return all, nil
}
