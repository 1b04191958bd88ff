package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"daysheet/scripts/ports"
	"daysheet/scripts/writers"
)

// firm is the invented firm that the load writes to.
const firm = "load"

// ledger is a daysheet process of the topology.
type ledger struct {
	*process
	token string
}

var ledgerReady = regexp.MustCompile(`(http://[0-9.:]+)`)

// startLedger starts a daysheet with a data folder of its own.
func startLedger(ctx context.Context, program, folder, name string, args ...string) (*ledger, error) {
	data := filepath.Join(folder, name)
	out, err := exec.CommandContext(ctx, program, "token", "add", "load", "--data", data, "--firm", firm, "--scope",
		"read,record").Output()
	if err != nil {
		return nil, fmt.Errorf("make token for %s: %w", name, err)
	}
	taken, err := ports.Take(1) // the same again after a kill
	if err != nil {
		return nil, err
	}
	all := append([]string{"serve", "--data", data, "--listen", fmt.Sprintf("127.0.0.1:%d", taken[0]),
		"--rate-per-second", "1000000"}, args...)
	l := &ledger{process: &process{name: name, program: program, args: all, ready: ledgerReady,
		log: filepath.Join(folder, name+".log")}, token: strings.TrimSpace(string(out))}
	return l, l.start(ctx)
}

func (l *ledger) server() writers.Server { return writers.Server{Base: l.address, Token: l.token} }

// get reads an address of the ledger.
func (l *ledger) get(ctx context.Context, path string) ([]byte, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, l.address+path, nil)
	if err != nil {
		return nil, err
	}
	r.Header.Set("Authorization", "Bearer "+l.token)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err == nil && answer.StatusCode != http.StatusOK {
		err = fmt.Errorf("GET %s of %s: status %d: %s", path, l.name, answer.StatusCode, body)
	}
	return body, err
}

// events returns how often each event id stands in the ledger.
func (l *ledger) events(ctx context.Context) (map[string]int, error) {
	raw, err := l.get(ctx, "/v1/events")
	if err != nil {
		return nil, err
	}
	return writers.Recorded(bytes.NewReader(raw))
}

// position returns the position that the ledger's reports are answered at.
func (l *ledger) position(ctx context.Context) (uint64, error) {
	raw, err := l.get(ctx, "/v1/reports/job-types.json")
	if err != nil {
		return 0, err
	}
	var body struct {
		AsOf uint64 `json:"as_of"`
	}
	return body.AsOf, json.Unmarshal(raw, &body)
}

// lag returns how many commits the ledger's facts are behind its log, as its
// metrics say.
func (l *ledger) lag(ctx context.Context) (int, error) {
	raw, err := l.get(ctx, "/metrics")
	if err != nil {
		return 0, err
	}
	sum, found := 0.0, false
	for _, line := range strings.Split(string(raw), "\n") {
		if strings.HasPrefix(line, lagMetric) {
			fields := strings.Fields(line)
			n, err := strconv.ParseFloat(fields[len(fields)-1], 64)
			if err != nil {
				return 0, fmt.Errorf("read %s: %w", lagMetric, err)
			}
			sum, found = sum+n, true
		}
	}
	if !found {
		return 0, fmt.Errorf("the metrics of %s have no %s", l.name, lagMetric)
	}
	return int(sum), nil
}

const lagMetric = "ledger_projector_lag_commits"
