package office

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"daysheet/events"
)

func at(t events.Type, job string) string {
	return "/office/record/" + strings.ReplaceAll(strings.TrimSuffix(
		strings.TrimPrefix(string(t), "daysheet."), ".v1"), ".", "-") + "?job=" + job
}

// TestAJobFromFirstCallToBill takes a job through every form that a browser is led to.
func TestAJobFromFirstCallToBill(t *testing.T) {
	s := newStack(t)
	s.settle("de-AT")
	r := s.sent("/office/record/job-opened", "title", "Stairwell, two floors", "job_type", "stairwell", "key", "J 104/b",
		"due", "2026-07-31", "built", "1962", "customer", "c-17")
	const job = "j-104-b"
	if !strings.HasPrefix(r.at, "/jobs/"+job+"?recorded=") || !strings.Contains(r.text(), "Erfasst: Auftrag eröffnet: Stairwell") {
		t.Fatalf("led to %s: %s", r.at, r.text())
	}
	s.is(s.last(job), events.JobOpened, `{"job_type":"stairwell","title":"Stairwell, two floors","built":1962,"customer":"c-17","due":"2026-07-31"}`)

	s.sent(at(events.JobOpened, job), "title", "Stairwell, three floors")
	s.is(s.last(job), events.JobOpened, `{"job_type":"stairwell","title":"Stairwell, three floors","built":1962,"customer":"c-17","due":"2026-07-31"}`)

	s.sent(at(events.EstimateIssued, job), "lines.0.task", "coat", "lines.0.quantity_milli", "120,5", "lines.0.minutes", "24:30",
		"lines.0.surface", "Wall", "lines.2.task", "travel", "lines.2.minutes", "2,5 h", "materials.0.product", "wall-matt",
		"materials.0.quantity_milli", "30", "price_e4", "2.480,00")
	estimate := s.last(job)
	s.is(estimate, events.EstimateIssued, `{"day":"2026-06-30","price_e4":24800000,"lines":[
		{"task":"coat","surface":"wall","quantity_milli":120500,"unit":"m2","minutes":1470},{"task":"travel","minutes":150}],
		"materials":[{"product":"wall-matt","quantity_milli":30000,"unit":"l"}]}`)

	s.sent(at(events.EstimateAccepted, job), "estimate", estimate.ID, "note", "by telephone")
	s.is(s.last(job), events.EstimateAccepted, `{"day":"2026-06-30","estimate":"`+estimate.ID+`","note":"by telephone"}`)

	s.workOn(job)
	s.findOn(job)

	s.sent(at(events.VariationAgreed, job), "reason", "cellar door as well", "price_e4", "-165", "lines.0.task", "coat-door",
		"lines.0.quantity_milli", "1", "lines.0.minutes", "1:35")
	s.is(s.last(job), events.VariationAgreed, `{"day":"2026-06-30","reason":"cellar door as well","price_e4":-1650000,
		"lines":[{"task":"coat-door","quantity_milli":1000,"unit":"each","minutes":95}]}`)
	s.sent(at(events.JobSignedOff, job), "role", "owner", "remarks", "all well")
	s.is(s.last(job), events.JobSignedOff, `{"day":"2026-06-30","role":"owner","remarks":"all well"}`)
	s.sent(at(events.JobClosed, job), "billed_e4", "2.315")
	s.is(s.last(job), events.JobClosed, `{"day":"2026-06-30","billed_e4":23150000}`)
	closing := s.last(job)
	s.sent(at(events.JobReopened, job), "reason", "one wall again")
	reopening := s.last(job)
	s.sent(at(events.EventVoided, job)+"&event="+reopening.ID, "reason", "it was another job")
	s.is(s.last(job), events.EventVoided, `{"event":"`+reopening.ID+`","reason":"it was another job"}`)
	if shown := s.get("owner", "/jobs/"+job); !strings.Contains(shown.body, "event="+closing.ID) ||
		!strings.Contains(shown.text(), "Abgeschlossen") {
		t.Errorf("the job does not offer to take the closing back: %s", shown.text())
	}
}

