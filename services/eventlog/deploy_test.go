package eventlog

import (
	"crypto/x509"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"daysheet/events"
	"daysheet/scripts/ports"
)

// deployed is the cluster of deploy/nats on the loopback interface, with keys and
// certificates of its own.
type deployed struct {
	authority *authority
	nodes     []*external
	urls      []string
}

// users are those of deploy/nats/users.conf.
var users = []string{"writer", "reader", "whole", "operator"}

// startDeployed starts the three nodes from the very files that are deployed. Only
// the port of the monitor is another, because the nodes share a machine here.
func startDeployed(t *testing.T) *deployed {
	t.Helper()
	d := &deployed{authority: newAuthority(t)}
	d.authority.issue(t, "node", &x509.Certificate{
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}})
	d.authority.issue(t, "client", &x509.Certificate{ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}})
	for _, user := range users {
		t.Setenv("LEDGER_"+strings.ToUpper(user), d.newKey(t, user))
	}
	t.Setenv("NATS_CERT", d.authority.path("node.pem"))
	t.Setenv("NATS_KEY", d.authority.path("node.key"))
	t.Setenv("NATS_CA", d.authority.path("ca.pem"))
	addresses := freeAddresses(t, 6)
	for i := range 3 {
		t.Setenv(fmt.Sprintf("NATS_ROUTE_%d", i+1), "nats://"+addresses[i])
	}
	for i := range 3 {
		t.Setenv("NATS_NAME", fmt.Sprintf("node-%d", i))
		t.Setenv("NATS_CLUSTER_LISTEN", addresses[i])
		t.Setenv("NATS_LISTEN", addresses[3+i])
		t.Setenv("NATS_STORE", t.TempDir())
		options, err := server.ProcessConfigFile(filepath.Join("..", "..", "deploy", "nats", "nats.conf"))
		if err != nil {
			t.Fatal(err)
		}
		if options.HTTPHost != "127.0.0.1" || !options.SyncAlways || options.NoAuthUser != "" {
			t.Fatalf("monitor on %q, sync always %t, no_auth_user %q",
				options.HTTPHost, options.SyncAlways, options.NoAuthUser)
		}
		options.HTTPPort, options.NoSigs, options.NoLog = server.RANDOM_PORT, true, true
		e := &external{options: *options}
		e.begin(t)
		t.Cleanup(func() { e.stop() })
		d.nodes, d.urls = append(d.nodes, e), append(d.urls, "tls://"+addresses[3+i])
	}
	for _, e := range d.nodes {
		e.await(t)
	}
	return d
}

// freeAddresses returns addresses that are free, all at once, so that none is given
// twice.
func freeAddresses(t *testing.T, n int) []string {
	t.Helper()
	addresses, err := ports.Addresses(n)
	if err != nil {
		t.Fatal(err)
	}
	return addresses
}

// newKey makes a user's key, keeps the seed in a file and returns the public half.
func (d *deployed) newKey(t *testing.T, user string) string {
	t.Helper()
	pair, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := pair.Seed()
	if err != nil {
		t.Fatal(err)
	}
	d.authority.write(t, user+".nk", seed)
	public, err := pair.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	return public
}

// as returns how a user reaches the log.
func (d *deployed) as(user string) Config {
	a := d.authority
	return Config{URL: strings.Join(d.urls, ","), CAFile: a.path("ca.pem"), CertFile: a.path("client.pem"),
		KeyFile: a.path("client.key"), NKeyFile: a.path(user + ".nk"), InboxPrefix: "_INBOX_" + user,
		Replicas: 3, MaxBytes: 64 << 20}
}

// prepare prepares the log as the operator, once the cluster can.
func (d *deployed) prepare(t *testing.T) {
	t.Helper()
	for {
		done, err := Prepare(t.Context(), d.as("operator"))
		if err == nil {
			if done.Made+done.Kept != Partitions {
				t.Fatalf("prepare did %+v", done)
			}
			return
		}
		if events.CodeOf(err) != events.Unavailable || t.Context().Err() != nil {
			t.Fatal(err)
		}
	}
}

