package intake

import (
	"fmt"
	"strings"
	"testing"

	"daysheet/events"
)

// refusal is a request that must not be taken, and what its answer must say.
type refusal struct {
	name     string
	request  request
	status   int
	contains []string
}

// TestRefusals sends every kind of bad request. Each must be answered with a
// problem that names field, value and rule, and none may leave a trace in the log.
func TestRefusals(t *testing.T) {
	b := newBench(t, nil)
	b.take(t, "", opened("open-0001", "job-a"), hours("hours-001", "job-a"), event("void-0001", "event.voided", "job-a",
		`{"event":"hours-001","reason":"wrong day"}`), opened("open-0002", "job-b"))
	for _, table := range [][]refusal{wrongRequests(), wrongEvents(), wrongOnTheJob(), wrongBatches()} {
		for _, c := range table {
			t.Run(c.name, func(t *testing.T) {
				before := b.last(t)
				if c.request.contentType == "" {
					c.request.contentType = typeJSON
				}
				a := b.send(t, c.request)
				if a.status != c.status || a.kind != "application/problem+json" || a.Status != c.status ||
					!strings.HasPrefix(a.Type, "/problems/") {
					t.Fatalf("status %d, want %d; %s %s", a.status, c.status, a.kind, a.raw)
				}
				for _, want := range c.contains {
					if !strings.Contains(a.raw, want) {
						t.Errorf("the answer lacks %s:\n%s", want, a.raw)
					}
				}
				if after := b.last(t); after != before {
					t.Errorf("something was stored: %s after %s", after, before)
				}
			})
		}
	}
}

func wrongRequests() []refusal {
	good := hours("hours-900", "job-a")
	large := strings.Repeat(" ", 256<<10) + good
	return []refusal{
		{"no credential", request{token: "none", body: good}, 401, []string{"a token is needed"}},
		{"an unknown token", request{token: "ds_guess", body: good}, 401, []string{"not known"}},
		{"an expired token", request{token: "expired", body: good}, 401, []string{"has expired"}},
		{"a revoked token", request{token: "revoked", body: good}, 401, []string{"was revoked"}},
		{"the wrong scope", request{token: "reader", body: good}, 403, []string{"record"}},
		{"reading what is written to", request{method: "GET"}, 405, nil},
		{"no content type", request{contentType: "none", body: good}, 415, []string{typeBatch}},
		{"a form", request{contentType: "application/x-www-form-urlencoded", body: good}, 415, nil},
		{"another kind of JSON", request{contentType: "application/ld+json", body: good}, 415, nil},
		{"a content type that is none", request{contentType: "-", body: good}, 415, nil},
		{"a broken content type", request{contentType: "application/json; =", body: good}, 415, nil},
		{"a body over the limit", request{body: large}, 413, []string{"262144 bytes"}},
		{"no body", request{}, 400, nil},
		{"white space alone", request{body: " \n\t"}, 400, []string{"not JSON"}},
		{"malformed JSON", request{body: good[:len(good)-1]}, 400, []string{"not JSON", "byte"}},
		{"a malformed batch", request{contentType: typeBatch, body: "[" + good + ",]"}, 400, []string{"not JSON"}},
		{"something after the event", request{body: good + good}, 400, nil},
		{"bytes that are no text", request{body: strings.Replace(good, "anna", "an\xffna", 1)}, 400, []string{"UTF-8"}},
		{"an event sent as a batch", request{contentType: typeBatch, body: good}, 400, []string{"array"}},
		{"a batch sent as an event", request{contentType: typeEvent, body: batch(good)}, 400, []string{typeBatch}},
		{"an empty batch", request{body: "[]"}, 422, []string{`"value":"0"`, "1 to 500 events"}},
		{"a number", request{body: "7"}, 422, []string{"JSON object"}},
		{"null", request{body: "null"}, 422, []string{"JSON object"}},
		{"lists in lists", request{body: strings.Repeat("[", 100_000)}, 400, []string{"not JSON"}},
		{"lists in lists that end", request{body: strings.Repeat("[", 9_000) + strings.Repeat("]", 9_000)}, 422, nil},
		{"objects in objects", request{body: strings.Replace(good, `"data":{`, `"data":{"x":`+strings.Repeat(`{"x":`, 9_000)+"1"+
			strings.Repeat("}", 9_000)+",", 1)}, 422, nil},
		{"as many members as there is room for", request{body: `{` + strings.Repeat(`"a":0,`, 40_000) + `"b":0}`}, 422,
			[]string{"65536 bytes"}},
		{"as many events as there is room for", request{body: "[" + strings.Repeat("0,", 100_000) + "0]"}, 422,
			[]string{`"value":"100001"`}},
	}
}

