package eventlog

import (
	"fmt"
	"net"
	"net/url"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
)

// startCluster starts three servers that know each other.
func startCluster(t *testing.T) []*external {
	t.Helper()
	const size = 3
	var routes []*url.URL
	var ports []int
	var taken []net.Listener // all at once, so that no port is given twice
	for range size {
		free, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		taken = append(taken, free)
		ports = append(ports, free.Addr().(*net.TCPAddr).Port)
		routes = append(routes, &url.URL{Scheme: "nats", Host: free.Addr().String()})
	}
	for _, free := range taken {
		if err := free.Close(); err != nil {
			t.Fatal(err)
		}
	}
	var nodes []*external
	for i := range size {
		e := &external{options: server.Options{
			ServerName: fmt.Sprintf("node-%d", i), Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true,
			JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, JetStreamMaxStore: 1 << 40,
			Cluster: server.ClusterOpts{Name: "ledger", Host: "127.0.0.1", Port: ports[i]}, Routes: routes,
		}}
		e.start(t)
		t.Cleanup(func() { e.stop() })
		nodes = append(nodes, e)
	}
	return nodes
}

// TestCluster writes to one job through two logs while the server that leads its
// partition goes away and comes back.
func TestCluster(t *testing.T) {
	nodes := startCluster(t)
	var urls []string
	for _, e := range nodes {
		e.options.Port = portOf(t, e)
		urls = append(urls, e.url())
	}
	cfg := Config{URL: strings.Join(urls, ","), Replicas: 3, MaxBytes: 64 << 20}
	logs := []*Log{open(t, cfg), open(t, cfg)}
	if _, err := untilRecorded(t.Context(), logs[0], testJob, opening(testJob)); err != nil {
		t.Fatal(err)
	}
	arrived, end := follow(t, logs[1], Partition(testFirm), 0)
	acknowledged := appendAlike(t, logs, []string{testJob}, 8, 4)[testJob]
	leader := leaderOf(t, nodes, logs[0], Partition(testFirm))
	leader.stop()
	for i := range 6 {
		if i == 3 {
			leader.start(t)
		}
		id := fmt.Sprintf("booking-later-%d", i)
		if _, err := untilRecorded(t.Context(), logs[i%2], testJob, hours(id, testJob, 5)); err != nil {
			t.Fatal(err)
		}
		acknowledged[id] = true
	}
	stored := commits(t, logs[0], testFirm, testJob, 0)
	once(t, eventIDs(t, stored), acknowledged)
	for _, want := range stored {
		if s := next(t, arrived, end); s.Sequence != want.Sequence {
			t.Fatalf("sequence %d arrived, want %d", s.Sequence, want.Sequence)
		}
	}
	if err := logs[0].Check(t.Context(), Partition(testFirm), uint64(len(stored))); err != nil {
		t.Error(err)
	}
}

// leaderOf returns the server that leads a partition.
func leaderOf(t *testing.T, nodes []*external, l *Log, partition uint8) *external {
	t.Helper()
	info, err := l.streams[partition].Info(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range nodes {
		if e.server.Name() == info.Cluster.Leader {
			return e
		}
	}
	t.Fatalf("%q leads the partition, and is none of ours", info.Cluster.Leader)
	return nil
}