// openAs opens the log as a user, and closes it with the test.
func (d *deployed) openAs(t *testing.T, user string) *Log {
	t.Helper()
	l, err := Open(t.Context(), d.as(user))
	if err != nil {
		t.Fatalf("open as %s: %v", user, err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	})
	return l
}

// TestDeployed runs the ledger on the deployed cluster: each user can do what its
// process does, and is told when it may not.
func TestDeployed(t *testing.T) {
	d := startDeployed(t)
	wrong := d.as("operator")
	wrong.InboxPrefix = "_INBOX_writer"
	_, err := Prepare(t.Context(), wrong)
	wantText(t, err, "does not let this user subscribe to _INBOX_writer.", "inbox prefix")
	d.prepare(t)
	writer, reader, whole := d.openAs(t, "writer"), d.openAs(t, "reader"), d.openAs(t, "whole")
	if _, err := untilRecorded(t.Context(), writer, testJob, opening(testJob)); err != nil {
		t.Fatal(err)
	}
	record(t, whole, testFirm, testJob, hours(bookingID(0), testJob, 5))
	record(t, writer, testFirm, testJob, hours(bookingID(1), testJob, 5))
	partition := Partition(testFirm)
	for user, l := range map[string]*Log{"writer": writer, "reader": reader, "whole": whole} {
		if err := l.Health(t.Context()); err != nil {
			t.Errorf("health as %s: %v", user, err)
		}
		if err := l.Check(t.Context(), partition, 3); err != nil {
			t.Errorf("check as %s: %v", user, err)
		}
		if n := len(commits(t, l, testFirm, testJob, 0)); n != 3 {
			t.Errorf("%d commits as %s, want 3", n, user)
		}
	}
	for _, l := range []*Log{reader, whole} {
		arrived, end := follow(t, l, partition, 0)
		for i := range 3 {
			if s := next(t, arrived, end); s.Sequence != uint64(i+1) {
				t.Fatalf("sequence %d arrived, want %d", s.Sequence, i+1)
			}
		}
	}
	_, err = reader.Record(t.Context(), testFirm, testJob, "crew", []events.Event{hours("booking-no", testJob, 5)})
	wantCode(t, err, events.Unavailable, "does not let this user publish to "+subject(testFirm, testJob))
	err = writer.Follow(t.Context(), partition, 0, func([]events.Stored) error { return nil })
	wantCode(t, err, events.Unavailable, "does not let this user publish to $JS.API.CONSUMER.CREATE.")
	_, err = Prepare(t.Context(), Config{URL: d.as("writer").URL, CAFile: d.as("writer").CAFile,
		CertFile: d.as("writer").CertFile, KeyFile: d.as("writer").KeyFile, NKeyFile: d.as("writer").NKeyFile,
		InboxPrefix: "_INBOX_writer", Replicas: 3, MaxBytes: 128 << 20})
	wantText(t, err, "does not let this user publish to $JS.API.STREAM.UPDATE.")
}

