package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/facts/clickhouse/clickhousetest"
	"daysheet/services/httpd"
)

// TestImpossibleRoles: what cannot work is refused in one sentence that says what
// to do, before anything is opened.
func TestImpossibleRoles(t *testing.T) {
	for _, c := range []struct {
		args  []string
		field string
		says  string
	}{
		{[]string{"--run", "reports"}, "run", "use intake, projector and reporting"},
		{[]string{"--run", "intake"}, "run", "give --nats, or run all three"},
		{[]string{"--run", "intake,projector"}, "run", "give --nats, or run all three"},
		{[]string{"--nats-replicas", "3"}, "nats-replicas", "give --nats"},
		{[]string{"--run", "reporting", "--nats", "nats://127.0.0.1:1"}, "run", "give --clickhouse to both"},
		{[]string{"--run", "projector", "--nats", "nats://127.0.0.1:1"}, "run", "give --clickhouse to both"},
		{[]string{"--run", "intake,reporting", "--nats", "nats://127.0.0.1:1"}, "run", "give --clickhouse to both"},
		{[]string{"--nats-nkey", "roles_test.go"}, "URL", "need the URL of a server"},
	} {
		cli, err := parse(t, append([]string{"serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0"}, c.args...)...)
		if err != nil {
			t.Fatal(err)
		}
		err = cli.Serve.Run(t.Context(), &cli.Globals)
		if events.CodeOf(err) != events.Invalid || !strings.Contains(err.Error(), c.field) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v gives %v, want %s refused with %q", c.args, err, c.field, c.says)
		}
	}
}

// TestPossibleRoles: what does work is not refused; a part ignores flags that it
// does not need.
func TestPossibleRoles(t *testing.T) {
	external, served := NATSFlags{NATS: "nats://127.0.0.1:1", NATSReplicas: 3}, StoreFlags{ClickHouse: "127.0.0.1:9000"}
	for _, c := range []struct {
		run   string
		nats  NATSFlags
		store StoreFlags
	}{
		{"intake,projector,reporting", NATSFlags{NATSReplicas: 1}, StoreFlags{}},
		{"intake, projector, reporting", external, StoreFlags{}},
		{"intake", external, StoreFlags{}},
		{"intake", external, served},
		{"projector,reporting", external, StoreFlags{}},
		{"projector", external, served},
		{"reporting", external, served},
		{"intake,reporting", external, served},
	} {
		r, err := rolesOf(strings.Split(c.run, ","))
		if err == nil {
			err = r.check(c.nats, c.store)
		}
		if err != nil {
			t.Errorf("%s: %v", c.run, err)
		}
	}
}

// mustServeLog starts a NATS server for the test and prepares the log on it.
func mustServeLog(t *testing.T) NATSFlags {
	t.Helper()
	s, err := server.NewServer(&server.Options{Host: "127.0.0.1", Port: server.RANDOM_PORT, NoSigs: true, NoLog: true,
		JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, JetStreamMaxStore: 1 << 40})
	if err != nil {
		t.Fatal(err)
	}
	go s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	if !s.ReadyForConnections(time.Minute) {
		t.Fatal("the log server does not start")
	}
	if code := run(t.Context(), []string{"prepare", "--nats", s.ClientURL(), "--log-max-megabytes", "64"}); code != 0 {
		t.Fatalf("prepare ends with %d", code)
	}
	return NATSFlags{NATS: s.ClientURL(), NATSReplicas: 1, LogMaxMegabytes: 64, NATSInbox: "_INBOX"}
}

// mustRun opens the parts of the ledger that a process runs.
func mustRun(t *testing.T, folder string, n NATSFlags, s StoreFlags, parts ...string) *app {
	t.Helper()
	r, err := rolesOf(parts)
	if err == nil {
		err = r.check(n, s)
	}
	if err != nil {
		t.Fatal(err)
	}
	a, err := openApp(context.Background(), &Globals{Data: folder, quiet: true}, appConfig{nats: n, store: s, roles: r})
	if err != nil {
		t.Fatalf("open %v: %v", parts, err)
	}
	t.Cleanup(func() {
		if err := a.Close(); err != nil {
			t.Errorf("close %v: %v", parts, err)
		}
	})
	return a
}

