package eventlog

import (
	"net/url"
	"testing"

	"github.com/nats-io/nats.go"

	"daysheet/events"
)

// TestMovesAwayFromServerThatIsCutOff parts the server that a log is connected to,
// once while it leads and once while it follows. The parting lasts until the log has
// recorded and followed on, which it can only at another server.
func TestMovesAwayFromServerThatIsCutOff(t *testing.T) {
	c := startCluster(t)
	c.prepare(t)
	partition := Partition(testFirm)
	cfg := c.config(c.nodes...)
	l, other := open(t, cfg), open(t, cfg)
	if _, err := untilRecorded(t.Context(), l, testJob, opening(testJob)); err != nil {
		t.Fatal(err)
	}
	arrived, end := follow(t, l, partition, 0)
	next(t, arrived, end)
	acknowledged := map[string]bool{}
	for i, parted := range []func(leader *external) *external{
		func(leader *external) *external { return leader },
		func(leader *external) *external { return c.others(leader)[0] },
	} {
		node := parted(leaderOf(t, c.nodes, other, partition))
		for _, conn := range []*connection{l.link, l.tail, other.link} {
			takeTo(t, conn, node)
		}
		c.part(node, true)
		for n, log := range []*Log{l, other} {
			id := bookingID(2*i + n)
			if _, err := untilRecorded(t.Context(), log, testJob, hours(id, testJob, 5)); err != nil {
				t.Fatal(err)
			}
			acknowledged[id] = true
			if at := log.link.ConnectedUrl(); at == node.url() {
				t.Errorf("%s is recorded through %s, which is cut off", id, at)
			}
			if s, want := next(t, arrived, end), uint64(2+2*i+n); s.Sequence != want {
				t.Fatalf("sequence %d arrived, want %d", s.Sequence, want)
			}
		}
		c.part(node, false)
	}
	stored, err := untilRead(t.Context(), l, testJob)
	if err != nil {
		t.Fatal(err)
	}
	once(t, eventIDs(t, stored), acknowledged)
	if len(stored) != 5 {
		t.Errorf("%d commits are stored, want 5", len(stored))
	}
}

// takeTo connects to the node, whatever was chosen before.
func takeTo(t *testing.T, c *connection, node *external) {
	t.Helper()
	address, err := url.Parse(node.url())
	if err != nil {
		t.Fatal(err)
	}
	for c.ConnectedUrl() != node.url() && t.Context().Err() == nil {
		if c.IsConnected() {
			c.lookout.move(nats.Server{URL: address}, errHere)
		}
	}
}

var errHere = &events.Error{Code: events.Unavailable, Rule: "the test wants it elsewhere"}