func (s *stack) workOn(job string) {
	s.sent(at(events.HoursBooked, job), "person", "una", "task", "coat", "minutes", "7:30", "location", "Ground floor",
		"day", "2026-06-29")
	s.is(s.last(job), events.HoursBooked, `{"person":"una","task":"coat","minutes":450,"location":"Ground floor","day":"2026-06-29"}`)
	s.sent(at(events.ProtectionLaid, job), "task", "protect-floor", "quantity_milli", "38,5", "location", "Ground floor",
		"product", "board", "product_quantity_milli", "12", "reused", "on", "remove_by", "2026-07-10")
	laid := s.last(job)
	s.is(laid, events.ProtectionLaid, `{"task":"protect-floor","quantity_milli":38500,"unit":"m2","location":"Ground floor",
		"product":"board","product_quantity_milli":12000,"product_unit":"sheet","reused":true,"remove_by":"2026-07-10","day":"2026-06-30"}`)
	s.sent(at(events.ProtectionChecked, job), "laid", laid.ID, "finding", "one joint loose")
	s.is(s.last(job), events.ProtectionChecked, `{"laid":"`+laid.ID+`","finding":"one joint loose","sound":false,"day":"2026-06-30"}`)
	if r := s.fill(at(events.ProtectionLifted, job), "laid", laid.ID, "quantity_milli", "40"); r.status != 422 ||
		!strings.Contains(r.text(), "Nur 38,5 m² liegen noch") {
		s.t.Errorf("lifted more than was laid: status %d: %s", r.status, r.text())
	}
	s.sent(at(events.ProtectionLifted, job), "laid", laid.ID, "quantity_milli", "8,5")
	s.is(s.last(job), events.ProtectionLifted, `{"laid":"`+laid.ID+`","quantity_milli":8500,"day":"2026-06-30"}`)
	s.sent(at(events.SurfacePrepared, job), "task", "fill", "quantity_milli", "12", "surface", "wall")
	s.is(s.last(job), events.SurfacePrepared, `{"task":"fill","surface":"wall","quantity_milli":12000,"unit":"m2","day":"2026-06-30"}`)
	s.sent(at(events.CoatApplied, job), "task", "coat", "coat", "1", "quantity_milli", "105", "product", "wall-matt",
		"volume_milli", "16,4", "wet_film_um", "110 120 115", "air_celsius_milli", "-0,5", "thinned_basis_points", "2,5")
	s.is(s.last(job), events.CoatApplied, `{"task":"coat","coat":1,"quantity_milli":105000,"unit":"m2","product":"wall-matt",
		"volume_milli":16400,"wet_film_um":[110,120,115],"air_celsius_milli":-500,"thinned_basis_points":250,"day":"2026-06-30"}`)
	s.sent(at(events.MaterialUsed, job), "product", "wall-matt", "quantity_milli", "0,5", "place", "Van 2")
	s.is(s.last(job), events.MaterialUsed, `{"product":"wall-matt","quantity_milli":500,"unit":"l","place":"van-2","day":"2026-06-30"}`)
	s.sent(at(events.MaterialReturned, job), "product", "wall-matt", "quantity_milli", "0,25", "cost_e4", "2,43")
	s.is(s.last(job), events.MaterialReturned, `{"product":"wall-matt","quantity_milli":250,"unit":"l","cost_e4":24300,"day":"2026-06-30"}`)
}

