package main

import (
	"context"
	"testing"

	"daysheet/scripts/writers"
)

// TestHouse runs the whole house, kills a node of the log and cuts another one off
// while writers send, each until they are taken again. Nothing that was acknowledged
// may be missing or stand twice, and both stores must report the same.
func TestHouse(t *testing.T) {
	t.Chdir("../..") // the configuration under test is found from the top of the tree
	ctx, fail := context.WithCancelCause(t.Context())
	defer fail(nil)
	house, err := up(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := house.down(); err != nil {
			t.Error(err)
		}
	})
	load := writers.New(8)
	sending, stop := context.WithCancel(ctx)
	defer stop()
	sent, ended := load.Persist(sending, []writers.Server{house.plain.server(), house.intake.server()}), make(chan error, 1)
	go func() {
		err := <-sent
		if err != nil {
			fail(err)
		}
		ended <- err
	}()
	goesOn := func() {
		t.Helper()
		if err := load.More(ctx, 100); err != nil {
			t.Fatal(err)
		}
	}
	leader := func() int {
		t.Helper()
		n, err := untilLeader(ctx, house)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	goesOn()
	node := house.nats.servers[leader()]
	node.kill()
	goesOn()
	if err := node.start(ctx); err != nil {
		t.Fatal(err)
	}
	goesOn()
	parted := leader()
	house.nats.part(parted, true)
	goesOn()
	house.nats.part(parted, false)
	goesOn()
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	if err := settle(ctx, house); err != nil {
		t.Fatal(err)
	}
	if err := compare(ctx, house, load); err != nil {
		t.Error(err)
	}
}
