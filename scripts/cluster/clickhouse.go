package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"daysheet/scripts/ports"
)

// clickHouse is one ClickHouse server.
type clickHouse struct {
	server *process
	port   int
}

// clickHouseConfig is the configuration that the tests of the store use as well.
const clickHouseConfig = "services/facts/clickhouse/clickhousetest/config.xml"

func startClickHouse(ctx context.Context, folder string) (*clickHouse, error) {
	program := ""
	for _, path := range []string{"/usr/bin/clickhouse-server", "/usr/sbin/clickhouse-server"} {
		if _, err := os.Stat(path); err == nil {
			program = path
		}
	}
	if program == "" {
		return nil, errors.New("clickhouse-server is missing: run scripts/setup test")
	}
	raw, err := os.ReadFile(clickHouseConfig)
	if err != nil {
		return nil, fmt.Errorf("read configuration of ClickHouse; run this from the top of the tree: %w", err)
	}
	data := filepath.Join(folder, "clickhouse")
	if err := os.MkdirAll(data, 0o700); err != nil {
		return nil, err
	}
	file := filepath.Join(data, "config.xml")
	if err := os.WriteFile(file, raw, 0o600); err != nil {
		return nil, err
	}
	taken, err := ports.Take(1)
	if err != nil {
		return nil, err
	}
	server := &process{name: "clickhouse", program: program, ready: regexp.MustCompile(`Ready for connections()`),
		args: []string{"--config-file=" + file, "--", fmt.Sprintf("--tcp_port=%d", taken[0]), "--path=" + data + "/data/",
			"--tmp_path=" + data + "/data/tmp/"}, log: filepath.Join(folder, "clickhouse.log")}
	return &clickHouse{server, taken[0]}, server.start(ctx)
}

func (c *clickHouse) address() string { return fmt.Sprintf("127.0.0.1:%d", c.port) }
