package main

import (
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"maps"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/goccy/go-yaml"
	"github.com/nats-io/nats-server/v2/server"
)

// What stands in deploy/ is read here the way the programs that it is for read it:
// ours by its own command line, NATS by its own server, the rest by its format.

const deployFolder = "../../deploy"

func mustRead(t *testing.T, name string) string {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(deployFolder, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// mustMakeSecrets makes the certificates, keys and password of a house.
func mustMakeSecrets(t *testing.T) string {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "secrets")
	out, err := exec.CommandContext(t.Context(), "go", "run", "../../scripts/cluster", "secrets", "--folder", folder).
		CombinedOutput()
	if err != nil {
		t.Fatalf("make secrets: %v\n%s", err, out)
	}
	return folder
}

// environmentFile reads lines of NAME=VALUE.
func environmentFile(t *testing.T, text string) map[string]string {
	t.Helper()
	values := map[string]string{}
	for line := range strings.Lines(text) {
		name, value, ok := strings.Cut(strings.TrimSpace(line), "=")
		if !ok || name == "" || value == "" {
			t.Fatalf("%q is no setting", line)
		}
		values[name] = value
	}
	return values
}

// composed is a container of the compose file.
type composed struct {
	Image       string
	Command     []string
	Environment map[string]string
	EnvFile     string `yaml:"env_file"`
	Ports       []string
	Secrets     []string
	Volumes     []string
	DependsOn   []string `yaml:"depends_on"`
	Build       struct{ Context, Dockerfile string }
}

// composition is the compose file.
type composition struct {
	Services map[string]composed
	Secrets  map[string]struct{ File string }
	Volumes  map[string]any
}

func mustCompose(t *testing.T) composition {
	t.Helper()
	var c composition
	if err := yaml.Unmarshal([]byte(mustRead(t, "compose.yaml")), &c); err != nil {
		t.Fatal(err)
	}
	return c
}

// TestComposeFileHoldsTogether: what a container names is there, and images have a
// version.
func TestComposeFileHoldsTogether(t *testing.T) {
	c, made := mustCompose(t), mustMakeSecrets(t)
	for name, secret := range c.Secrets {
		if secret.File != "secrets/"+name {
			t.Errorf("secret %s is in %s", name, secret.File)
		}
		if _, err := os.Stat(filepath.Join(made, name)); err != nil {
			t.Errorf("secret %s is not made: %v", name, err)
		}
	}
	for name, s := range c.Services {
		for _, secret := range s.Secrets {
			if _, ok := c.Secrets[secret]; !ok {
				t.Errorf("%s: secret %s is not declared", name, secret)
			}
		}
		for _, value := range s.Environment {
			if secret, ok := strings.CutPrefix(value, "/run/secrets/"); ok && !slices.Contains(s.Secrets, secret) {
				t.Errorf("%s: %s is not among its secrets", name, value)
			}
		}
		for _, volume := range s.Volumes {
			from, _, _ := strings.Cut(volume, ":")
			_, declared := c.Volumes[from]
			if _, err := os.Stat(filepath.Join(deployFolder, from)); !declared && err != nil {
				t.Errorf("%s: volume %s is not there", name, volume)
			}
		}
		for _, other := range s.DependsOn {
			if _, ok := c.Services[other]; !ok {
				t.Errorf("%s depends on %s, which is none", name, other)
			}
		}
		if s.EnvFile != "" {
			if _, err := os.Stat(filepath.Join(made, strings.TrimPrefix(s.EnvFile, "secrets/"))); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
		switch {
		case s.Build.Dockerfile != "":
			if _, err := os.Stat(filepath.Join(deployFolder, s.Build.Context, s.Build.Dockerfile)); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		case !regexp.MustCompile(`:\d+\.\d+`).MatchString(s.Image):
			t.Errorf("%s: the image %s has no version", name, s.Image)
		}
	}
}

// TestComposedLedger: each container of ours starts with flags and variables that
// the command line knows, in parts that are possible and together are all, as the
// user that its part needs, and reaches what it names.
func TestComposedLedger(t *testing.T) {
	c, made := mustCompose(t), mustMakeSecrets(t)
	listen := containerVariables(t)["DAYSHEET_LISTEN"]
	_, port, err := net.SplitHostPort(listen)
	if err != nil {
		t.Fatal(err)
	}
	ran := map[string]bool{}
	for name, s := range c.Services {
		if s.Build.Dockerfile == "" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			for variable, value := range s.Environment {
				if !slices.Contains(knownVariables(t), variable) {
					t.Errorf("no flag is set by %s", variable)
				}
				t.Setenv(variable, strings.Replace(value, "/run/secrets/", made+"/", 1))
			}
			t.Setenv("DAYSHEET_LISTEN", listen)
			cli, err := parse(t, s.Command...)
			if err != nil {
				t.Fatal(err)
			}
			flags := cli.Prepare.NATSFlags
			user := "operator"
			if s.Command[0] == "serve" {
				flags, user = cli.Serve.NATSFlags, checkServe(t, cli, ran)
				if !slices.ContainsFunc(s.Ports, func(p string) bool { return strings.HasSuffix(p, ":"+port) }) {
					t.Errorf("ports %v, and it listens on %s", s.Ports, listen)
				}
				if click := cli.Serve.ClickHouse; click != "clickhouse:9000" {
					t.Errorf("ClickHouse is at %s", click)
				}
				if at := cli.Serve.ClickHouseDatabase; at != c.Services["clickhouse"].Environment["CLICKHOUSE_DB"] {
					t.Errorf("the database is %s", at)
				}
				if as := cli.Serve.ClickHouseUser; as != c.Services["clickhouse"].Environment["CLICKHOUSE_USER"] {
					t.Errorf("the user of ClickHouse is %s", as)
				}
			}
			checkUser(t, flags, user)
			for _, address := range strings.Split(flags.NATS, ",") {
				checkReaches(t, c, address, "tls", "NATS_LISTEN")
			}
		})
	}
	if len(ran) != len(allRoles()) {
		t.Errorf("the parts %v run", slices.Sorted(maps.Keys(ran)))
	}
}

