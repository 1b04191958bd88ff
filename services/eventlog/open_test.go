package eventlog

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// TestPartition holds the hash to published values of 32-bit FNV-1a: the empty
// string gives the offset basis 811c9dc5, "a" gives e40c292c and "foobar" gives
// bf9cf968 (draft-eastlake-fnv, test vectors).
func TestPartition(t *testing.T) {
	for firm, want := range map[string]uint8{"": 0x5, "a": 0xc, "foobar": 0x8} {
		if got := Partition(firm); got != want {
			t.Errorf("partition of %q is %d, want %d", firm, got, want)
		}
	}
	if got, want := subject("foobar", "job-1"), "ledger.08.foobar.job-1"; got != want {
		t.Errorf("the subject is %s, want %s", got, want)
	}
}

func TestConfigRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		cfg  Config
		says string
	}{
		"neither":            {Config{}, "Dir"},
		"both":               {Config{Dir: "x", URL: "nats://127.0.0.1:1"}, "Dir"},
		"files without URL":  {Config{Dir: "x", CAFile: "ca.pem"}, "URL"},
		"half a certificate": {Config{URL: "nats://127.0.0.1:1", CertFile: "c.pem"}, "CertFile"},
		"inbox without URL":  {Config{Dir: "x", InboxPrefix: "_INBOX_writer"}, "URL"},
		"wild inbox":         {Config{URL: "nats://127.0.0.1:1", InboxPrefix: "_INBOX.>"}, "InboxPrefix"},
		"two replicas":       {Config{URL: "nats://127.0.0.1:1", Replicas: 2}, "Replicas"},
		"embedded replicas":  {Config{Dir: "x", Replicas: 3}, "Replicas"},
		"tiny":               {Config{Dir: "x", MaxBytes: 5}, "MaxBytes"},
		"no cache":           {Config{Dir: "x", CachedJobs: -1}, "CachedJobs"},
		"no time":            {Config{Dir: "x", RequestTimeout: -1}, "RequestTimeout"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Open(t.Context(), c.cfg)
			wantCode(t, err, events.Invalid, c.says)
		})
	}
}

func TestReopenKeepsEverything(t *testing.T) {
	dir := t.TempDir()
	l := openDir(t, dir)
	book(t, l, testFirm, testJob, 5)
	before := commits(t, l, testFirm, testJob, 0)
	for range 2 {
		if err := l.Close(); err != nil { // the second time is fine
			t.Fatal(err)
		}
	}
	l = openDir(t, dir)
	after := commits(t, l, testFirm, testJob, 0)
	same := func(a, b events.Stored) bool { return a.Sequence == b.Sequence && string(a.Raw) == string(b.Raw) }
	if !slices.EqualFunc(before, after, same) {
		t.Errorf("the commits differ after reopening: %d before, %d after", len(before), len(after))
	}
	receipts := record(t, l, testFirm, testJob, hours(bookingID(2), testJob, 60), hours("booking-new", testJob, 60))
	wantReceipts(t, receipts, []events.Receipt{
		{ID: bookingID(2), Job: testJob, Sequence: 4, Duplicate: true}, {ID: "booking-new", Job: testJob, Sequence: 7},
	})
}

func TestFolderBelongsToOne(t *testing.T) {
	dir := t.TempDir()
	l := openDir(t, dir)
	_, err := Open(t.Context(), Config{Dir: dir})
	wantText(t, err, dir, "another daysheet is using it", "stop it first")
	record(t, l, testFirm, testJob, opening(testJob)) // the first is not disturbed
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	openDir(t, dir)
}

func TestOpenFailsAtOnceWhereTheServerCannotStart(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "jetstream"), []byte("in the way"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Open(t.Context(), Config{Dir: dir})
	wantText(t, err, "start log server in "+dir, "storage directory is not a directory")
	// The folder is free again once its trouble is out of the way.
	if err := os.Remove(filepath.Join(dir, "jetstream")); err != nil {
		t.Fatal(err)
	}
	openDir(t, dir)
}