// TestDeployedPermissions tries every subject as every user.
func TestDeployedPermissions(t *testing.T) {
	d := startDeployed(t)
	d.prepare(t)
	stream := streamName(Partition(testFirm))
	for _, c := range []struct {
		subject string
		may     string // the users who may publish to it
	}{
		{subject(testFirm, "permission"), "writer whole"},
		{"ledger.00.a.b.c", ""},
		{"elsewhere", ""},
		{"$JS.API.INFO", "writer reader whole operator"},
		{"$JS.API.STREAM.INFO." + stream, "writer reader whole operator"},
		{"$JS.API.STREAM.MSG.GET." + stream, "writer reader whole operator"},
		{"$JS.API.DIRECT.GET." + stream, "writer reader whole operator"},
		{"$JS.API.DIRECT.GET." + stream + "." + subject(testFirm, testJob), "operator"},
		{"$JS.API.CONSUMER.CREATE." + stream + ".c", "reader whole operator"},
		{"$JS.API.CONSUMER.CREATE." + stream + ".c." + subject(testFirm, testJob), "operator"},
		{"$JS.API.CONSUMER.MSG.NEXT." + stream + ".c", "reader whole operator"},
		{"$JS.API.CONSUMER.DELETE." + stream + ".c", "reader whole operator"},
		{"$JS.API.CONSUMER.DURABLE.CREATE." + stream + ".c", "operator"},
		{"$JS.API.STREAM.NAMES", "operator"},
		{"$JS.API.STREAM.CREATE.OTHER", "operator"},
		{"$JS.API.STREAM.UPDATE." + stream, "operator"},
		{"$JS.API.STREAM.PURGE." + stream, "operator"},
		{"$JS.API.STREAM.MSG.DELETE." + stream, "operator"},
		{"$JS.API.STREAM.SNAPSHOT." + stream, "operator"},
		{"$JS.API.STREAM.LEADER.STEPDOWN." + stream, "operator"},
		{"$JS.API.STREAM.DELETE.OTHER", "operator"},
		{"$SYS.REQ.SERVER.PING", ""},
	} {
		for _, user := range users {
			refused := d.refused(t, user, func(nc *nats.Conn) error { return nc.PublishMsg(&nats.Msg{Subject: c.subject}) })
			if may := strings.Contains(c.may, user); refused == may {
				t.Errorf("%s publishes to %s: refused is %t, want %t", user, c.subject, refused, !may)
			}
		}
	}
	for _, heard := range []string{"ledger.>", ">", "$JS.>", "_INBOX.>", "_INBOX_writer.>", "_INBOX_reader.>",
		"_INBOX_whole.>", "_INBOX_operator.>"} {
		for _, user := range users {
			refused := d.refused(t, user, func(nc *nats.Conn) error {
				_, err := nc.SubscribeSync(heard)
				return err
			})
			if may := heard == "_INBOX_"+user+".>"; refused == may {
				t.Errorf("%s hears %s: refused is %t, want %t", user, heard, refused, !may)
			}
		}
	}
	if _, err := Open(t.Context(), d.as("operator")); err != nil {
		t.Errorf("nothing that was tried may have harmed the log: %v", err)
	}
}

// refused reports whether the server denies a user something.
func (d *deployed) refused(t *testing.T, user string, try func(*nats.Conn) error) bool {
	t.Helper()
	cfg := d.as(user)
	key, err := nats.NkeyOptionFromSeed(cfg.NKeyFile)
	if err != nil {
		t.Fatal(err)
	}
	nc, err := nats.Connect(cfg.URL, key, nats.RootCAs(cfg.CAFile), nats.ClientCert(cfg.CertFile, cfg.KeyFile),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	if err := try(nc); err != nil {
		t.Fatal(err)
	}
	if err := nc.FlushTimeout(time.Minute); err != nil { // what was refused is told before the answer to this
		t.Fatal(err)
	}
	return deniedBy(nc.LastError()) != nil
}

// TestDeployedDoors: nobody comes in without a certificate of the house and a key.
func TestDeployedDoors(t *testing.T) {
	d := startDeployed(t)
	d.prepare(t)
	stranger := newAuthority(t)
	stranger.issue(t, "client", &x509.Certificate{ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}})
	unknown, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := unknown.Seed()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(d.authority.path("unknown.nk"), seed, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		change func(*Config)
		says   string
	}{
		"no key":              {func(c *Config) { c.NKeyFile = "" }, "Authorization"},
		"unknown key":         {func(c *Config) { c.NKeyFile = d.authority.path("unknown.nk") }, "Authorization"},
		"no certificate":      {func(c *Config) { c.CertFile, c.KeyFile = "", "" }, "tls"},
		"foreign certificate": {func(c *Config) { c.CertFile, c.KeyFile = stranger.path("client.pem"), stranger.path("client.key") }, "tls"},
		"untrusted server":    {func(c *Config) { c.CAFile = stranger.path("ca.pem") }, "certificate"},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := d.as("writer")
			c.change(&cfg)
			_, err := Open(t.Context(), cfg)
			wantText(t, err, c.says)
		})
	}
}