// checkServe returns the user that the parts need, and notes the parts.
func checkServe(t *testing.T, cli *CLI, ran map[string]bool) string {
	t.Helper()
	r, err := rolesOf(cli.Serve.Roles)
	if err == nil {
		err = r.check(cli.Serve.NATSFlags, cli.Serve.StoreFlags)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range r.names() {
		ran[part] = true
	}
	if cli.Serve.NATS != "" && cli.Serve.Photos == "" && (r.runs(roleIntake) || r.runs(roleReporting)) {
		t.Error("photos are refused: it has no folder for them")
	}
	switch {
	case !r.usesStore():
		return "writer"
	case !r.runs(roleIntake):
		return "reader"
	}
	return "whole"
}

func checkUser(t *testing.T, flags NATSFlags, user string) {
	t.Helper()
	if filepath.Base(flags.NATSNKey) != user+".nk" || flags.NATSInbox != "_INBOX_"+user {
		t.Errorf("it signs in with %s and hears %s, want the user %s", flags.NATSNKey, flags.NATSInbox, user)
	}
	if !strings.Contains(mustRead(t, "nats/users.conf"), fmt.Sprintf("%q", flags.NATSInbox+".>")) {
		t.Errorf("no user of the log hears %s", flags.NATSInbox)
	}
	if flags.NATSReplicas != 3 {
		t.Errorf("the log is kept %d times", flags.NATSReplicas)
	}
}

// checkReaches fails unless an address names a container and the port that it
// listens on by one of its variables.
func checkReaches(t *testing.T, c composition, address, scheme, variable string) {
	t.Helper()
	to, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	there, ok := c.Services[to.Hostname()]
	_, port, err := net.SplitHostPort(there.Environment[variable])
	if !ok || err != nil || port != to.Port() || to.Scheme != scheme {
		t.Errorf("%s is not reached: %v, %s is %q", address, err, variable, there.Environment[variable])
	}
}

// containerVariables are those that the container file sets.
func containerVariables(t *testing.T) map[string]string {
	t.Helper()
	for line := range strings.Lines(mustRead(t, "Containerfile")) {
		if words, ok := strings.CutPrefix(line, "ENV "); ok {
			return environmentFile(t, strings.Join(strings.Fields(words), "\n"))
		}
	}
	t.Fatal("the container file sets no variables")
	return nil
}

// eachFlag visits every flag of every command.
func eachFlag(t *testing.T, visit func(*kong.Flag)) *kong.Application {
	t.Helper()
	parser, err := newParser(&CLI{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	err = kong.Visit(parser.Model, func(node kong.Visitable, next kong.Next) error {
		if flag, ok := node.(*kong.Flag); ok {
			visit(flag)
		}
		return next(nil)
	})
	if err != nil {
		t.Fatal(err)
	}
	return parser.Model
}

func knownVariables(t *testing.T) (known []string) {
	t.Helper()
	eachFlag(t, func(f *kong.Flag) { known = append(known, f.Envs...) })
	return known
}

// TestComposedNodes: the NATS server reads its configuration with the variables of
// each container, the nodes reach each other, and their certificate names them.
func TestComposedNodes(t *testing.T) {
	c, made := mustCompose(t), mustMakeSecrets(t)
	nodes := 0
	for name, s := range c.Services {
		if !strings.HasPrefix(name, "nats-") {
			continue
		}
		nodes++
		t.Run(name, func(t *testing.T) {
			for variable, value := range s.Environment {
				t.Setenv(variable, strings.Replace(value, "/run/secrets/", made+"/", 1))
			}
			if !slices.Equal(s.Command, []string{"-c", "/etc/nats/nats.conf"}) || s.Volumes[0] != "./nats:/etc/nats:ro" {
				t.Errorf("it runs %v with %v", s.Command, s.Volumes)
			}
			checkNode(t, made, name)
			checkNamed(t, filepath.Join(made, "node.pem"), filepath.Join(made, "ca.pem"), name)
			for i := range 3 {
				checkReaches(t, c, s.Environment[fmt.Sprintf("NATS_ROUTE_%d", i+1)], "nats", "NATS_CLUSTER_LISTEN")
			}
		})
	}
	if nodes != 3 {
		t.Errorf("there are %d nodes", nodes)
	}
}

// checkNode has the NATS server read its configuration in the environment, to which
// it adds the keys of the users.
func checkNode(t *testing.T, made, name string) {
	t.Helper()
	keys, err := os.ReadFile(filepath.Join(made, "nats.env"))
	if err != nil {
		t.Fatal(err)
	}
	for variable, value := range environmentFile(t, string(keys)) {
		t.Setenv(variable, value)
	}
	options, err := server.ProcessConfigFile(filepath.Join(deployFolder, "nats", "nats.conf"))
	if err != nil {
		t.Fatal(err)
	}
	if options.ServerName != name || len(options.Routes) != 3 || !options.SyncAlways || options.HTTPPort != 8222 ||
		options.Port != 4222 || options.Cluster.Port != 6222 || len(options.Nkeys) != 4 {
		t.Errorf("the node is %q with %d routes, ports %d, %d and %d, and %d users; sync always %t", options.ServerName,
			len(options.Routes), options.Port, options.Cluster.Port, options.HTTPPort, len(options.Nkeys), options.SyncAlways)
	}
}

// checkNamed fails unless a certificate is good for a host by its authority.
func checkNamed(t *testing.T, file, authority, host string) {
	t.Helper()
	roots := x509.NewCertPool()
	for i, name := range []string{authority, file} {
		raw, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		block, _ := pem.Decode(raw)
		certificate, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			roots.AddCert(certificate)
			continue
		}
		for _, usage := range []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth} {
			options := x509.VerifyOptions{DNSName: host, Roots: roots, KeyUsages: []x509.ExtKeyUsage{usage}}
			if _, err := certificate.Verify(options); err != nil {
				t.Errorf("the certificate of %s: %v", host, err)
			}
		}
	}
}

// TestUnits: each unit starts a program with flags that it knows and a configuration
// that it accepts, and each part is the user that it needs.
func TestUnits(t *testing.T) {
	made, ran := mustMakeSecrets(t), map[string]bool{}
	units := append([]string{"daysheet.service"}, mustGlob(t, "systemd/*.service")...)
	for _, unit := range units {
		t.Run(unit, func(t *testing.T) {
			start := regexp.MustCompile(`(?m)^ExecStart=(.*)$`).FindStringSubmatch(mustRead(t, unit))
			if start == nil {
				t.Fatal("it starts nothing")
			}
			words := strings.Fields(start[1])
			switch {
			case words[0] == "/usr/local/bin/nats-server":
				if !slices.Equal(words[1:], []string{"-c", "/etc/nats/nats.conf"}) {
					t.Errorf("it starts %v", words)
				}
				for variable, value := range environmentFile(t, mustRead(t, "systemd/node.env")) {
					t.Setenv(variable, strings.Replace(value, "/etc/nats/", made+"/", 1))
				}
				checkNode(t, made, "node-1")
			case unit == "systemd/daysheet-backup.service":
				cli, err := parse(t, words[1:]...)
				if err != nil || cli.Backup.To != "/backup/daysheet" || cli.Backup.Keep != 5 {
					t.Errorf("it starts %v: %+v, %v", words, cli.Backup, err)
				}
			case strings.Contains(unit, "@"):
				for _, part := range allRoles() {
					flags := configured(t, made, "systemd/"+part+".json", strings.Fields(strings.ReplaceAll(start[1], "%i", part)))
					checkUser(t, flags.Serve.NATSFlags, checkServe(t, flags, ran))
					if !slices.Equal(flags.Serve.Roles, []string{part}) {
						t.Errorf("%s runs %v", part, flags.Serve.Roles)
					}
				}
			default:
				checkServe(t, configured(t, made, "daysheet.json", words), map[string]bool{})
			}
		})
	}
	if len(ran) != len(allRoles()) {
		t.Errorf("the parts %v run", slices.Sorted(maps.Keys(ran)))
	}
}

// configured parses the command of a unit with a sample configuration in the place
// of the one that it names, and what was made in the place of its files.
func configured(t *testing.T, made, sample string, words []string) *CLI {
	t.Helper()
	args := words[1:]
	if words[0] != "/usr/local/bin/daysheet" || args[len(args)-2] != "--config" ||
		args[len(args)-1] != "/etc/daysheet/"+filepath.Base(sample) {
		t.Fatalf("it starts %v", words)
	}
	text := strings.ReplaceAll(mustRead(t, sample), `"/etc/daysheet/`, `"`+made+"/")
	if !json.Valid([]byte(text)) {
		t.Fatalf("%s is no JSON", sample)
	}
	args[len(args)-1] = mustWrite(t, filepath.Base(sample), text)
	cli, err := parse(t, args...)
	if err != nil {
		t.Fatal(err)
	}
	return cli
}

func mustGlob(t *testing.T, pattern string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(deployFolder, pattern))
	if err != nil || len(found) == 0 {
		t.Fatalf("%s: %v", pattern, err)
	}
	for i, path := range found {
		if found[i], err = filepath.Rel(deployFolder, path); err != nil {
			t.Fatal(err)
		}
	}
	return found
}