func TestStreamThatCannotBeLoadedIsNotBuried(t *testing.T) {
	dir := t.TempDir()
	l := openDir(t, dir)
	record(t, l, testFirm, testJob, opening(testJob))
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	name := streamName(Partition(testFirm))
	meta := filepath.Join(dir, "jetstream", "$G", "streams", name, "meta.inf")
	sound, err := os.ReadFile(meta)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(meta, []byte("torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err = Open(t.Context(), Config{Dir: dir})
	wantText(t, err, fmt.Sprintf("partition %d", Partition(testFirm)), "settings do not agree", "daysheet repair")
	if err := os.WriteFile(meta, sound, 0o600); err != nil {
		t.Fatal(err)
	}
	if n := len(commits(t, openDir(t, dir), testFirm, testJob, 0)); n != 1 {
		t.Errorf("%d commits are there after the repair, want 1", n)
	}
}

func TestStreamsThatAreWeakerAreRefused(t *testing.T) {
	for setting, weaken := range map[string]func(*jetstream.StreamConfig){
		"deny_delete":          func(c *jetstream.StreamConfig) { c.DenyDelete = false },
		"deny_purge":           func(c *jetstream.StreamConfig) { c.DenyPurge = false },
		"discard":              func(c *jetstream.StreamConfig) { c.Discard = jetstream.DiscardOld },
		"storage":              func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"retention":            func(c *jetstream.StreamConfig) { c.Retention = jetstream.InterestPolicy },
		"max_age":              func(c *jetstream.StreamConfig) { c.MaxAge = 1 << 50 },
		"max_msgs":             func(c *jetstream.StreamConfig) { c.MaxMsgs = 1000 },
		"max_msgs_per_subject": func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 10 },
		"max_msg_size":         func(c *jetstream.StreamConfig) { c.MaxMsgSize = 1000 },
		"subjects":             func(c *jetstream.StreamConfig) { c.Subjects = []string{"ledger.03.only.this"} },
		"allow_direct":         func(c *jetstream.StreamConfig) { c.AllowDirect = false },
		"persist_mode":         func(c *jetstream.StreamConfig) { c.PersistMode = jetstream.AsyncPersistMode },
		"no_ack":               func(c *jetstream.StreamConfig) { c.NoAck = true },
		"allow_msg_ttl":        func(c *jetstream.StreamConfig) { c.AllowMsgTTL = true },
	} {
		t.Run(setting, func(t *testing.T) {
			e := startExternal(t)
			cfg := Config{URL: e.url(), MaxBytes: 64 << 20}
			full, err := cfg.withDefaults()
			if err != nil {
				t.Fatal(err)
			}
			weak := streamConfig(3, full)
			weaken(&weak)
			if _, err := e.admin(t).CreateStream(t.Context(), weak); err != nil {
				t.Fatal(err)
			}
			_, err = Open(t.Context(), cfg)
			wantText(t, err, "LEDGER_03", setting+" is ", "the ledger needs")
		})
	}
}

func TestExternalServer(t *testing.T) {
	e := startExternal(t)
	l := open(t, Config{URL: e.url()})
	book(t, l, testFirm, testJob, 3)
	if err := l.Health(t.Context()); err != nil {
		t.Error(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if n := len(commits(t, open(t, Config{URL: e.url()}), testFirm, testJob, 0)); n != 4 {
		t.Errorf("%d commits are stored, want 4", n)
	}
}

func TestOpenGivesUpOnAnAddressWhereNobodyIs(t *testing.T) {
	e := startExternal(t)
	url := e.url()
	e.stop()
	_, err := Open(t.Context(), Config{URL: url})
	wantCode(t, err, events.Unavailable, url)
}

// listener keeps what the server says.
type listener struct {
	mu    sync.Mutex
	lines []slog.Record
}

func (*listener) Enabled(context.Context, slog.Level) bool { return true }
func (s *listener) WithAttrs([]slog.Attr) slog.Handler     { return s }
func (s *listener) WithGroup(string) slog.Handler          { return s }
func (s *listener) Handle(_ context.Context, r slog.Record) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lines = append(s.lines, r)
	return nil
}

// said reports whether a line of the level with the text was logged.
func (s *listener) said(level slog.Level, text string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.ContainsFunc(s.lines, func(r slog.Record) bool {
		return r.Level == level && strings.Contains(r.Message, text)
	})
}

func TestServerLogIsPassedOn(t *testing.T) {
	heard := &listener{}
	dir := t.TempDir()
	open(t, Config{Dir: dir, Logger: slog.New(heard)})
	if !heard.said(slog.LevelDebug, "Server is ready") {
		t.Error("the server's notice of its start was not passed on")
	}
	if heard.said(slog.LevelError, "") {
		t.Error("an ordinary start logs an error")
	}
}
