package eventlog

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// Everything in these tests is invented. They run against real servers.

const (
	testFirm = "firm-a"
	testJob  = "job-1"
)

// openDir opens an embedded log that is closed with the test.
func openDir(tb testing.TB, dir string) *Log {
	tb.Helper()
	return open(tb, Config{Dir: dir})
}

// open opens a log that is closed with the test; an external one is prepared before.
func open(tb testing.TB, cfg Config) *Log {
	tb.Helper()
	if cfg.MaxBytes == 0 {
		cfg.MaxBytes = 64 << 20
	}
	if cfg.URL != "" {
		if _, err := Prepare(tb.Context(), cfg); err != nil {
			tb.Fatal(err)
		}
	}
	l, err := Open(tb.Context(), cfg)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := l.Close(); err != nil {
			tb.Error(err)
		}
	})
	return l
}

// external is a server of its own on the loopback interface.
type external struct {
	server  *server.Server
	options server.Options
}

// startExternal starts a server on a free port with a folder of its own.
func startExternal(tb testing.TB) *external {
	tb.Helper()
	return startExternalIn(tb, tb.TempDir(), true)
}

func startExternalIn(tb testing.TB, dir string, syncAlways bool) *external {
	tb.Helper()
	e := &external{options: server.Options{
		Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: dir, SyncAlways: syncAlways, JetStreamMaxStore: 1 << 40,
	}}
	e.start(tb)
	tb.Cleanup(func() { e.stop() })
	return e
}

func (e *external) start(tb testing.TB) {
	tb.Helper()
	e.begin(tb)
	e.await(tb)
}

// begin starts the server and does not wait for it.
func (e *external) begin(tb testing.TB) {
	tb.Helper()
	options := e.options
	s, err := server.NewServer(&options)
	if err != nil {
		tb.Fatal(err)
	}
	go s.Start()
	e.server = s
}

// await waits until the server takes connections.
func (e *external) await(tb testing.TB) {
	tb.Helper()
	if !e.server.ReadyForConnections(time.Minute) {
		tb.Fatal("the external server did not become ready")
	}
}

func (e *external) stop() {
	e.server.Shutdown()
	e.server.WaitForShutdown()
}

func (e *external) url() string { return e.server.ClientURL() }

// admin returns a connection that may do what the ledger never does.
func (e *external) admin(tb testing.TB) jetstream.JetStream {
	tb.Helper()
	nc, err := nats.Connect(e.url())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	if err != nil {
		tb.Fatal(err)
	}
	return js
}

// opening returns the event that opens a job.
func opening(job string) events.Event {
	return event("opening-"+job, events.JobOpened, job,
		events.Opening{JobType: "stairwell", Title: "Stairwell, two floors"})
}

// hours returns a booking with the given id.
func hours(id, job string, minutes int64) events.Event {
	return event(id, events.HoursBooked, job,
		events.Hours{Person: "ada", Grade: "painter", Task: "sand", Minutes: minutes})
}

func event(id string, kind events.Type, subject string, payload any) events.Event {
	data, err := json.Marshal(payload)
	if err != nil {
		panic(err)
	}
	return events.Event{
		ID: id, Source: "/phones/van-2", Type: kind, Subject: subject, Time: "2026-03-04T16:20:00+01:00", Data: data,
	}
}

// record records and fails the test if that is refused.
func record(tb testing.TB, l *Log, firm, job string, submitted ...events.Event) []events.Receipt {
	tb.Helper()
	receipts, err := l.Record(tb.Context(), firm, job, "crew", submitted)
	if err != nil {
		tb.Fatal(err)
	}
	return receipts
}

// book opens a job and books n times on it, one commit each.
func book(tb testing.TB, l *Log, firm, job string, n int) {
	tb.Helper()
	record(tb, l, firm, job, opening(job))
	for i := range n {
		record(tb, l, firm, job, hours(bookingID(i), job, 60))
	}
}

func bookingID(i int) string { return fmt.Sprintf("booking-%06d", i) }

// commits reads a job's commits and fails the test if that fails.
func commits(tb testing.TB, l *Log, firm, job string, upTo uint64) []events.Stored {
	tb.Helper()
	stored, err := l.Commits(tb.Context(), firm, job, upTo)
	if err != nil {
		tb.Fatal(err)
	}
	return stored
}

// eventIDs returns the ids of all events in the commits, as they stand.
func eventIDs(tb testing.TB, stored []events.Stored) []string {
	tb.Helper()
	var ids []string
	for _, s := range stored {
		c, err := events.DecodeCommit(s.Raw)
		if err != nil {
			tb.Fatal(err)
		}
		for i := range c.Events {
			ids = append(ids, c.Events[i].ID)
		}
	}
	return ids
}

// once fails the test unless ids holds each of want exactly once.
func once(tb testing.TB, ids []string, want map[string]bool) {
	tb.Helper()
	seen := map[string]int{}
	for _, id := range ids {
		seen[id]++
		if seen[id] > 1 {
			tb.Errorf("event %s is stored %d times", id, seen[id])
		}
	}
	for id := range want {
		if seen[id] == 0 {
			tb.Errorf("event %s was acknowledged and is not stored", id)
		}
	}
}

// follow follows a partition in the background and passes each commit on. The
// channel end gets the result of Follow.
func follow(tb testing.TB, l *Log, partition uint8, after uint64) (arrived <-chan events.Stored, end <-chan error) {
	tb.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, done, ended := make(chan events.Stored, 1024), make(chan error, 1), make(chan struct{})
	go func() {
		defer close(ended)
		done <- l.Follow(ctx, partition, after, func(batch []events.Stored) error {
			for _, s := range batch {
				select {
				case out <- s:
				case <-ctx.Done():
					return nil
				}
			}
			return nil
		})
	}()
	tb.Cleanup(func() {
		cancel()
		<-ended
	})
	return out, done
}

// next returns the next commit that is followed.
func next(tb testing.TB, arrived <-chan events.Stored, end <-chan error) events.Stored {
	tb.Helper()
	select {
	case s := <-arrived:
		return s
	case err := <-end:
		tb.Fatalf("following ended: %v", err)
	case <-tb.Context().Done():
		tb.Fatal("the test ended")
	}
	return events.Stored{}
}

// wantCode fails the test unless err has the code and its text holds each part.
func wantCode(tb testing.TB, err error, code events.Code, parts ...string) {
	tb.Helper()
	if got := events.CodeOf(err); got != code {
		tb.Fatalf("the error is %v with code %q, want code %q", err, got, code)
	}
	wantText(tb, err, parts...)
}

// portOf returns the port that a server was given.
func portOf(tb testing.TB, e *external) int {
	tb.Helper()
	address, ok := e.server.Addr().(*net.TCPAddr)
	if !ok {
		tb.Fatalf("the server listens on %v", e.server.Addr())
	}
	return address.Port
}
