package crew

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"daysheet/events"
)

// TestDay reads what a phone is given: jobs due first, what is open on them, the
// token's own entries, and nothing of prices, of others' hours or of another firm.
func TestDay(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	status, header, body := s.request("GET", "/v1/crew/day", "van-2", "")
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, body)
	}
	var day dayBody
	must(t, json.Unmarshal([]byte(body), &day))
	if day.Firm != "north" || day.Name != "Invented Decorators" || day.Device != "van-2" || day.Today != today() {
		t.Errorf("the day is %s of %q (%s) for %s", day.Today, day.Name, day.Firm, day.Device)
	}
	if len(day.Jobs) != 2 || day.Jobs[0].Job != "stairs-5" || day.Jobs[1].Job != flat {
		t.Fatalf("jobs: %s", body)
	}
	if day.Jobs[0].State != events.Accepted || day.Jobs[1].State != events.Running {
		t.Errorf("states %s and %s", day.Jobs[0].State, day.Jobs[1].State)
	}
	j := day.Jobs[1]
	if len(j.Down) != 1 || j.Down[0].QuantityMilli != 18_400 || j.Down[0].RemoveBy != today().Add(-2) {
		t.Errorf("down: %+v", j.Down)
	}
	if len(j.Snags) != 1 || j.Snags[0].Finding != "run on the door frame" || len(j.Damage) != 1 || j.Damage[0].Item != "handrail" {
		t.Errorf("open: snags %+v, damage %+v", j.Snags, j.Damage)
	}
	if len(j.Last) != 2 || j.Last[0].Day != today().Add(-3) || len(j.Today) != 0 {
		t.Errorf("entries of the last day: %+v; of today: %+v", j.Last, j.Today)
	}
	if !slices.Equal(j.Places, []string{"Kitchen", "Hall", "<b>Hall</b>"}) || !slices.Contains(j.Tasks, "fill") {
		t.Errorf("places %q, tasks %q", j.Places, j.Tasks)
	}
	if len(day.People) != 2 || len(day.Products) != 2 || !slices.ContainsFunc(day.Tasks,
		func(k taskBody) bool { return k.Task == "paper-strip" }) {
		t.Errorf("names: %+v %+v", day.People, day.Products)
	}
	for _, secret := range []string{"Secret of the south", "18000000", "price", "cost", "999"} {
		if strings.Contains(body, secret) {
			t.Errorf("the answer holds %q", secret)
		}
	}

	tag := header.Get("ETag")
	if status, _, body := s.request("GET", "/v1/crew/day", "van-2", "", "If-None-Match",
		tag); status != http.StatusNotModified || body != "" {
		t.Errorf("asked again: status %d, body %q", status, body)
	}
	s.record("north", flat, "van-2", s.act(events.SnagCleared, 0, events.SnagClearance{Snag: j.Snags[0].ID}),
		s.act(events.ProtectionLifted, 0, events.Lifting{Laid: j.Down[0].Laid, QuantityMilli: 8_400}),
		s.act(events.DamageMadeGood, 0, events.MakingGood{Damage: j.Damage[0].ID, Work: "oiled"}))
	status, _, body = s.request("GET", "/v1/crew/day", "van-2", "", "If-None-Match", tag)
	if status != http.StatusOK {
		t.Fatalf("after a record: status %d", status)
	}
	day = dayBody{}
	must(t, json.Unmarshal([]byte(body), &day))
	j = day.Jobs[1]
	if len(j.Snags) != 0 || len(j.Damage) != 0 || len(j.Down) != 1 || j.Down[0].QuantityMilli != 10_000 || len(j.Today) != 3 {
		t.Errorf("after clearing: %+v", j)
	}
}

// TestWhoMayAsk keeps phones, readers and the office to what is theirs.
func TestWhoMayAsk(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	tell(s)
	for _, c := range []struct {
		path, token string
		status      int
	}{
		{"/v1/crew/day", "reader", 403}, {"/v1/crew/me", "reader", 403}, {"/crew", "reader", 403},
		{"/v1/crew/day", "ds_guess", 401}, {"/crew/sw.js", "ds_guess", 401}, {"/crew/pair", "van-2", 403},
		{"/crew/pair", "reader", 403}, {"/crew", "van-2", 200}, {"/crew/jobs/flat-2", "van-2", 200},
		{"/crew/outbox", "van-2", 200}, {"/crew/help", "office", 200}, {"/crew/pair", "office", 200},
		{"/assets/crew/0000/app.js", "van-2", 404},
	} {
		t.Run(fmt.Sprint(c.token, c.path), func(t *testing.T) {
			if status, _, body := s.request("GET", c.path, c.token, ""); status != c.status {
				t.Errorf("status %d, not %d: %.200s", status, c.status, body)
			}
		})
	}
	_, _, body := s.request("GET", "/v1/crew/day", "other", "")
	if !strings.Contains(body, "Secret of the south") || strings.Contains(body, flat) {
		t.Errorf("the other firm sees %s", body)
	}
	if err := Mount(nil, Deps{}); err == nil {
		t.Error("routes without anything behind them were mounted")
	}
}

// TestSize keeps the pages within what a phone loads over a bad line: 100 kB for all
// of it, compressed.
func TestSize(t *testing.T) {
	t.Parallel()
	s := newStack(t)
	paths := []string{"/crew", "/crew/sw.js"}
	f, err := readFiles(embedded, s.deps.Frame.Texts("en"))
	must(t, err)
	for name := range f.byName {
		paths = append(paths, f.base()+name)
	}
	sum := 0
	for _, path := range paths {
		status, header, body := s.request("GET", path, "van-2", "", "Accept-Encoding", "gzip")
		if status != http.StatusOK {
			t.Fatalf("GET %s: status %d", path, status)
		}
		if strings.HasPrefix(path, filesAt) && !strings.Contains(header.Get("Cache-Control"), "immutable") {
			t.Errorf("%s may not be kept: %q", path, header.Get("Cache-Control"))
		}
		sum += len(body)
	}
	t.Logf("%d files, %d bytes", len(paths), sum)
	if sum > 100_000 {
		t.Errorf("the pages have %d bytes", sum)
	}
}
