package projector

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// rawLog is a log with a way past its door.
type rawLog struct {
	*eventlog.Log
	js jetstream.JetStream
}

func openRawLog(t *testing.T) rawLog {
	t.Helper()
	s, err := server.NewServer(&server.Options{
		Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true,
		JetStream: true, StoreDir: t.TempDir(), JetStreamMaxStore: 1 << 30, SyncAlways: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	if !s.ReadyForConnections(patience) {
		t.Fatal("the log server does not start")
	}
	cfg := eventlog.Config{URL: s.ClientURL(), MaxBytes: 16 << 20, Now: func() time.Time { return day }}
	if _, err := eventlog.Prepare(testContext(t), cfg); err != nil {
		t.Fatal(err)
	}
	log, err := eventlog.Open(testContext(t), cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := log.Close(); err != nil {
			t.Error(err)
		}
	})
	nc, err := nats.Connect(s.ClientURL())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	return rawLog{log, js}
}

// put appends bytes under a job as they are.
func (l rawLog) put(t *testing.T, job string, raw []byte) (sequence uint64) {
	t.Helper()
	subject := fmt.Sprintf("ledger.%02d.%s.%s", eventlog.Partition(firm), firm, job)
	ack, err := l.js.Publish(testContext(t), subject, raw)
	if err != nil {
		t.Fatal(err)
	}
	return ack.Sequence
}

// commit encodes a commit that comes after the job's first one.
func (l rawLog) commit(t *testing.T, job string, version uint64, previous string, e events.Event) []byte {
	t.Helper()
	c := events.Commit{Firm: firm, Job: job, Version: version, Previous: previous, RecordedBy: "office",
		RecordedAt: day.Add(time.Hour), Events: []events.Event{e}}
	raw, err := c.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// head returns the hash of the job's last commit.
func (l rawLog) head(t *testing.T, job string) string {
	t.Helper()
	commits, err := l.Commits(testContext(t), firm, job, 0)
	if err != nil || len(commits) == 0 {
		t.Fatalf("%d commits, %v", len(commits), err)
	}
	return events.Hash(commits[len(commits)-1].Raw)
}

// TestDamageStopsAtItsSequence puts what no version of this program could have
// recorded behind two good commits: what stands before is projected, nothing
// after it is, and the error says where.
func TestDamageStopsAtItsSequence(t *testing.T) {
	const job = "stairwell-7"
	future := invent("future-0001", job, "daysheet.robot.started.v9", day, events.Reopening{Reason: "none"})
	misspelt := booked("hours-0002", job, 30)
	misspelt.Data = []byte(`{"minuts":30,"person":"ada","task":"coat"}`)
	good := booked("hours-0002", job, 30)
	for _, c := range []struct {
		name string
		raw  func(*testing.T, rawLog) []byte
		want string
	}{
		{"no JSON", func(*testing.T, rawLog) []byte { return []byte("{") }, ""},
		{"unknown type", func(t *testing.T, l rawLog) []byte {
			return l.commit(t, job, 3, l.head(t, job), future)
		}, "daysheet.robot.started.v9"},
		{"unknown member", func(t *testing.T, l rawLog) []byte {
			return l.commit(t, job, 3, l.head(t, job), misspelt)
		}, "minuts"},
		{"wrong hash", func(t *testing.T, l rawLog) []byte {
			return l.commit(t, job, 3, events.Hash([]byte("another")), good)
		}, "chain is broken"},
		{"version left out", func(t *testing.T, l rawLog) []byte {
			return l.commit(t, job, 4, l.head(t, job), good)
		}, "chain is broken"},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := openRawLog(t)
			mustRecord(t, log.Log, firm, opened(job))
			before := mustRecord(t, log.Log, firm, booked("hours-0001", job, 90))
			damaged := log.put(t, job, c.raw(t, log))
			after := mustRecord(t, log.Log, firm, opened("landing-8"))

			store := openStore(t)
			err := New(log, store, nil).Run(testContext(t))
			requireDamage(t, err, damaged, c.want)
			at, err := store.Position(testContext(t), eventlog.Partition(firm))
			if err != nil || at != before {
				t.Errorf("the store stands at %d, %v; want %d, before the damage at %d and %d after it",
					at, err, before, damaged, after)
			}
			report, err := Verify(testContext(t), log, store, openStore(t), nil)
			if err != nil {
				t.Fatal(err)
			}
			if len(report.Findings) != 1 || !strings.Contains(report.Findings[0], fmt.Sprintf("sequence %d", damaged)) {
				t.Errorf("verify found %q, want the damage at sequence %d", report.Findings, damaged)
			}
		})
	}
}

func requireDamage(t *testing.T, err error, sequence uint64, want string) {
	t.Helper()
	var damage *DamageError
	if !errors.As(err, &damage) {
		t.Fatalf("run returned %v", err)
	}
	if damage.Partition != eventlog.Partition(firm) || damage.Sequence != sequence {
		t.Errorf("damage at partition %d, sequence %d; want %d, %d",
			damage.Partition, damage.Sequence, eventlog.Partition(firm), sequence)
	}
	place := fmt.Sprintf("partition %d: sequence %d: ", damage.Partition, sequence)
	if text := err.Error(); !strings.Contains(text, place) || !strings.Contains(text, want) {
		t.Errorf("the error %q does not say %q and %q", text, place, want)
	}
}

// gapped is the real log without one commit.
type gapped struct {
	Log
	without uint64
}

func (g gapped) Follow(
	ctx context.Context, partition uint8, after uint64, deliver func([]events.Stored) error,
) error {
	return g.Log.Follow(ctx, partition, after, func(delivered []events.Stored) error {
		var rest []events.Stored
		for _, s := range delivered {
			if s.Sequence != g.without {
				rest = append(rest, s)
			}
		}
		return deliver(rest)
	})
}

func TestAMissingCommitStopsTheRun(t *testing.T) {
	log := openLog(t, nil)
	mustRecord(t, log, firm, opened("stairwell-7"))
	mustRecord(t, log, firm, booked("hours-0001", "stairwell-7", 90))
	mustRecord(t, log, firm, opened("landing-8"))
	err := New(gapped{log, 2}, openStore(t), nil).Run(testContext(t))
	requireDamage(t, err, 2, "commits are missing")
}