// TestOperationsPages: the commands, flags and metrics that the pages in deploy/
// name are there.
func TestOperationsPages(t *testing.T) {
	flags := map[string]bool{"help": true}
	model := eachFlag(t, func(f *kong.Flag) { flags[f.Name] = true })
	commands := map[string]bool{}
	for _, command := range model.Children {
		commands[command.Name] = true
	}
	a := mustOpen(t, t.TempDir())
	answerOf(t, a, "/livez") // so that there is a request to tell of
	_, metrics := answerOf(t, a, "/metrics")
	ofFaults, trials := regexp.MustCompile("`scripts/chaos[^`]*`"), mustRead(t, "../scripts/faults/main.go")
	named := regexp.MustCompile("`((?:ledger|http|go|process)_[a-z_]+)`")
	for _, page := range []string{"README.md", "nats/README.md", "clickhouse/README.md"} {
		for line := range strings.Lines(mustRead(t, page)) {
			for _, found := range named.FindAllStringSubmatch(line, -1) {
				if !strings.Contains(metrics, "\n# TYPE "+found[1]+" ") {
					t.Errorf("%s: there is no metric %s", page, found[1])
				}
			}
			for _, found := range regexp.MustCompile("(?:^|`)daysheet ([a-z]+)").FindAllStringSubmatch(line, -1) {
				if !commands[found[1]] {
					t.Errorf("%s: there is no command %s", page, found[1])
				}
			}
			line = ofFaults.ReplaceAllStringFunc(line, func(call string) string {
				for _, found := range regexp.MustCompile(" --([a-z]+)").FindAllStringSubmatch(call, -1) {
					if !strings.Contains(trials, `"`+found[1]+`"`) {
						t.Errorf("%s: scripts/chaos has no flag --%s", page, found[1])
					}
				}
				return ""
			})
			if regexp.MustCompile(`^(docker|systemctl|useradd|clickhouse-client|go run) `).MatchString(line) {
				continue // the flags of other programs
			}
			for _, found := range regexp.MustCompile("(?:^|[ `])--([a-z][a-z-]+)").FindAllStringSubmatch(line, -1) {
				if !flags[found[1]] {
					t.Errorf("%s: there is no flag --%s", page, found[1])
				}
			}
		}
	}
}
