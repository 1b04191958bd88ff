package clickhousetest

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// What the sample configuration in deploy/clickhouse names.
const (
	ClusterName     = "daysheet"
	ClusterUser     = "daysheet"
	ClusterPassword = "invented-password"
	ClusterDatabase = "daysheet" // the only one that ClusterUser reaches in a [SampleCluster]
)

// Cluster is the cluster of the sample configuration, on loopback, and a
// ZooKeeper. It ends with the test.
type Cluster struct {
	Servers []*Server // 1a, 1b, 2a and 2b: the shard, and which replica

	keeper string // address of the ZooKeeper
}

// What a cluster may do without of the sample configuration.
var (
	rights       = regexp.MustCompile(`<allow_databases>.*</allow_databases>`)
	otherReplica = regexp.MustCompile(`<replica>\s*<host>clickhouse-.b</host>(?s:.*?)</replica>`)
)

// StartCluster starts an empty cluster of two shards with two replicas each, and
// waits until its servers answer. Every user reaches every database, so that
// tests can have one each.
func StartCluster(t testing.TB) *Cluster {
	t.Helper()
	return startCluster(t, []string{"1a", "1b", "2a", "2b"}, rights)
}

// StartShards is StartCluster with one replica of each shard.
func StartShards(t testing.TB) *Cluster {
	t.Helper()
	return startCluster(t, []string{"1a", "2a"}, rights, otherReplica)
}

// SampleCluster is StartCluster with the sample configuration, in which nothing
// but addresses was changed.
func SampleCluster(t testing.TB) *Cluster {
	t.Helper()
	return startCluster(t, []string{"1a", "1b", "2a", "2b"})
}

func startCluster(t testing.TB, names []string, without ...*regexp.Regexp) *Cluster {
	t.Helper()
	for range attempts {
		free := freeAddresses(t, 2*len(names)+1)
		keeper, natives, between := free[0], free[1:1+len(names)], free[1+len(names):]
		if !startZooKeeper(t, keeper) {
			continue
		}
		replace := []string{}
		for i, name := range names {
			replace = append(replace, "<host>clickhouse-"+name+"</host><port>9000</port>", element(t, natives[i]))
		}
		for i := range 3 {
			replace = append(replace, fmt.Sprintf("<host>zookeeper-%d</host><port>2181</port>", i+1), element(t, keeper))
		}
		c := &Cluster{keeper: keeper}
		for i, name := range names {
			s := newServer(t, natives[i])
			own := slices.Concat(replace,
				[]string{"<interserver_http_port>9009<", "<interserver_http_port>" + port(t, between[i]) + "<"})
			s.sample(strings.NewReplacer(own...), without)
			s.environment = []string{"DAYSHEET_CLICKHOUSE_HOST=127.0.0.1", "DAYSHEET_CLICKHOUSE_SHARD=" + name[:1],
				"DAYSHEET_CLICKHOUSE_REPLICA=" + name[1:], "DAYSHEET_CLICKHOUSE_PASSWORD=" + ClusterPassword}
			// Told to make a table before it has looked what the cluster has to do, it dies.
			s.arguments = append(s.arguments, "--logger.level=debug")
			s.ready = append(s.ready, "DDLWorker: Waiting a watch")
			s.begin()
			c.Servers = append(c.Servers, s)
		}
		if c.answers(t) {
			return c
		}
	}
	t.Fatal("the ClickHouse cluster does not start")
	return nil
}

// element writes an address as the sample configuration does.
func element(t testing.TB, address string) string {
	return "<host>127.0.0.1</host><port>" + port(t, address) + "</port>"
}

// sample puts the sample configuration beside the server's own. A server reads
// there what it knows of users, too.
func (s *Server) sample(addresses *strings.Replacer, without []*regexp.Regexp) {
	s.t.Helper()
	parts := filepath.Join(s.folder, "config.d")
	if err := os.Mkdir(parts, 0o700); err != nil {
		s.t.Fatal(err)
	}
	for _, name := range []string{"cluster.xml", "user.xml"} {
		raw, err := os.ReadFile(filepath.Join(top(s.t), "deploy", "clickhouse", name))
		if err != nil {
			s.t.Fatal(err)
		}
		text := addresses.Replace(string(raw))
		for _, part := range without {
			text = part.ReplaceAllString(text, "")
		}
		if strings.Contains(text, "<host>clickhouse-") || strings.Contains(text, "<host>zookeeper-") {
			s.t.Fatalf("%s has addresses that are not known here:\n%s", name, text)
		}
		if err := os.WriteFile(filepath.Join(parts, name), []byte(text), 0o600); err != nil {
			s.t.Fatal(err)
		}
	}
}

// top returns the top folder of the module.
func top(t testing.TB) string {
	t.Helper()
	folder, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(folder, "go.mod")); err == nil {
			return folder
		}
		above := filepath.Dir(folder)
		if above == folder {
			t.Fatal("no go.mod above the folder of the test")
		}
		folder = above
	}
}

func (c *Cluster) answers(t testing.TB) bool {
	t.Helper()
	all := true
	for _, s := range c.Servers {
		if !s.answers() {
			t.Logf("a ClickHouse server of the cluster does not start:\n%s", s.output)
			all = false
		}
	}
	if !all {
		for _, s := range c.Servers {
			s.Kill()
		}
	}
	return all
}

// Address returns the addresses of all servers, with commas between.
func (c *Cluster) Address() string {
	var addresses []string
	for _, s := range c.Servers {
		addresses = append(addresses, s.Address)
	}
	return strings.Join(addresses, ",")
}

// Database makes an empty database on every server where there is none of that
// name.
func (c *Cluster) Database(name string) {
	for _, s := range c.Servers {
		s.Database(name)
	}
}

// Restart starts servers that were killed, when ZooKeeper has noticed that they
// were: before that they would not be let in, and try again only after a time.
func (c *Cluster) Restart(servers ...*Server) {
	t := c.Servers[0].t
	t.Helper()
	noticed := regexp.MustCompile(fmt.Sprintf(`Sessions with Ephemerals \(%d\)`, len(c.Servers)-len(servers)))
	for !noticed.MatchString(ask(t, c.keeper, "dump")) {
		if err := t.Context().Err(); err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range servers {
		s.Restart()
	}
}