func (s *stack) findOn(job string) {
	s.sent(at(events.ConditionRecorded, job), "location", "Hall", "item", "window board", "finding", "scratched", "damaged", "on")
	s.is(s.last(job), events.ConditionRecorded, `{"location":"Hall","item":"window board","finding":"scratched","damaged":true,"day":"2026-06-30"}`)
	s.sent(at(events.DamageFound, job), "location", "Hall", "item", "handrail", "finding", "paint on the wood", "cause", "ours",
		"cost_e4", "80")
	damage := s.last(job)
	s.is(damage, events.DamageFound, `{"location":"Hall","item":"handrail","finding":"paint on the wood","cause":"ours","cost_e4":800000,"day":"2026-06-30"}`)
	s.sent(at(events.DamageMadeGood, job), "damage", damage.ID, "work", "sanded and oiled")
	s.is(s.last(job), events.DamageMadeGood, `{"damage":"`+damage.ID+`","work":"sanded and oiled","day":"2026-06-30"}`)
	s.sent(at(events.SnagRaised, job), "location", "Hall", "finding", "edge not straight", "raised_by", "customer")
	snag := s.last(job)
	s.is(snag, events.SnagRaised, `{"location":"Hall","finding":"edge not straight","raised_by":"customer","day":"2026-06-30"}`)
	s.sent(at(events.PhotoAttached, job), "photo", strings.Repeat("0a", 32), "of", snag.ID)
	s.is(s.last(job), events.PhotoAttached, `{"photo":"`+strings.Repeat("0a", 32)+`","of":"`+snag.ID+`","day":"2026-06-30"}`)
	s.sent(at(events.SnagCleared, job), "snag", snag.ID)
	s.is(s.last(job), events.SnagCleared, `{"snag":"`+snag.ID+`","day":"2026-06-30"}`)
}

func TestTheFirmsOwnRecords(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	r := s.sent("/office/record/product-listed", "name", "Masking tape, 30 mm", "unit", "roll", "price_e4", "3.37",
		"clean_removal_days", "14")
	s.is(s.last("firm"), events.ProductListed,
		`{"product":"masking-tape-30-mm","name":"Masking tape, 30 mm","unit":"roll","price_e4":33700,"clean_removal_days":14}`)
	if !strings.Contains(r.text(), "Recorded: Product listed: Masking tape") {
		t.Errorf("led to %s: %s", r.at, r.text())
	}
	s.sent("/office/record/product-listed?product=wall-matt", "price_e4", "10.15")
	s.is(s.last("firm"), events.ProductListed,
		`{"product":"wall-matt","name":"Wall paint, matt","unit":"l","price_e4":101500,"pack_milli":10000}`)
	s.sent("/office/record/material-purchased", "product", "wall-matt", "quantity_milli", "40", "cost_e4", "371.33",
		"supplier", "invented merchant", "place", "store")
	s.is(s.last("firm"), events.MaterialPurchased, `{"product":"wall-matt","quantity_milli":40000,"unit":"l","cost_e4":3713300,
		"supplier":"invented merchant","place":"store","day":"2026-06-30"}`)
	purchase := s.last("firm")
	s.sent("/office/record/material-moved", "product", "wall-matt", "quantity_milli", "10", "from", "store", "to", "van 2")
	s.is(s.last("firm"), events.MaterialMoved, `{"product":"wall-matt","quantity_milli":10000,"unit":"l","from":"store","to":"van-2","day":"2026-06-30"}`)
	s.sent("/office/record/material-counted", "product", "wall-matt", "quantity_milli", "0", "place", "store")
	s.is(s.last("firm"), events.MaterialCounted, `{"product":"wall-matt","quantity_milli":0,"unit":"l","place":"store","day":"2026-06-30"}`)
	s.sent("/office/record/rate-book-revised", "revision", "2026 summer", "rates.0.task", "coat", "rates.0.surface", "wall",
		"rates.0.minutes_milli", "7.25", "rates.0.source", "from-memory", "rates.0.consumables.0.product", "wall-matt",
		"rates.0.consumables.0.quantity_milli", "0.15")
	s.is(s.last("firm"), events.RateBookRevised, `{"revision":"2026-summer","effective_from":"2026-06-30","rates":[{"task":"coat",
		"surface":"wall","unit":"m2","minutes_milli":7250,"source":"from-memory","consumables":[
		{"product":"wall-matt","unit":"l","quantity_milli":150}]}]}`)
	s.sent("/office/record/rate-book-revised", "revision", "2026-autumn", "rates.0.minutes_milli", "7")
	s.is(s.last("firm"), events.RateBookRevised, `{"revision":"2026-autumn","effective_from":"2026-06-30","rates":[{"task":"coat",
		"surface":"wall","unit":"m2","minutes_milli":7000,"source":"from-memory","consumables":[
		{"product":"wall-matt","unit":"l","quantity_milli":150}]}]}`)
	s.sent("/office/record/rate-rejected", "task", "coat", "minutes_milli", "6.5", "evidence", "3", "reason", "one odd job")
	s.is(s.last("firm"), events.RateRejected, `{"task":"coat","minutes_milli":6500,"evidence":3,"reason":"one odd job"}`)
	s.sent("/office/record/event-voided?job=firm&event="+purchase.ID, "reason", "entered twice")
	if shown := s.get("owner", "/office/firm"); !strings.Contains(shown.text(), "Taken back, because entered twice") ||
		strings.Contains(shown.body, "event="+purchase.ID) {
		t.Errorf("the records of the firm are %s", shown.text())
	}
}

