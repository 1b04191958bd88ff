package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"
)

// visitors are who uses a ledger beside those who record: they read pages and reports,
// sign in and out, add photos, and follow what changes.
type visitors struct {
	server          *running
	token, password string

	mu     sync.Mutex
	made   map[string]int // requests by what for
	failed map[string]int // answers that were not as expected, by what they were
}

// visited are the pages and reports that are read.
var visited = []string{"/", "/", "/jobs/job-0-0", "/jobs/job-1-0/records", "/reports/coats", "/reports/consumables",
	"/reports/cost-differences", "/reports/earned-value", "/v1/reports/consumables", "/office",
	"/office/record/hours-booked",
	"/crew", "/customers", "/jobs/job-0-0/handover", "/jobs/job-0-0/handover.pdf", "/readyz", "/help"}

// come lets all visitors come until ctx ends. The channel yields what went wrong with them.
func (v *visitors) come(ctx context.Context, t *trial) <-chan error {
	var all sync.WaitGroup
	errs := make([]error, 0, soakVisitors+4)
	var failing sync.Mutex
	each := func(what string, pause time.Duration, visit func(context.Context, *http.Client, *rand.Rand) error) {
		random := rand.New(rand.NewPCG(t.random.Uint64(), t.random.Uint64()))
		all.Go(func() {
			if err := v.again(ctx, what, pause, random, visit); err != nil {
				failing.Lock()
				defer failing.Unlock()
				errs = append(errs, fmt.Errorf("%s: %w", what, err))
			}
		})
	}
	each("page", 400*time.Millisecond, v.read)
	each("page", 400*time.Millisecond, v.read)
	each("sign-in", 6*time.Second, v.signIn)
	each("photo", 5*time.Second, func(ctx context.Context, _ *http.Client, random *rand.Rand) error {
		photo, err := photoOf(random)
		if err != nil {
			return err
		}
		return v.server.put(ctx, t.token, photo)
	})
	for range soakVisitors {
		each("follower", time.Second, v.follow)
	}
	done := make(chan error, 1)
	go func() {
		all.Wait()
		done <- errors.Join(errs...)
	}()
	return done
}

// again visits until ctx ends, with pauses of a random length about the one given.
func (v *visitors) again(ctx context.Context, what string, pause time.Duration, random *rand.Rand,
	visit func(context.Context, *http.Client, *rand.Rand) error) error {
	client := asking()
	client.Transport = &http.Transport{} // connections of its own
	defer client.CloseIdleConnections()
	for {
		select {
		case <-time.After(pause/2 + rand.N(pause)): // the pace of the experiment
		case <-ctx.Done():
			return nil
		}
		err := visit(ctx, client, random)
		if ctx.Err() != nil {
			return nil
		}
		if err != nil {
			return err
		}
		v.mu.Lock()
		v.made[what]++
		v.mu.Unlock()
	}
}

// send sends a request and reads the answer to its end.
func (v *visitors) send(client *http.Client, r *http.Request, wants int) (*http.Response, error) {
	answer, err := client.Do(r)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if answer.StatusCode != wants {
		v.mu.Lock()
		defer v.mu.Unlock()
		v.failed[fmt.Sprintf("%s %s: status %d: %.300s", r.Method, r.URL.Path, answer.StatusCode, text)]++
	}
	return answer, err
}

// read opens a page or a report.
func (v *visitors) read(ctx context.Context, client *http.Client, random *rand.Rand) error {
	at := visited[random.IntN(len(visited))]
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, v.server.base+at, nil)
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+v.token)
	_, err = v.send(client, r, http.StatusOK)
	return err
}

// signIn signs in by name and password, opens the first page, and mostly signs out.
func (v *visitors) signIn(ctx context.Context, client *http.Client, random *rand.Rand) error {
	form := url.Values{"name": {soakPerson}, "password": {v.password}, "next": {"/"}}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, v.server.base+"/sign-in", strings.NewReader(form.Encode()))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer, err := v.send(client, r, http.StatusSeeOther)
	if err != nil {
		return err
	}
	steps := []struct {
		method, path string
		wants        int
	}{{http.MethodGet, "/", http.StatusOK}, {http.MethodPost, "/sign-out", http.StatusSeeOther}}
	if random.IntN(8) == 0 {
		steps = steps[:1]
	}
	for _, step := range steps {
		r, err := http.NewRequestWithContext(ctx, step.method, v.server.base+step.path, nil)
		if err != nil {
			return err
		}
		for _, cookie := range answer.Cookies() {
			r.AddCookie(cookie)
		}
		if _, err := v.send(client, r, step.wants); err != nil {
			return err
		}
	}
	return nil
}

// follow listens to what changes for a while and goes away.
func (v *visitors) follow(ctx context.Context, client *http.Client, random *rand.Rand) error {
	stays, cancel := context.WithTimeout(ctx, time.Duration(1+random.IntN(20))*time.Second)
	defer cancel()
	r, err := http.NewRequestWithContext(stays, http.MethodGet, v.server.base+"/v1/watch", nil)
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+v.token)
	answer, err := client.Do(r)
	if stays.Err() != nil {
		return nil // it went away before it was answered
	}
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	heard := bytes.Buffer{}
	_, err = io.Copy(&heard, io.LimitReader(answer.Body, 1<<20))
	if stays.Err() == nil && heard.Len() < 1<<20 {
		return errors.Join(errors.New("the server ended a stream of changes"), err)
	}
	return nil
}

// String says how many requests of each kind were made.
func (v *visitors) String() string {
	v.mu.Lock()
	defer v.mu.Unlock()
	var parts []string
	for _, what := range slices.Sorted(maps.Keys(v.made)) {
		parts = append(parts, fmt.Sprintf("%s %d", what, v.made[what]))
	}
	return strings.Join(parts, ", ")
}

// refused says which answers were not as expected.
func (v *visitors) refused() error {
	v.mu.Lock()
	defer v.mu.Unlock()
	var all []error
	for _, what := range slices.Sorted(maps.Keys(v.failed)) {
		all = append(all, fmt.Errorf("%d times %s", v.failed[what], what))
	}
	return errors.Join(all...)
}
