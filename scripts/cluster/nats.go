package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// nodes is how many NATS servers there are: each keeps a copy of the log.
const nodes = 3

// natsCluster is three NATS servers. Each reaches each other through a proxy of
// its own, so that any two can be parted.
type natsCluster struct {
	servers []*process
	ports   []int // of clients
	proxies map[[2]int]*proxy
}

var natsReady = regexp.MustCompile(`Server is ready()`)

// startNATS starts the servers with their data under folder.
func startNATS(ctx context.Context, program, folder string) (*natsCluster, error) {
	ports, err := freePorts(2 * nodes)
	if err != nil {
		return nil, err
	}
	c := &natsCluster{ports: ports[:nodes], proxies: map[[2]int]*proxy{}}
	routes := ports[nodes:]
	for from := range nodes {
		for to := range nodes {
			if from == to {
				continue
			}
			p, err := newProxy(fmt.Sprintf("127.0.0.1:%d", routes[to]))
			if err != nil {
				return nil, err
			}
			c.proxies[[2]int{from, to}] = p
		}
	}
	for i := range nodes {
		file := filepath.Join(folder, fmt.Sprintf("nats-%d.conf", i))
		if err := os.WriteFile(file, []byte(c.config(i, routes[i], folder)), 0o600); err != nil {
			return nil, err
		}
		server := &process{name: fmt.Sprintf("nats-%d", i), program: program, args: []string{"-c", file},
			ready: natsReady, log: filepath.Join(folder, fmt.Sprintf("nats-%d.log", i))}
		c.servers = append(c.servers, server)
	}
	for _, s := range c.servers {
		if err := s.start(ctx); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// config is the configuration of one node. It advertises an address that nobody
// listens on, so that every route goes through a proxy.
func (c *natsCluster) config(i, route int, folder string) string {
	var others []string
	for to := range nodes {
		if to != i {
			others = append(others, "nats://"+c.proxies[[2]int{i, to}].address())
		}
	}
	return fmt.Sprintf(`server_name: node-%d
listen: 127.0.0.1:%d
jetstream { store_dir: %q, sync_interval: always, max_mem: 64MB, max_file: 1TB }
cluster {
  name: ledger
  listen: 127.0.0.1:%d
  advertise: "127.0.0.1:9"
  no_advertise: true
  routes: [%s]
}
`, i, c.ports[i], filepath.Join(folder, fmt.Sprintf("nats-%d", i)), route, strings.Join(others, ", "))
}

// url names every server.
func (c *natsCluster) url() string {
	var urls []string
	for _, port := range c.ports {
		urls = append(urls, fmt.Sprintf("nats://127.0.0.1:%d", port))
	}
	return strings.Join(urls, ",")
}

// leader returns the number of the server that leads a stream.
func (c *natsCluster) leader(ctx context.Context, stream string) (int, error) {
	conn, err := nats.Connect(c.url(), nats.MaxReconnects(-1))
	if err != nil {
		return 0, fmt.Errorf("ask for the leader: %w", err)
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		return 0, err
	}
	s, err := js.Stream(ctx, stream)
	if err != nil {
		return 0, fmt.Errorf("ask for the leader: %w", err)
	}
	info, err := s.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("ask for the leader: %w", err)
	}
	var number int
	if _, err := fmt.Sscanf(info.Cluster.Leader, "node-%d", &number); err != nil {
		return 0, fmt.Errorf("stream %s has no leader now (%q)", stream, info.Cluster.Leader)
	}
	return number, nil
}

// part cuts a node off from the others, or lets it come back.
func (c *natsCluster) part(node int, cut bool) {
	for pair, p := range c.proxies {
		if pair[0] == node || pair[1] == node {
			p.setCut(cut)
		}
	}
}
