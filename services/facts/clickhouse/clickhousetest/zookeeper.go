package clickhousetest

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// library is where Debian's package zookeeper puts its program, and what it
// depends on.
const library = "/usr/share/java/"

// zooKeeperConfig keeps sessions short, so that a server that was killed is soon
// known to be gone.
const zooKeeperConfig = `clientPortAddress=127.0.0.1
clientPort=%s
dataDir=%s
tickTime=500
maxSessionTimeout=2000
maxClientCnxns=0
4lw.commands.whitelist=srvr,dump
admin.enableServer=false
`

// startZooKeeper starts an empty ZooKeeper, and says whether it answers at the
// address.
func startZooKeeper(t testing.TB, address string) bool {
	t.Helper()
	const jar = library + "zookeeper.jar"
	for path, from := range map[string]string{jar: "zookeeper", "/usr/bin/java": "default-jre-headless"} {
		if _, err := os.Stat(path); err != nil {
			t.Fatalf("%s is missing: install the Debian package %s", path, from)
		}
	}
	folder := t.TempDir()
	file := filepath.Join(folder, "zoo.cfg")
	text := fmt.Sprintf(zooKeeperConfig, port(t, address), filepath.Join(folder, "data"))
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := &process{t: t, program: "/usr/bin/java", folder: folder, ready: []string{"PrepRequestProcessor (sid:0) started"},
		arguments: []string{"-Xmx128m", "-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-Dzookeeper.forceSync=no",
			"-cp", jar + ":" + library + "slf4j-simple.jar",
			"org.apache.zookeeper.server.quorum.QuorumPeerMain", file}}
	t.Cleanup(p.Kill)
	p.begin()
	if !p.answers() {
		t.Logf("ZooKeeper does not start:\n%s", p.output)
		return false
	}
	for !strings.Contains(ask(t, address, "srvr"), "Mode: standalone") {
		// It listens, and does not serve yet. A ClickHouse of 18.16 dies of that.
		if !p.answers() {
			return false
		}
	}
	return true
}

// ask sends ZooKeeper one of its words of four letters.
func ask(t testing.TB, address, word string) string {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(conn, word); err != nil {
		t.Fatal(err)
	}
	said, err := io.ReadAll(conn)
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.Close(); err != nil {
		t.Fatal(err)
	}
	return string(said)
}
