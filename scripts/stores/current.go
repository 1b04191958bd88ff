package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/services/facts/clickhouse"
)

// currentHouse is the engine of a current ClickHouse behind the HTTP interface that
// scripts/chdb gives it. It is compared at loading and asking alone.
type currentHouse struct {
	server *process
	conn   native.Conn
	store  *clickhouse.Store
}

// openCurrent starts the engine with the product's tables.
func openCurrent(ctx context.Context, folder string) (_ *currentHouse, err error) {
	program, library := os.Getenv("CHDB_PROGRAM"), os.Getenv("CHDB_LIBRARY")
	if program == "" || library == "" {
		return nil, errors.New("CHDB_PROGRAM and CHDB_LIBRARY are not set: start this by scripts/stores/run")
	}
	command := exec.Command(program, "-library", library, "-folder", filepath.Join(folder, "chdb"),
		"-address", "127.0.0.1:0")
	read, write := io.Pipe()
	command.Stdout = write
	c := &currentHouse{}
	if c.server, err = start(command, folder, "chdb", nil); err != nil {
		return nil, err
	}
	go func() {
		<-c.server.ended
		_ = write.Close() // a pipe's end always closes
	}()
	line, err := bufio.NewReader(read).ReadString('\n')
	if err != nil {
		return nil, fmt.Errorf("start the current ClickHouse: %s", c.server.said())
	}
	words := strings.Fields(line)
	if err := c.open(ctx, words[len(words)-1]); err != nil {
		return nil, errors.Join(err, c.close())
	}
	return c, nil
}

func (c *currentHouse) open(ctx context.Context, address string) (err error) {
	c.conn, err = native.Open(&native.Options{Protocol: native.HTTP, Addr: []string{address}, ReadTimeout: mergesPatience})
	if err != nil {
		return fmt.Errorf("connect to the current ClickHouse: %w", err)
	}
	if err := c.conn.Exec(ctx, "CREATE DATABASE "+ownDatabase); err != nil {
		return fmt.Errorf("make database %s: %w", ownDatabase, err)
	}
	c.store, err = clickhouse.Open(ctx, clickhouse.Options{Address: address, HTTP: true, Database: ownDatabase})
	return err
}

func (c *currentHouse) close() error {
	var err error
	if c.store != nil {
		err = c.store.Close()
	}
	if c.conn != nil {
		err = errors.Join(err, c.conn.Close())
	}
	return errors.Join(err, c.server.stop(terminate))
}