func wrongEvents() []refusal {
	good := hours("hours-900", "job-a")
	change := func(old, new string) request {
		if !strings.Contains(good, old) {
			panic("the test changes nothing: " + old)
		}
		return request{body: strings.Replace(good, old, new, 1)}
	}
	laid := func(data string) request { return request{body: event("laid-0900", "protection.laid", "job-a", data)} }
	return []refusal{
		{"an unknown type", change("hours.booked", "hours.guessed"), 422,
			[]string{`"field":"type"`, `daysheet.hours.guessed.v1`, `"event":"hours-900"`}},
		{"no type", change(`"type":"daysheet.hours.booked.v1",`, ""), 422, []string{`"field":"type"`}},
		{"another version", change(`"1.0"`, `"0.3"`), 422, []string{`"field":"specversion"`}},
		{"no id", change(`"id":"hours-900",`, ""), 422, []string{`"field":"id"`}},
		{"an id of the wrong kind", change(`"id":"hours-900"`, `"id":7`), 422, []string{`"field":"id"`, `"value":"7"`}},
		{"a member that stands twice", change(`"id":"hours-900"`, `"id":"hours-900","id":"hours-901"`), 422, []string{"stands twice"}},
		{"a payload member that stands twice", change(`"minutes":90`, `"minutes":90,"minutes":91`), 422,
			[]string{`"field":"data.minutes"`, "stands twice", `"event":"hours-900"`}},
		{"half of a character", change(`"anna"`, `"an\ud800na"`), 422, []string{"surrogate"}},
		{"a subject that is no key", change(`"subject":"job-a"`, `"subject":"Job A"`), 422, []string{`"field":"subject"`}},
		{"a subject that would leave its place", change(`"subject":"job-a"`, `"subject":"job-a.>"`), 422, []string{`"field":"subject"`}},
		{"a time without offset", change("16:20:00+01:00", "16:20:00"), 422, []string{`"field":"time"`}},
		{"negative minutes", change(`"minutes":90`, `"minutes":-30`), 422,
			[]string{`"field":"data.minutes"`, `"value":"-30"`, `"rule":"a whole number from 1 to 1440"`, `"event":"hours-900"`}},
		{"more than a day", change(`"minutes":90`, `"minutes":1441`), 422, []string{`"field":"data.minutes"`}},
		{"half a minute", change(`"minutes":90`, `"minutes":90.5`), 422, []string{`"field":"data.minutes"`, "whole number"}},
		{"a number beyond all bounds", change(`"minutes":90`, `"minutes":1e400`), 422, []string{`"field":"data.minutes"`, "double"}},
		{"text for a number", change(`"minutes":90`, `"minutes":"90"`), 422, []string{`"field":"data.minutes"`}},
		{"a misspelt member", change(`"minutes":90`, `"minutes":90,"minuts":30`), 422, []string{`"field":"data.minuts"`}},
		{"an extension that is an object", change(`"specversion"`, `"more":{},"specversion"`), 422, []string{`"field":"more"`}},
		{"payload in base64", change(`"data":`, `"data_base64":"e30=","data":`), 422, []string{"data_base64"}},
		{"an unknown unit", laid(`{"task":"protect-floor","quantity_milli":12500,"unit":"sqft"}`), 422,
			[]string{`"field":"data.unit"`, "sqft", "use one of m2"}},
		{"a negative quantity", laid(`{"task":"protect-floor","quantity_milli":-1,"unit":"m2"}`), 422,
			[]string{`"field":"data.quantity_milli"`, `"value":"-1"`}},
		{"an absurd quantity", laid(`{"task":"protect-floor","quantity_milli":1000000001,"unit":"m2"}`), 422,
			[]string{`"field":"data.quantity_milli"`, "from 1 to 1000000000"}},
		{"an event of the firm on a job", request{body: event("listed-900", "product.listed", "job-a", `{}`)}, 422,
			[]string{`"field":"subject"`, "firm"}},
	}
}

func wrongOnTheJob() []refusal {
	return []refusal{
		{"a job never opened", request{body: hours("hours-900", "job-none")}, 404,
			[]string{`"field":"subject"`, "job-none", "never opened", `"event":"hours-900"`, `"/problems/not-found"`}},
		{"voiding a void", request{body: event("void-0900", "event.voided", "job-a", `{"event":"void-0001","reason":"no"}`)}, 422,
			[]string{`"field":"data.event"`, "what took an event back cannot be taken back"}},
		{"voiding twice", request{body: event("void-0900", "event.voided", "job-a", `{"event":"hours-001","reason":"no"}`)}, 422,
			[]string{"taken back before"}},
		{"voiding what is not there", request{body: event("void-0900", "event.voided", "job-a", `{"event":"hours-999","reason":"no"}`)},
			422, []string{"hours-999"}},
		{"lifting what was never laid", request{body: event("lift-0900", "protection.lifted", "job-a", `{"laid":"laid-0999"}`)}, 422,
			[]string{`"field":"data.laid"`}},
		{"the same id with other content", request{body: strings.Replace(hours("hours-001", "job-a"), "90", "91", 1)}, 409,
			[]string{`"field":"id"`, `"event":"hours-001"`, `"/problems/conflict"`}},
	}
}

func wrongBatches() []refusal {
	many := make([]string, events.BatchMax+1)
	for i := range many {
		many[i] = hours(fmt.Sprintf("many-%04d", i), "job-a")
	}
	note := strings.Repeat("n", events.EventBytesMax)
	return []refusal{
		{"a batch over the limit", request{body: batch(many...)}, 422, []string{`"value":"501"`, "1 to 500 events"}},
		{"an event over the limit", request{body: hours("hours-900", note)}, 422, []string{"65536 bytes", `"event":"hours-900"`}},
		{"one bad event among good ones", request{body: batch(hours("hours-900", "job-a"),
			strings.Replace(hours("hours-901", "job-b"), "90}", "0}", 1), hours("hours-902", "job-b"))}, 422,
			[]string{`"event":"hours-901"`, `"field":"data.minutes"`}},
		{"every bad event is listed", request{body: batch(`{}`, `7`, strings.Replace(hours("hours-901", "job-b"), "anna", "", 1),
			hours("hours-902", "job-b"))}, 422,
			[]string{"3 events were refused; nothing was recorded", "event 1 of 4", "event 2 of 4", `"event":"hours-901"`,
				`"field":"data.person"`}},
		{"one id with two contents", request{body: batch(hours("hours-900", "job-a"),
			strings.Replace(hours("hours-900", "job-a"), "anna", "ben", 1))}, 409, []string{`"event":"hours-900"`}},
		{"the first job is not taken", request{body: batch(hours("hours-900", "job-none"), hours("hours-901", "job-a"))}, 404,
			[]string{`"not_recorded":["hours-900","hours-901"]`}},
	}
}