func TestDaySheet(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	action, values := s.open("/office/record/day-sheet?job=hall")
	for name, text := range map[string]string{"day": "2026-06-29", "hours.0.task": "coat", "hours.0.minutes": "4:15",
		"hours.1.task": "mask-edge", "hours.1.minutes": "3.5", "hours.3.person": "una", "hours.3.task": "clean", "hours.3.minutes": "30 min"} {
		values.Set(name, text)
	}
	first := s.post("owner", action, values)
	if first.status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", first.status, first.text())
	}
	booked := s.all("hall")[1:]
	if len(booked) != 3 {
		t.Fatalf("%d events were recorded: %v", len(booked), booked)
	}
	s.is(booked[0], events.HoursBooked, `{"person":"bo","task":"coat","minutes":255,"day":"2026-06-29"}`)
	s.is(booked[1], events.HoursBooked, `{"person":"una","task":"mask-edge","minutes":210,"day":"2026-06-29"}`)
	s.is(booked[2], events.HoursBooked, `{"person":"una","task":"clean","minutes":30,"day":"2026-06-29"}`)
	if shown := s.get("owner", first.at); !strings.Contains(shown.text(), "Recorded: Bo: 4:15") {
		t.Errorf("led to %s: %s", first.at, shown.text())
	}
	// One more row in the same form is one more record.
	values.Set("hours.5.person", "bo")
	values.Set("hours.5.task", "travel")
	values.Set("hours.5.minutes", "1")
	if again := s.post("owner", action, values); again.status != http.StatusSeeOther || len(s.all("hall")) != 5 {
		t.Errorf("status %d, %d events", again.status, len(s.all("hall")))
	}
	// A row with a fault records nothing, and says where.
	values.Set("hours.5.minutes", "1.33")
	r := s.post("owner", action, values)
	if r.status != 422 || r.problems()["hours.5.minutes"] == "" || len(s.all("hall")) != 5 {
		t.Errorf("status %d, problems %v", r.status, r.problems())
	}
}

// problems returns what a page says beside its fields, by their names.
func (r reply) problems() map[string]string {
	said := map[string]string{}
	walk(r.page, func(n *html.Node) {
		if invalid, _ := attribute(n, "aria-invalid"); invalid == "true" {
			name, _ := attribute(n, "name")
			about, _ := attribute(n, "aria-describedby")
			for _, id := range strings.Fields(about) {
				if strings.HasSuffix(id, "-problem") {
					walk(r.page, func(p *html.Node) {
						if found, _ := attribute(p, "id"); found == id {
							said[name] = strings.TrimSpace(textOf(p))
						}
					})
				}
			}
		}
	})
	return said
}

