package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"
)

// A day and a year of the clock.
const (
	day  = 24 * time.Hour
	year = 365 * day
)

// What sessions are held to: signed in for so long, and not before they began, but for a
// clock that is set a little (services/httpd/people.go).
const (
	sessionLasts = 12 * time.Hour
	clockSlack   = 5 * time.Minute
)

// clockJobs is how many events a job has. After each start facts read the jobs again that
// they go on with, which with all events in a few jobs would take minutes.
const clockJobs = 100

// clockJumps sets the clock of the program forwards and backwards, and right again, while it
// is served under load, and starts it while the clock is wrong.
func clockJumps(ctx context.Context, t *trial) (err error) {
	t.shifts = true
	t.load.JobsOf(clockJobs)
	j := &jumping{trial: t}
	if j.password, err = t.person(ctx); err != nil {
		return err
	}
	twoDays, err := t.output(ctx, "token", "add", "two-days", "--firm", firm, "--scope", "read", "--days", "2")
	if err != nil {
		return err
	}
	j.twoDays = strings.TrimSpace(twoDays)
	if j.archives, err = os.MkdirTemp("", "faults-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(j.archives)) }()
	for range t.harness.times {
		little := time.Duration(1+t.random.IntN(180)) * time.Minute
		if err := j.served(ctx, 0, little, -little, day, -day, year, -year); err != nil {
			return err
		}
		for _, ahead := range []time.Duration{year, -year} {
			if err := j.served(ctx, ahead, 0); err != nil {
				return err
			}
		}
	}
	t.ahead, t.message = 0, "nothing but to sign in again, where the clock went beyond the session or before it"
	return nil
}

// jumping is what a trial of the clock holds on to.
type jumping struct {
	*trial
	password, twoDays, archives string
	server                      *running
	session                     *http.Cookie
	began                       time.Time // of the session, by the program's clock
	marks                       int
}

// now returns what the program's clock shows.
func (j *jumping) now() time.Time { return time.Now().Add(j.ahead) }

// served starts a server by a clock that is ahead, and lets it jump to each of the times
// and, after each, back to the right one.
func (j *jumping) served(ctx context.Context, ahead time.Duration, to ...time.Duration) error {
	j.ahead = ahead
	s, err := j.serve(ctx, "--backup-to", j.archives, "--backup-every", "1h")
	if err != nil {
		return fmt.Errorf("start %v ahead: %w", ahead, err)
	}
	j.server = s
	err = j.under(ctx, s.at(j.trial), func(ctx context.Context) error {
		if err := j.holds(ctx); err != nil {
			return fmt.Errorf("started %v ahead: %w", ahead, err)
		}
		for _, ahead := range to {
			for _, ahead := range []time.Duration{ahead, 0} {
				if err := j.jump(ctx, ahead); err != nil {
					return fmt.Errorf("set from %v to %v ahead: %w", j.ahead, ahead, err)
				}
			}
		}
		return nil
	})
	return errors.Join(err, s.end())
}

// jump locks somebody out and signs somebody in, sets the clock, and holds the program to
// all it must do.
func (j *jumping) jump(ctx context.Context, ahead time.Duration) error {
	for range 6 {
		if _, err := j.signIn(ctx, "a wrong password"); err == nil {
			return errors.New("a wrong password is taken")
		}
	}
	if err := j.clock.set(ahead); err != nil {
		return err
	}
	j.ahead = ahead
	j.times++
	return j.holds(ctx)
}

// holds requires that events are taken and projected, that a commit says both when something
// happened and when it was recorded, that no session and no token lasts longer, that who
// was locked out gets in again, and that backups are made.
func (j *jumping) holds(ctx context.Context) error {
	if err := j.load.More(ctx, 60); err != nil {
		return err
	}
	if err := j.mark(ctx); err != nil {
		return err
	}
	if j.session != nil {
		since := j.now().Sub(j.began)
		holds, err := j.signedIn(ctx)
		if err != nil || holds != (since > -clockSlack && since < sessionLasts) {
			return errors.Join(fmt.Errorf("a session holds (%v) %v after it began", holds, since), err)
		}
	}
	status, text, err := j.server.get(ctx, j.twoDays, "/v1/reports/consumables")
	if want := j.ahead < 2*day; err != nil || (status == http.StatusOK) != want {
		return errors.Join(fmt.Errorf("a token of two days is answered with %d %v ahead: %s", status, j.ahead, text), err)
	}
	if err := j.getsIn(ctx); err != nil {
		return err
	}
	// The writers may be ahead of the facts, which the mark has shown to go on.
	status, text, err = j.server.get(ctx, "", "/readyz")
	ready := status == http.StatusOK || strings.Contains(text, "commits behind the log")
	if err != nil || !ready || strings.Contains(text, "one failed") || strings.Contains(text, "log is not ready") {
		return errors.Join(fmt.Errorf("/readyz says %d: %s", status, text), err)
	}
	return nil
}

// mark records an event of a time of its own, and reads it back from the facts and from the
// log, with the time at which it was recorded.
func (j *jumping) mark(ctx context.Context) error {
	const happened = "2026-03-02T08:00:00Z"
	j.marks++
	job := fmt.Sprintf("mark-%08d", j.marks)
	body := fmt.Sprintf(`{"specversion":"1.0","id":%q,"source":"/mark","type":"daysheet.job.opened.v1","subject":%q,`+
		`"time":%q,"data":{"job_type":"stairwell","title":"Invented"}}`, job, job, happened)
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, j.server.base+"/v1/events", bytes.NewReader([]byte(body)))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+j.token)
	r.Header.Set("Content-Type", "application/cloudevents+json")
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return fmt.Errorf("record a mark: %w", err)
	}
	if err := answer.Body.Close(); err != nil || answer.StatusCode/100 != 2 {
		return errors.Join(fmt.Errorf("record a mark %v ahead: status %d", j.ahead, answer.StatusCode), err)
	}
	if err := j.projected(ctx, job); err != nil {
		return err
	}
	_, text, err := j.server.get(ctx, j.token, "/v1/jobs/"+job+"/events")
	if err != nil {
		return err
	}
	var records struct {
		Events []struct {
			RecordedAt time.Time `json:"recorded_at"`
			Event      struct {
				Time string `json:"time"`
			} `json:"event"`
		} `json:"events"`
	}
	if err := json.Unmarshal([]byte(text), &records); err != nil || len(records.Events) != 1 {
		return errors.Join(fmt.Errorf("the mark's records are %s", text), err)
	}
	e := records.Events[0]
	if off := j.now().Sub(e.RecordedAt).Abs(); off > time.Minute || e.Event.Time != happened {
		return fmt.Errorf("recorded at %v, %v off, what happened at %s", e.RecordedAt, off, e.Event.Time)
	}
	return nil
}

