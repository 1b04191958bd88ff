package demo

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"daysheet/events"
)

// today is a Wednesday at noon.
var today = time.Date(2026, 9, 16, 12, 0, 0, 0, time.UTC)

func mustGenerate(t testing.TB, opts Options) *Firm {
	t.Helper()
	f, err := Generate(opts)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// text is everything of a firm as bytes.
func text(t testing.TB, f *Firm) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := json.NewEncoder(&b).Encode(slices.Collect(f.Submissions())); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestGenerateIsDeterministic(t *testing.T) {
	opts := Options{Seed: 7, Today: today, Jobs: 12}
	first := text(t, mustGenerate(t, opts))
	if !bytes.Equal(first, text(t, mustGenerate(t, opts))) {
		t.Error("the same options gave other bytes")
	}
	opts.Today = today.In(time.FixedZone("far", -9*3600))
	if !bytes.Equal(first, text(t, mustGenerate(t, opts))) {
		t.Error("the zone of the caller shows in the firm")
	}
	opts.Seed = 8
	if bytes.Equal(first, text(t, mustGenerate(t, opts))) {
		t.Error("another seed gave the same firm")
	}
}

func TestGenerateRefuses(t *testing.T) {
	for _, opts := range []Options{{Seed: 1}, {Today: today, Jobs: -1}, {Today: today, Jobs: JobsMax + 1}} {
		if _, err := Generate(opts); events.CodeOf(err) != events.Invalid {
			t.Errorf("%+v: %v", opts, err)
		}
	}
}

// fold plays a firm's commits into jobs as the ledger would.
func fold(t *testing.T, f *Firm) map[string]*events.Job {
	t.Helper()
	jobs := map[string]*events.Job{}
	for s := range f.Submissions() {
		if len(s.Events) == 0 || len(s.Events) > batchMax {
			t.Fatalf("%s: a submission of %d events", s.Job, len(s.Events))
		}
		for i := range s.Events {
			e := &s.Events[i]
			if err := e.Validate(); err != nil {
				t.Fatal(err)
			}
			if e.Subject != s.Job || e.OccurredAt().After(s.At) {
				t.Fatalf("%s of %s at %s in a submission of %s at %s", e.Type, e.Subject, e.Time, s.Job, s.At)
			}
		}
	}
	for stored, err := range f.Commits(3, 0) {
		if err != nil {
			t.Fatal(err)
		}
		c, err := events.DecodeCommit(stored.Raw)
		if err != nil {
			t.Fatal(err)
		}
		j := jobs[c.Job]
		if j == nil {
			j = events.NewJob(f.Key, c.Job)
			jobs[c.Job] = j
		}
		fresh, _, err := j.Plan(c.Events)
		if err != nil || len(fresh) != len(c.Events) {
			t.Fatalf("%s: %d of %d events taken: %v", c.Job, len(fresh), len(c.Events), err)
		}
		if err := j.Apply(c, stored.Sequence, stored.Raw); err != nil {
			t.Fatal(err)
		}
	}
	return jobs
}

// TestFirmIsValid: the ledger takes everything in order, for several seeds,
// days and sizes.
func TestFirmIsValid(t *testing.T) {
	for _, opts := range []Options{
		{Seed: 1, Today: today},
		{Seed: 2, Today: time.Date(2027, 1, 4, 0, 0, 0, 0, time.UTC), Jobs: 5},
		{Seed: 3, Today: time.Date(2026, 2, 28, 23, 0, 0, 0, time.UTC), Jobs: 1},
		{Seed: 4, Today: time.Date(2026, 3, 29, 6, 0, 0, 0, time.UTC), Jobs: 100},
	} {
		f := mustGenerate(t, opts)
		jobs := fold(t, f)
		want := opts.Jobs
		if want == 0 {
			want = jobsDefault
		}
		closed, running, ahead := 0, 0, 0
		for key, j := range jobs {
			down, _ := j.Down()
			switch {
			case key == events.FirmJob:
			case j.State() == events.Closed && len(down) == 0:
				closed++
			case j.State() == events.Running && len(down) > 0:
				running++
			case j.State() == events.Accepted || j.State() == events.Estimated:
				ahead++
			default:
				t.Errorf("seed %d: %s is %s with %d pieces of protection down", opts.Seed, key, j.State(), len(down))
			}
		}
		if closed != want || running != 2 || ahead < 1 || ahead > 2 {
			t.Errorf("seed %d: %d jobs closed, %d running, %d ahead; want %d, 2, 1 or 2", opts.Seed, closed, running, ahead, want)
		}
		first := slices.Collect(f.Submissions())[0]
		if first.Job != events.FirmJob || first.Events[0].Type != events.FirmSettingsChanged {
			t.Errorf("seed %d: first comes %s of %s", opts.Seed, first.Events[0].Type, first.Job)
		}
		last := time.Time{}
		for s := range f.Submissions() {
			if s.At.Before(last) || s.At.After(opts.Today) {
				t.Fatalf("seed %d: %s sent at %s after %s", opts.Seed, s.Job, s.At, last)
			}
			last = s.At
		}
	}
}

// TestSize: as many events and types of events as a firm of this size would have.
func TestSize(t *testing.T) {
	f := mustGenerate(t, Options{Seed: 1, Today: today})
	perJob, types := map[string]int{}, map[events.Type]int{}
	for s := range f.Submissions() {
		perJob[s.Job] += len(s.Events)
		for _, e := range s.Events {
			types[e.Type]++
		}
	}
	own := perJob[events.FirmJob]
	if average := (f.Events() - own) / (len(perJob) - 1); average < 60 || average > 120 {
		t.Errorf("%d events a job", average)
	}
	for _, want := range events.Types() {
		switch want {
		case events.CustomerRecorded, events.CustomerErased: // sealed with keys, which a made up log has not
		case events.AccessChanged: // the ledger records who has access by itself
		case events.PhotoAttached, events.JobReopened, events.RateRejected:
			// the demo names photos in its records, reopens nothing and leaves proposals to the reader
		default:
			if types[want] == 0 {
				t.Errorf("no %s", want)
			}
		}
	}
}

// TestHours: nobody works more than ten hours a day, at weekends or twice.
func TestHours(t *testing.T) {
	for seed := range uint64(4) {
		f := mustGenerate(t, Options{Seed: seed, Today: today})
		voided := map[string]bool{}
		for s := range f.Submissions() {
			for i := range s.Events {
				if v, ok := payloadOf(t, &s.Events[i]).(*events.Void); ok {
					voided[v.Event] = true
				}
			}
		}
		minutes, slips := map[[2]string]int64{}, 0
		for s := range f.Submissions() {
			for i := range s.Events {
				e := &s.Events[i]
				h, ok := payloadOf(t, e).(*events.Hours)
				if !ok || voided[e.ID] {
					continue
				}
				if e.Extensions != nil {
					slips++
					continue
				}
				day := e.Day()
				if h.Day != "" {
					day = h.Day
				}
				if !workday(day) {
					t.Errorf("%s worked on %s", h.Person, day)
				}
				minutes[[2]string{h.Person, string(day)}] += h.Minutes
			}
		}
		var all int64
		for key, m := range minutes {
			all += m
			if m > 600 {
				t.Errorf("seed %d: %s worked %d min on %s", seed, key[0], m, key[1])
			}
		}
		if mean := all / int64(len(minutes)); mean < 240 || mean > 540 {
			t.Errorf("seed %d: %d min a day on average", seed, mean)
		}
		if slips == 0 || slips > 40 {
			t.Errorf("seed %d: %d slips left in the books", seed, slips)
		}
	}
}

func payloadOf(t *testing.T, e *events.Event) events.Payload {
	t.Helper()
	p, err := e.Payload()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestNames: the firm, its products and its suppliers say that they are
// invented, and nobody else is named.
func TestNames(t *testing.T) {
	const mark = "(invented)"
	for s := range mustGenerate(t, Options{Seed: 1, Today: today, Jobs: 10}).Submissions() {
		for i := range s.Events {
			switch p := payloadOf(t, &s.Events[i]).(type) {
			case *events.Settings:
				if !strings.Contains(p.Name, mark) || !slices.Equal(p.People, people) {
					t.Errorf("settings of %q with %v", p.Name, p.People)
				}
			case *events.Product:
				if !strings.Contains(p.Name, mark) {
					t.Errorf("product %q", p.Name)
				}
			case *events.Purchase:
				if !strings.Contains(p.Supplier, mark) {
					t.Errorf("supplier %q", p.Supplier)
				}
			case *events.Hours:
				if !slices.ContainsFunc(people, func(w events.FirmPerson) bool { return w.Person == p.Person }) {
					t.Errorf("person %q", p.Person)
				}
			}
		}
	}
}

// TestFirms: each firm is another one, with a key of its own.
func TestFirms(t *testing.T) {
	keys := map[string]bool{}
	var before []byte
	for f, err := range Firms(Options{Seed: 1, Today: today, Jobs: 3}, 3) {
		if err != nil {
			t.Fatal(err)
		}
		now := text(t, f)
		if keys[f.Key] || !events.ValidToken(f.Key) || bytes.Equal(before, now) {
			t.Errorf("firm %s", f.Key)
		}
		keys[f.Key], before = true, now
	}
	if len(keys) != 3 {
		t.Errorf("%d firms", len(keys))
	}
}

// BenchmarkGenerate tells how fast the bulk data of other benchmarks is made.
func BenchmarkGenerate(b *testing.B) {
	n := 0
	for b.Loop() {
		n = mustGenerate(b, Options{Seed: 1, Today: today, Jobs: JobsMax}).Events()
	}
	b.ReportMetric(float64(n), "events/op")
}

func BenchmarkCommits(b *testing.B) {
	f := mustGenerate(b, Options{Seed: 1, Today: today})
	for b.Loop() {
		for _, err := range f.Commits(0, 0) {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(f.Events()), "events/op")
}