// answerOf returns the status and the body of a path.
func answerOf(t *testing.T, a *app, path string) (status int, body string) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://in-process"+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := owner(a).http.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	raw, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(raw)
}

// until tries again and again until what is asked for holds, or the test's time is over.
func until(t *testing.T, what string, holds func() bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !holds() {
		select {
		case <-tick.C:
		case <-ctx.Done():
			t.Fatalf("in vain: %s", what)
		}
	}
}

func mustMake(t *testing.T, kind, id string, set map[string]string) events.Event {
	t.Helper()
	e, err := (&RecordCmd{Type: kind, Job: "stair-12", Set: set, ID: id}).event(today)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// TestPartsInProcessesOfTheirOwn runs the three parts apart on one log and one
// ClickHouse server. Each has its routes alone; what intake takes, reporting shows;
// and when ClickHouse goes away, intake goes on, the others say why they are not
// ready, and all is well by itself once it is back.
func TestPartsInProcessesOfTheirOwn(t *testing.T) {
	n, click, folder := mustServeLog(t), clickhousetest.Start(t), t.TempDir()
	s := StoreFlags{ClickHouse: click.Address, ClickHouseDatabase: "default", ClickHouseUser: "default"}
	in := mustRun(t, folder, n, StoreFlags{}, roleIntake)
	making := mustRun(t, folder, n, s, roleProjector)
	out := mustRun(t, folder, n, s, roleReporting)

	const report, job = "/v1/reports/estimate-vs-actual", "/v1/jobs/stair-12"
	for path, want := range map[string][3]int{
		report: {404, 404, 200}, "/v1/jobs": {404, 404, 200}, "/v1/events": {405, 404, 200},
		"/readyz": {200, 200, 200}, "/livez": {200, 200, 200}, "/metrics": {200, 200, 200},
	} {
		for i, a := range []*app{in, making, out} {
			if status, body := answerOf(t, a, path); status != want[i] {
				t.Errorf("%s of %v answers %d, want %d: %s", path, a.roles.names(), status, want[i], body)
			}
		}
	}
	if in.server.SetupLink("http://x") == "" || out.server.SetupLink("http://x") != "" {
		t.Error("intake alone sets up a firm")
	}

	minutes := 0
	book := func(id string) {
		t.Helper()
		_, err := owner(in).record(t.Context(), []events.Event{mustMake(t, "hours.booked", id,
			map[string]string{"person": "anna", "task": "sand", "minutes": "30"})})
		if err != nil {
			t.Fatal(err)
		}
		minutes += 30
	}
	shows := func() bool {
		status, body := answerOf(t, out, report+"?format=json&job=stair-12")
		return status == 200 && strings.Contains(body, fmt.Sprintf(`"actual_minutes":%d`, minutes))
	}
	_, err := owner(in).record(t.Context(), []events.Event{
		mustMake(t, "job.opened", "opened-0001", map[string]string{"job_type": "stairwell", "title": "Invented"})})
	if err != nil {
		t.Fatal(err)
	}
	book("booked-0001")
	until(t, "the report shows what was booked", shows)
	if status, body := answerOf(t, out, job); status != 200 {
		t.Errorf("%s answers %d: %s", job, status, body)
	}

	click.Kill()
	for i := range 5 {
		book(fmt.Sprintf("away-%06d", i))
	}
	partition := fmt.Sprintf("partition %d", eventlog.Partition(demoFirm))
	until(t, "the projector says why it is not ready", func() bool {
		status, body := answerOf(t, making, "/readyz")
		return status == 503 && strings.Contains(body, partition) && strings.Contains(body, "sequence 3")
	})
	until(t, "reporting says why it is not ready", func() bool {
		status, body := answerOf(t, out, "/readyz")
		return status == 503 && strings.Contains(body, "facts is not ready: log or store have not answered since")
	})
	if status, body := answerOf(t, in, "/readyz"); status != 200 {
		t.Errorf("intake is not ready without ClickHouse: %s", body)
	}
	lag := fmt.Sprintf(`ledger_projector_lag_commits{partition="%d"} 5`, eventlog.Partition(demoFirm))
	if _, body := answerOf(t, making, "/metrics"); !strings.Contains(body, lag) ||
		!strings.Contains(body, `ledger_role{role="projector"} 1`) || !strings.Contains(body, "ledger_projector_trouble 1") {
		t.Errorf("the metrics do not hold %s", lag)
	}

	click.Restart()
	until(t, "the report has caught up", shows)
	for _, a := range []*app{in, making, out} {
		until(t, fmt.Sprint(a.roles.names(), " is ready again"), func() bool {
			status, _ := answerOf(t, a, "/readyz")
			return status == 200
		})
	}
	if _, body := answerOf(t, making, "/metrics"); !strings.Contains(body, strings.TrimSuffix(lag, "5")+"0") {
		t.Error("the metrics still tell of a lag")
	}
}

// mustPublish puts a message past the ledger's door.
func mustPublish(t *testing.T, server, subject, data string) {
	t.Helper()
	nc, err := nats.Connect(server)
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := js.Publish(t.Context(), subject, []byte(data)); err != nil {
		t.Fatal(err)
	}
}

// TestProjectorThatStoppedSaysWhere puts a commit into the log that nobody can read.
func TestProjectorThatStoppedSaysWhere(t *testing.T) {
	n := mustServeLog(t)
	a := mustRun(t, t.TempDir(), n, StoreFlags{}, roleIntake, roleProjector, roleReporting)
	mustPublish(t, n.NATS, fmt.Sprintf("ledger.%02d.%s.stair-12", eventlog.Partition(demoFirm), demoFirm), "{")
	want := fmt.Sprintf("partition %d, sequence 1", eventlog.Partition(demoFirm))
	until(t, "the server says where it stopped", func() bool {
		status, body := answerOf(t, a, "/readyz")
		return status == 503 && strings.Contains(body, "the projector stopped at") && strings.Contains(body, want)
	})
	var p struct{ Errors []struct{ Message string } }
	_, body := answerOf(t, a, "/readyz")
	if err := json.Unmarshal([]byte(body), &p); err != nil || len(p.Errors) != 1 {
		t.Errorf("%s (%v)", body, err)
	}
}

// TestTokensOfAFileOfTheirOwn: processes of one ledger share a file of tokens.
func TestTokensOfAFileOfTheirOwn(t *testing.T) {
	file := filepath.Join(t.TempDir(), "shared.json")
	add := []string{"token", "add", "phone", "--firm", "north", "--data", t.TempDir(), "--tokens", file}
	if code := run(t.Context(), add); code != 0 {
		t.Fatalf("token add ends with %d", code)
	}
	a, err := openApp(t.Context(), &Globals{Data: t.TempDir(), Tokens: file, quiet: true}, appConfig{})
	if err != nil {
		t.Fatal(err)
	}
	defer mustClose(t, a)
	if list := a.tokens.List(); len(list) != 1 || list[0].Name != "phone" {
		t.Errorf("the tokens are %+v", list)
	}
	if _, err := a.tokens.Add(t.Context(), "tests", httpd.Token{Firm: "north", Name: "second", Scopes: httpd.Scopes()}); err != nil {
		t.Fatal(err)
	}
	if again, err := httpd.OpenTokens(file); err != nil || len(again.List()) != 2 {
		t.Errorf("the file holds %v (%v)", again, err)
	}
}