// TestASecondPressIsTheSameEvent: two presses, or the way back and a press, record
// nothing twice; other content under the same form is not taken silently.
func TestASecondPressIsTheSameEvent(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	action, values := s.open("/office/record/job-opened")
	values.Set("title", "Hall and landing")
	values.Set("job_type", "exterior")
	for range 3 {
		if r := s.post("owner", action, values); r.status != http.StatusSeeOther || !strings.HasPrefix(r.at, "/jobs/hall-and-landing?") {
			t.Fatalf("status %d, led to %s: %s", r.status, r.at, r.text())
		}
	}
	if all := s.all("hall-and-landing"); len(all) != 1 {
		t.Fatalf("%d events were recorded", len(all))
	}
	// The same title in a new form is another job, with a key of its own.
	if r := s.sent("/office/record/job-opened", "title", "Hall and landing", "job_type", "exterior"); !strings.HasPrefix(r.at,
		"/jobs/hall-and-landing-2?") {
		t.Errorf("led to %s", r.at)
	}
	if r := s.fill("/office/record/job-opened", "title", "X", "job_type", "exterior", "key", "Hall and landing"); r.status != 422 ||
		!strings.Contains(r.problems()["key"], "was opened before") {
		t.Errorf("status %d: %v", r.status, r.problems())
	}
	action, values = s.open(at(events.HoursBooked, "hall-and-landing"))
	for name, text := range map[string]string{"person": "bo", "task": "coat", "minutes": "2:00"} {
		values.Set(name, text)
	}
	s.post("owner", action, values)
	values.Set("minutes", "3:00")
	r := s.post("owner", action, values)
	if r.status != http.StatusConflict || !strings.Contains(r.text(), "This form was sent before") {
		t.Fatalf("status %d: %s", r.status, r.text())
	}
	_, fresh := formOf(t, r.page)
	if fresh.Get("id") == values.Get("id") || fresh.Get("minutes") != "3:00" {
		t.Errorf("the form holds %v", fresh)
	}
	if r := s.post("owner", action, fresh); r.status != http.StatusSeeOther || len(s.all("hall-and-landing")) != 3 {
		t.Errorf("one more: status %d, %d events", r.status, len(s.all("hall-and-landing")))
	}
}

// TestWhatIsWrongStandsBesideItsField, and what was typed is kept.
func TestWhatIsWrongStandsBesideItsField(t *testing.T) {
	s := newStack(t)
	s.settle("nl-NL")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	r := s.fill(at(events.HoursBooked, "hall"), "person", "una", "minutes", "sieben", "location", "Küche", "surface", "№")
	want := map[string]string{"task": "Choose one.", "minutes": "Hours such as 1:30, 1.5, 1,5 h or 90 min.",
		"surface": "At least one letter a to z or digit, and at most 64."}
	if got := r.problems(); r.status != 422 || len(got) != len(want) {
		t.Fatalf("status %d, problems %q", r.status, got)
	}
	for name, said := range r.problems() {
		if said != want[name] {
			t.Errorf("%s: %q, not %q", name, said, want[name])
		}
	}
	_, values := formOf(t, r.page)
	if values.Get("minutes") != "sieben" || values.Get("location") != "Küche" || values.Get("person") != "una" {
		t.Errorf("what was typed is lost: %v", values)
	}
	if !strings.Contains(r.text(), "3 fields cannot be taken as they are") || len(s.all("hall")) != 1 {
		t.Errorf("the page says %s", r.text())
	}
	// What only the ledger can refuse, also within a list.
	r = s.fill(at(events.EstimateIssued, "hall"), "price_e4", "10", "lines.2.task", "coat", "lines.2.minutes", "1:00",
		"lines.2.location", strings.Repeat("x", 130))
	if got := r.problems()["lines.2.location"]; got != "At most 120 bytes." {
		t.Errorf("problems %q", r.problems())
	}
	r = s.fill(at(events.DamageMadeGood, "hall")+"&damage=not-here-1", "work", "mended")
	if !strings.Contains(r.problems()["damage"], "No event with this id was recorded") {
		t.Errorf("problems %q: %s", r.problems(), r.text())
	}
}

// TestCustomersAreProposed by name, and recorded by key.
func TestCustomersAreProposed(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	if r := s.get("owner", "/office/record/job-opened"); !strings.Contains(r.body, `<option value="c-17">Ida Invented</option>`) {
		t.Errorf("the form says %s", r.body)
	}
}