// projected waits until the facts know a job.
func (j *jumping) projected(ctx context.Context, job string) error {
	ctx, cancel := context.WithTimeout(ctx, startMax)
	defer cancel()
	for {
		status, text, err := j.server.get(ctx, j.token, "/v1/jobs/"+job)
		if status == http.StatusOK && err == nil {
			return nil
		}
		if ctx.Err() != nil {
			return errors.Join(fmt.Errorf("the facts do not go on: status %d: %s", status, text), err)
		}
	}
}

// getsIn signs in, as soon as a lock-out is over: it lasts two seconds after six tries,
// whatever the clock does.
func (j *jumping) getsIn(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, startMax)
	defer cancel()
	for {
		cookie, err := j.signIn(ctx, j.password)
		if err == nil {
			j.session, j.began = cookie, j.now()
			if holds, err := j.signedIn(ctx); err != nil || !holds {
				return errors.Join(errors.New("a session that has just begun does not hold"), err)
			}
			return nil
		}
		select {
		case <-time.After(100 * time.Millisecond):
		case <-ctx.Done():
			return fmt.Errorf("nobody gets in again: %w", err)
		}
	}
}

func (j *jumping) signIn(ctx context.Context, password string) (*http.Cookie, error) {
	form := url.Values{"name": {soakPerson}, "password": {password}}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, j.server.base+"/sign-in", strings.NewReader(form.Encode()))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer, err := asking().Do(r)
	if err != nil {
		return nil, err
	}
	err = answer.Body.Close()
	if len(answer.Cookies()) == 0 {
		return nil, errors.Join(fmt.Errorf("sign in: status %d", answer.StatusCode), err)
	}
	return answer.Cookies()[0], err
}

// signedIn reports whether the session holds.
func (j *jumping) signedIn(ctx context.Context) (bool, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, j.server.base+"/help", nil)
	if err != nil {
		return false, err
	}
	r.Header.Set("Accept", "text/html")
	r.AddCookie(j.session)
	answer, err := asking().Do(r)
	if err != nil {
		return false, err
	}
	return answer.StatusCode == http.StatusOK, answer.Body.Close()
}

// asking is a client that shows where it is led to.
func asking() *http.Client {
	return &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}
