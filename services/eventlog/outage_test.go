package eventlog

import (
	"testing"
	"time"

	"daysheet/events"
)

// TestLostRequestsAndAnswers loses a commit on its way to the server, or its
// acknowledgement on the way back. In both cases the commit is stored once, and
// the receipt says that it was this submission that stored it.
func TestLostRequestsAndAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		fromClient bool
		mark       string
	}{
		"request": {true, "HPUB ledger."},
		"answer":  {false, `"stream":"LEDGER_`},
	} {
		t.Run(name, func(t *testing.T) {
			e := startExternal(t)
			p := startProxy(t, e.server.Addr().String())
			l := open(t, Config{URL: p.url(), RequestTimeout: 500 * time.Millisecond})
			book(t, l, testFirm, testJob, 1)

			lost := p.lose(c.fromClient, c.mark)
			type outcome struct {
				receipts []events.Receipt
				err      error
			}
			recorded := make(chan outcome, 1)
			go func() {
				submitted := []events.Event{hours("booking-lost", testJob, 5)}
				receipts, err := l.Record(t.Context(), testFirm, testJob, "crew", submitted)
				recorded <- outcome{receipts, err}
			}()
			<-lost
			p.cut()
			got := <-recorded
			if got.err != nil {
				t.Fatal(got.err)
			}
			wantReceipts(t, got.receipts, []events.Receipt{{ID: "booking-lost", Job: testJob, Sequence: 3}})
			again := record(t, l, testFirm, testJob, hours("booking-lost", testJob, 5))
			wantReceipts(t, again, []events.Receipt{{ID: "booking-lost", Job: testJob, Sequence: 3, Duplicate: true}})
			if n := len(commits(t, l, testFirm, testJob, 0)); n != 3 {
				t.Errorf("%d commits are stored, want 3", n)
			}
		})
	}
}

// TestServerAwayForLong gives up in the end, and says that sending again is safe.
func TestServerAwayForLong(t *testing.T) {
	e := startExternal(t)
	l := open(t, Config{URL: e.url(), RequestTimeout: 100 * time.Millisecond})
	book(t, l, testFirm, testJob, 1)
	e.stop()
	_, err := l.Record(t.Context(), testFirm, testJob, "crew", []events.Event{hours("booking-1", testJob, 5)})
	wantCode(t, err, events.Unavailable, "sending the same events again is safe")
	if err := l.Health(t.Context()); err == nil {
		t.Error("a log without a server is called healthy")
	}
}

// TestServerRestarts restarts the server while somebody writes and somebody
// follows. Its consumers live in memory and are gone then.
func TestServerRestarts(t *testing.T) {
	e := startExternal(t)
	l := open(t, Config{URL: e.url(), RequestTimeout: time.Second})
	e.options.Port = portOf(t, e)
	book(t, l, testFirm, testJob, 1)
	arrived, end := follow(t, l, Partition(testFirm), 0)
	next(t, arrived, end)
	next(t, arrived, end)
	for i := range 2 {
		e.stop()
		recorded := make(chan error, 1)
		go func() {
			_, err := untilRecorded(t.Context(), l, testJob, hours("away-"+bookingID(i), testJob, 5))
			recorded <- err
		}()
		e.start(t)
		if err := <-recorded; err != nil {
			t.Fatal(err)
		}
		if s := next(t, arrived, end); s.Sequence != uint64(3+i) {
			t.Fatalf("sequence %d arrived after the restart, want %d", s.Sequence, 3+i)
		}
	}
	if err := l.Health(t.Context()); err != nil {
		t.Errorf("after the restart: %v", err)
	}
	if n := len(commits(t, l, testFirm, testJob, 0)); n != 4 {
		t.Errorf("%d commits are stored, want 4", n)
	}
}

// TestConsumerIsDeleted takes the consumer away from under Follow.
func TestConsumerIsDeleted(t *testing.T) {
	e := startExternal(t)
	l := open(t, Config{URL: e.url()})
	book(t, l, testFirm, testJob, 1)
	arrived, end := follow(t, l, Partition(testFirm), 0)
	next(t, arrived, end)
	next(t, arrived, end)
	stream, err := e.admin(t).Stream(t.Context(), streamName(Partition(testFirm)))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 3 {
		names := stream.ConsumerNames(t.Context())
		deleted := 0
		for name := range names.Name() {
			if err := stream.DeleteConsumer(t.Context(), name); err != nil {
				t.Fatal(err)
			}
			deleted++
		}
		if names.Err() != nil || deleted == 0 {
			t.Fatalf("%d consumers were found: %v", deleted, names.Err())
		}
		record(t, l, testFirm, testJob, hours("later-"+bookingID(i), testJob, 5))
		if s := next(t, arrived, end); s.Sequence != uint64(3+i) {
			t.Fatalf("sequence %d arrived, want %d", s.Sequence, 3+i)
		}
	}
}
