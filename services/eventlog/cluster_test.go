package eventlog

import (
	"fmt"
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"daysheet/events"
)

// cluster is three servers that reach each other through proxies, so that each can
// be cut off while it runs on.
type cluster struct {
	nodes   []*external
	proxies map[[2]int]*proxy // from, to
}

func startCluster(t *testing.T) *cluster {
	t.Helper()
	const size = 3
	c := &cluster{proxies: map[[2]int]*proxy{}}
	addresses := freeAddresses(t, 2*size)
	for i := range size {
		var routes []*url.URL
		for to := range size {
			if to == i {
				continue
			}
			p := startProxy(t, addresses[to])
			c.proxies[[2]int{i, to}] = p
			routes = append(routes, &url.URL{Scheme: "nats", Host: p.listener.Addr().String()})
		}
		_, route, err := net.SplitHostPort(addresses[i])
		if err != nil {
			t.Fatal(err)
		}
		_, client, err := net.SplitHostPort(addresses[size+i])
		if err != nil {
			t.Fatal(err)
		}
		e := &external{options: server.Options{
			ServerName: fmt.Sprintf("node-%d", i), Host: "127.0.0.1", Port: number(t, client), NoSigs: true, NoLog: true,
			JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, JetStreamMaxStore: 1 << 40, Routes: routes,
			// Nobody listens on what is advertised: every route goes through a proxy.
			Cluster: server.ClusterOpts{Name: "ledger", Host: "127.0.0.1", Port: number(t, route),
				Advertise: "127.0.0.1:9", NoAdvertise: true},
		}}
		e.begin(t)
		t.Cleanup(func() { e.stop() })
		c.nodes = append(c.nodes, e)
	}
	for _, e := range c.nodes {
		e.await(t)
	}
	return c
}

func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// part cuts a node off from the others, or lets it come back.
func (c *cluster) part(node *external, parted bool) {
	for pair, p := range c.proxies {
		if c.nodes[pair[0]] == node || c.nodes[pair[1]] == node {
			p.part(parted)
		}
	}
}

// config is for a log that reaches the nodes.
func (c *cluster) config(nodes ...*external) Config {
	var urls []string
	for _, e := range nodes {
		urls = append(urls, e.url())
	}
	return Config{URL: strings.Join(urls, ","), Replicas: 3, MaxBytes: 64 << 20, RequestTimeout: 2 * time.Second}
}

// prepare makes the streams, once the cluster has found itself.
func (c *cluster) prepare(t *testing.T) {
	t.Helper()
	for {
		_, err := Prepare(t.Context(), c.config(c.nodes...))
		if err == nil {
			return
		}
		if events.CodeOf(err) != events.Unavailable || t.Context().Err() != nil {
			t.Fatal(err)
		}
	}
}

// others returns the nodes but one.
func (c *cluster) others(but *external) []*external {
	return slices.DeleteFunc(slices.Clone(c.nodes), func(e *external) bool { return e == but })
}

// TestCluster writes to one job through two logs while the server that leads its
// partition goes away and comes back.
func TestCluster(t *testing.T) {
	c := startCluster(t)
	c.prepare(t)
	cfg := c.config(c.nodes...)
	logs := []*Log{open(t, cfg), open(t, cfg)}
	if _, err := untilRecorded(t.Context(), logs[0], testJob, opening(testJob)); err != nil {
		t.Fatal(err)
	}
	arrived, end := follow(t, logs[1], Partition(testFirm), 0)
	acknowledged := appendAlike(t, logs, []string{testJob}, 8, 4)[testJob]
	leader := leaderOf(t, c.nodes, logs[0], Partition(testFirm))
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

// leaderOf returns the server that leads a partition, once there is one.
func leaderOf(t *testing.T, nodes []*external, l *Log, partition uint8) *external {
	t.Helper()
	for {
		info, err := l.streams[partition].Info(t.Context())
		for _, e := range nodes {
			if err == nil && e.server.Name() == info.Cluster.Leader {
				return e
			}
		}
		if t.Context().Err() != nil {
			t.Fatalf("nobody leads partition %d (%v)", partition, err)
		}
	}
}
