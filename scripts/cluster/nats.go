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

	"daysheet/scripts/ports"
	"daysheet/services/eventlog"
)

// nodes is how many NATS servers there are: each keeps a copy of the log.
const nodes = 3

// natsCluster is three NATS servers. Each reaches each other through a proxy of
// its own, so that any two can be parted.
type natsCluster struct {
	servers []*process
	who     *identity
	ports   []int    // of clients
	stores  []string // folders
	proxies map[[2]int]*proxy
}

var natsReady = regexp.MustCompile(`Server is ready()`)

// startNATS starts the servers with their data under folder.
func startNATS(ctx context.Context, program, folder string, who *identity) (*natsCluster, error) {
	taken, err := ports.Take(3 * nodes)
	if err != nil {
		return nil, err
	}
	c := &natsCluster{ports: taken[:nodes], who: who, proxies: map[[2]int]*proxy{}}
	routes := taken[nodes : 2*nodes]
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
		own := filepath.Join(folder, fmt.Sprintf("nats-%d", i))
		if err := configure(own, taken[2*nodes+i]); err != nil {
			return nil, err
		}
		server := &process{name: fmt.Sprintf("nats-%d", i), program: program,
			args: []string{"-c", filepath.Join(own, natsFiles[0])}, env: c.environment(i, routes[i], own, who),
			ready: natsReady, log: filepath.Join(folder, fmt.Sprintf("nats-%d.log", i))}
		c.servers, c.stores = append(c.servers, server), append(c.stores, storeIn(own))
	}
	for _, s := range c.servers {
		if err := s.start(ctx); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// natsFiles are the configuration that deploy/nats holds.
var natsFiles = []string{"nats.conf", "users.conf"}

// configure puts the configuration of deploy/nats into a folder. Two things differ,
// because three nodes share a machine here: the monitor's port, and the address that
// a node advertises, on which nobody listens, so that every route goes through a
// proxy and can be cut.
func configure(folder string, monitor int) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	for _, name := range natsFiles {
		raw, err := os.ReadFile(filepath.Join("deploy", "nats", name))
		if err != nil {
			return fmt.Errorf("read configuration of NATS; run this from the top of the tree: %w", err)
		}
		text := strings.ReplaceAll(string(raw), `"127.0.0.1:8222"`, fmt.Sprintf("\"127.0.0.1:%d\"", monitor))
		text = strings.Replace(text, "  name: ledger\n", "  name: ledger\n  advertise: \"127.0.0.1:9\"\n", 1)
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			return err
		}
	}
	return nil
}

func storeIn(folder string) string { return filepath.Join(folder, "data") }

// environment is what differs between nodes.
func (c *natsCluster) environment(i, route int, folder string, who *identity) []string {
	env := []string{
		fmt.Sprintf("NATS_NAME=node-%d", i), fmt.Sprintf("NATS_LISTEN=127.0.0.1:%d", c.ports[i]),
		fmt.Sprintf("NATS_CLUSTER_LISTEN=127.0.0.1:%d", route), "NATS_STORE=" + storeIn(folder),
		"NATS_CERT=" + who.file("node.pem"), "NATS_KEY=" + who.file("node.key"), "NATS_CA=" + who.file("ca.pem"),
	}
	for to := range nodes {
		address := fmt.Sprintf("127.0.0.1:%d", route)
		if to != i {
			address = c.proxies[[2]int{i, to}].address()
		}
		env = append(env, fmt.Sprintf("NATS_ROUTE_%d=nats://%s", to+1, address))
	}
	for user, variable := range users() {
		env = append(env, variable+"="+who.users[user])
	}
	return env
}

// url names every server.
func (c *natsCluster) url() string {
	var urls []string
	for _, port := range c.ports {
		urls = append(urls, fmt.Sprintf("tls://127.0.0.1:%d", port))
	}
	return strings.Join(urls, ",")
}

// ask asks the cluster as its operator.
func (c *natsCluster) ask(ctx context.Context, question func(context.Context, jetstream.JetStream) error) error {
	key, err := nats.NkeyOptionFromSeed(c.who.file("operator.nk"))
	if err != nil {
		return fmt.Errorf("ask as operator: %w", err)
	}
	conn, err := nats.Connect(c.url(), key, nats.RootCAs(c.who.file("ca.pem")), nats.MaxReconnects(-1),
		nats.ClientCert(c.who.file("client.pem"), c.who.file("client.key")), nats.CustomInboxPrefix("_INBOX_operator"))
	if err != nil {
		return fmt.Errorf("ask as operator: %w", err)
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		return err
	}
	return question(ctx, js)
}

// leader returns the number of the server that leads a stream.
func (c *natsCluster) leader(ctx context.Context, stream string) (number int, err error) {
	return number, c.ask(ctx, func(ctx context.Context, js jetstream.JetStream) error {
		s, err := js.Stream(ctx, stream)
		if err != nil {
			return fmt.Errorf("ask for the leader: %w", err)
		}
		leader := s.CachedInfo().Cluster.Leader
		if _, err := fmt.Sscanf(leader, "node-%d", &number); err != nil {
			return fmt.Errorf("stream %s has no leader now (%q)", stream, leader)
		}
		return nil
	})
}

// complete fails unless all nodes keep all of the log.
func (c *natsCluster) complete(ctx context.Context) error {
	return c.ask(ctx, func(ctx context.Context, js jetstream.JetStream) error {
		for partition := range eventlog.Partitions {
			name := streamOf(uint8(partition))
			s, err := js.Stream(ctx, name)
			if err != nil {
				return fmt.Errorf("ask for the replicas of %s: %w", name, err)
			}
			cluster := s.CachedInfo().Cluster
			with := 1
			for _, replica := range cluster.Replicas {
				if replica.Current && !replica.Offline {
					with++
				}
			}
			if with < nodes || cluster.Leader == "" {
				return fmt.Errorf("%s is current on %d of %d nodes", name, with, nodes)
			}
		}
		return nil
	})
}

// emptyDisk removes what a node that does not run has kept.
func (c *natsCluster) emptyDisk(node int) error { return os.RemoveAll(c.stores[node]) }

// part cuts a node off from the others, or lets it come back.
func (c *natsCluster) part(node int, cut bool) {
	for pair, p := range c.proxies {
		if pair[0] == node || pair[1] == node {
			p.setCut(cut)
		}
	}
}