// TestFormsOfOtherSites: a browser sends the cookie along, and says where the form came
// from.
func TestFormsOfOtherSites(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	action, values := s.open("/office/record/job-opened")
	values.Set("title", "Hall")
	values.Set("job_type", "exterior")
	for site, status := range map[string]int{"cross-site": http.StatusForbidden, "same-origin": http.StatusSeeOther} {
		request, err := http.NewRequest(http.MethodPost, s.address+action, strings.NewReader(values.Encode()))
		must(t, err)
		request.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		request.Header.Set("Sec-Fetch-Site", site)
		request.AddCookie(&http.Cookie{Name: "daysheet", Value: s.secrets["owner"]})
		client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
		response, err := client.Do(request)
		must(t, err)
		response.Body.Close()
		if response.StatusCode != status {
			t.Errorf("%s: status %d, not %d", site, response.StatusCode, status)
		}
	}
}

func TestWhoMayUseTheForms(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	if r := s.get("reader", "/office"); r.status != http.StatusForbidden {
		t.Errorf("a reader sees the forms: status %d", r.status)
	}
	if r := s.get("reader", "/jobs/hall"); strings.Contains(r.body, "/office") {
		t.Error("a reader is offered the forms")
	}
	if r := s.get("clerk", "/jobs/hall"); !strings.Contains(r.body, `href="/office/record/coat-applied?job=hall"`) {
		t.Error("a clerk is not offered the forms")
	}
	for path, status := range map[string]int{"/office/record/hours-booked?job=nowhere": 404, "/office/record/hours-booked?job=firm": 404,
		"/office/record/hours-booked?job=" + url.QueryEscape("../x"): 404, "/office/record/nothing": 404, "/office/record/hours-booked": 200} {
		if r := s.get("owner", path); r.status != status {
			t.Errorf("%s: status %d, not %d: %s", path, r.status, status, r.text())
		}
	}
	for _, id := range []string{"", "x", "0192f0c1-5a3e-4b1c-9d55-3f1f0a7c1e01"} {
		_, values := s.open(at(events.JobSignedOff, "hall"))
		values.Set("id", id)
		values.Set("role", "owner")
		if r := s.post("owner", "/office/record/job-signed-off", values); r.status != 422 || !strings.Contains(r.text(), "open it again") {
			t.Errorf("id %q: status %d: %s", id, r.status, r.text())
		}
	}
}

// TestALogThatDoesNotAnswer keeps what was typed, and says that sending again is safe.
func TestALogThatDoesNotAnswer(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	record := s.record
	s.record = func(context.Context, string, string, string, []events.Event) ([]events.Receipt, error) {
		return nil, &events.Error{Code: events.Unavailable, Rule: "the log does not answer"}
	}
	r := s.fill(at(events.SnagRaised, "hall"), "location", "Hall", "finding", "run", "raised_by", "firm")
	if r.status != http.StatusServiceUnavailable || !strings.Contains(r.text(), "nothing is recorded twice") {
		t.Fatalf("status %d: %s", r.status, r.text())
	}
	s.record = record
	action, values := formOf(t, r.page)
	if r := s.post("owner", action, values); r.status != http.StatusSeeOther {
		t.Errorf("status %d: %s", r.status, r.text())
	}
	s.is(s.last("hall"), events.SnagRaised, `{"location":"Hall","finding":"run","raised_by":"firm","day":"2026-06-30"}`)
}

// TestOneAfterTheOther: the next form has the job and the day of the last one, and
// says what was recorded.
func TestOneAfterTheOther(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	action, values := s.open(at(events.SnagRaised, "hall"))
	for name, text := range map[string]string{"location": "Hall", "finding": "run", "raised_by": "firm", "day": "2026-06-25", "then": "another"} {
		values.Set(name, text)
	}
	r := s.post("owner", action, values)
	next := s.get("owner", r.at)
	_, fresh := formOf(t, next.page)
	if !strings.Contains(next.text(), "Recorded: Snag raised by the firm: run") || fresh.Get("day") != "2026-06-25" ||
		fresh.Get("job") != "hall" || fresh.Get("id") == values.Get("id") || fresh.Get("finding") != "" {
		t.Errorf("led to %s with %v: %s", r.at, fresh, next.text())
	}
}

// TestEveryFormOpens on a job where everything can be referred to, and on a firm that
// recorded nothing: there each says what has to be there before.
func TestEveryFormOpens(t *testing.T) {
	s := newStack(t)
	for _, f := range newForms() {
		if r := s.get("owner", f.path); r.status != http.StatusOK {
			t.Errorf("%s: status %d: %s", f.path, r.status, r.text())
		}
	}
	if r := s.get("owner", "/office/record/hours-booked"); !strings.Contains(r.text(), "No job was opened yet") {
		t.Errorf("without a job: %s", r.text())
	}
	if r := s.get("owner", "/office/record/material-purchased"); !strings.Contains(r.text(), "No product is listed yet: list one") {
		t.Errorf("without a product: %s", r.text())
	}
	s.settle("en-IE")
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	say := inEnglish(t)
	var titles []string
	for _, f := range newForms() {
		path := f.path
		if !f.kind.OfFirm() {
			path += "?job=hall"
		}
		r := s.get("owner", path)
		if r.status != http.StatusOK || slices.Contains(titles, f.title(say)) {
			t.Errorf("%s: status %d, title %q: %s", path, r.status, f.title(say), r.text())
		}
		titles = append(titles, f.title(say))
	}
}

// TestAQuoteBecomesTheEstimate: measured on the page of quotes, issued on the job that
// it was asked for, once however often the button is pressed, and accepted.
func TestAQuoteBecomesTheEstimate(t *testing.T) {
	s := newStack(t)
	s.settle("en-IE")
	s.put(events.FirmJob, events.RateBookRevised, events.RateBook{Revision: "first", EffectiveFrom: "2026-01-01", Rates: []events.Rate{
		{Task: "coat", Surface: "wall", Method: "roller", Unit: events.SquareMetre, MinutesMilli: 6_000, Source: "from-memory"}}})
	s.put("hall", events.JobOpened, events.Opening{JobType: "exterior", Title: "Hall"})
	job := s.get("owner", "/jobs/hall")
	if !strings.Contains(job.body, `href="/quotes?job=hall&amp;job_type=exterior"`) {
		t.Fatalf("the job does not lead to its quote: %s", job.body)
	}
	quote := s.get("owner", "/quotes?job=hall&grade=painter&room=Hall&length=5&width=4&height=2,5&task=coat&surface=wall&method=roller&of=walls&coats=2")
	values, action := url.Values{}, ""
	walk(quote.page, func(n *html.Node) {
		if method, _ := attribute(n, "method"); n.Data != "form" || method != "post" {
			return
		}
		if action, _ = attribute(n, "action"); action != "/quotes/issue" {
			return
		}
		walk(n, func(c *html.Node) {
			if name, ok := attribute(c, "name"); ok && c.Data == "input" {
				value, _ := attribute(c, "value")
				values.Add(name, value)
			}
			if _, selected := attribute(c, "selected"); selected {
				value, _ := attribute(c, "value")
				values.Set("job", value)
			}
		})
	})
	if values.Get("job") != "hall" || values.Get("id") == "" {
		t.Fatalf("the form to issue it is %v: %s", values, quote.text())
	}
	for range 2 {
		r := s.post("owner", "/quotes/issue", values)
		if r.status != http.StatusSeeOther {
			t.Fatalf("status %d: %s", r.status, r.text())
		}
		if shown := s.get("owner", r.at); !strings.Contains(shown.text(), "Recorded: Estimate issued: ") {
			t.Fatalf("led to %s: %s", r.at, shown.text())
		}
	}
	if all := s.all("hall"); len(all) != 2 || all[1].Type != events.EstimateIssued {
		t.Fatalf("the job has %d records", len(all))
	}
	s.sent(at(events.EstimateAccepted, "hall"), "estimate", s.last("hall").ID)
	if r := s.get("owner", "/jobs/hall"); !strings.Contains(r.text(), "Accepted") || !strings.Contains(r.text(), "Agree a variation") {
		t.Errorf("the job says %s", r.text())
	}
}
