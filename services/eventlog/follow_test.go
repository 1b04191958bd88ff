package eventlog

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

func TestFollowFromTheMiddleAndLive(t *testing.T) {
	l := openDir(t, t.TempDir())
	book(t, l, testFirm, testJob, 9)
	want := commits(t, l, testFirm, testJob, 0)
	arrived, end := follow(t, l, Partition(testFirm), 4)
	for _, w := range want[4:] {
		s := next(t, arrived, end)
		if s.Sequence != w.Sequence || s.Partition != w.Partition || string(s.Raw) != string(w.Raw) {
			t.Fatalf("sequence %d of partition %d arrived, want %d of %d", s.Sequence, s.Partition, w.Sequence, w.Partition)
		}
	}
	for i := range 5 {
		receipts := record(t, l, testFirm, testJob, hours("live-"+bookingID(i), testJob, 5))
		if s := next(t, arrived, end); s.Sequence != receipts[0].Sequence {
			t.Fatalf("sequence %d arrived live, want %d", s.Sequence, receipts[0].Sequence)
		}
	}
}

func TestFollowAnEmptyPartition(t *testing.T) {
	l := openDir(t, t.TempDir())
	arrived, end := follow(t, l, Partition(testFirm), 0)
	record(t, l, testFirm, testJob, opening(testJob))
	if s := next(t, arrived, end); s.Sequence != 1 {
		t.Errorf("sequence %d arrived first, want 1", s.Sequence)
	}
}

func TestFollowEnds(t *testing.T) {
	l := openDir(t, t.TempDir())
	book(t, l, testFirm, testJob, 2)
	partition := Partition(testFirm)

	ctx, cancel := context.WithCancel(t.Context())
	if err := l.Follow(ctx, partition, 0, func([]events.Stored) error { cancel(); return nil }); err != nil {
		t.Errorf("the end of the context is reported as %v", err)
	}
	full := errors.New("the store is full")
	if err := l.Follow(t.Context(), partition, 0, func([]events.Stored) error { return full }); !errors.Is(err, full) {
		t.Errorf("the error of deliver is reported as %v", err)
	}
	err := l.Follow(t.Context(), partition, 4, func([]events.Stored) error { return nil })
	wantText(t, err, "ends at sequence 3", "4 was read")
	wantCode(t, l.Follow(t.Context(), Partitions, 0, nil), events.Invalid, "partition", "0 to 15")

	_, end := follow(t, l, partition, 3)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	wantCode(t, <-end, events.Unavailable, "closed")
}

func TestFollowWhileDeliveringSlowly(t *testing.T) {
	l := openDir(t, t.TempDir())
	record(t, l, testFirm, testJob, opening(testJob))
	const n = 40
	var sizes []int
	var last uint64
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	err := l.Follow(ctx, Partition(testFirm), 0, func(batch []events.Stored) error {
		sizes = append(sizes, len(batch))
		if last == 0 { // as long as the first delivery takes, everything else is recorded
			for i := range n {
				record(t, l, testFirm, testJob, hours(bookingID(i), testJob, 5))
			}
		}
		if last = batch[len(batch)-1].Sequence; last == n+1 {
			cancel()
		}
		return nil
	})
	if err != nil || last != n+1 {
		t.Fatalf("following ended at %d: %v", last, err)
	}
	if len(sizes) > n/2 {
		t.Errorf("what arrived during one delivery came in %d more: %v", len(sizes)-1, sizes)
	}
}

// TestGapIsAnError makes a stream from which a message is missing, which the
// ledger's own streams do not allow.
func TestGapIsAnError(t *testing.T) {
	e := startExternal(t)
	l := open(t, Config{URL: e.url()})
	partition := Partition(testFirm)
	weak := streamConfig(partition, l.cfg)
	weak.DenyDelete, weak.DenyPurge = false, false
	admin := e.admin(t)
	if err := admin.DeleteStream(t.Context(), weak.Name); err != nil {
		t.Fatal(err)
	}
	stream, err := admin.CreateStream(t.Context(), weak)
	if err != nil {
		t.Fatal(err)
	}
	book(t, l, testFirm, testJob, 5)
	if err := l.Check(t.Context(), partition, 6); err != nil {
		t.Errorf("a whole partition is called damaged: %v", err)
	}
	if err := stream.SecureDeleteMsg(t.Context(), 3); err != nil {
		t.Fatal(err)
	}
	var got []uint64
	err = l.Follow(t.Context(), partition, 0, func(batch []events.Stored) error {
		for _, s := range batch {
			got = append(got, s.Sequence)
		}
		return nil
	})
	wantText(t, err, "sequence 2 is followed by 4")
	if !slices.Equal(got, []uint64{1, 2}) {
		t.Errorf("delivered before the gap: %v, want 1 and 2", got)
	}
	wantText(t, l.Check(t.Context(), partition, 6), "damaged", "1 of the sequences 1 to 6 are missing")
	_, err = l.Commits(t.Context(), testFirm, testJob, 0)
	wantCode(t, err, events.Internal, "sequence 3", "missing")
}

func TestCheck(t *testing.T) {
	l := openDir(t, t.TempDir())
	for partition := range uint8(Partitions) {
		if err := l.Check(t.Context(), partition, 0); err != nil {
			t.Errorf("an empty partition: %v", err)
		}
	}
	book(t, l, testFirm, testJob, 2)
	partition := Partition(testFirm)
	if last, err := l.Last(t.Context(), partition); last != 3 || err != nil {
		t.Errorf("the last sequence is %d (%v), want 3", last, err)
	}
	if err := l.Check(t.Context(), partition, 3); err != nil {
		t.Error(err)
	}
	wantText(t, l.Check(t.Context(), partition, 4), "ends at sequence 3", "4 was read")
	wantCode(t, l.Check(t.Context(), Partitions, 0), events.Invalid, "partition")
}

func TestSound(t *testing.T) {
	for says, s := range map[string]jetstream.StreamState{
		"starts at sequence 2":           {FirstSeq: 2, LastSeq: 3, Msgs: 2},
		"holds 2 commits":                {FirstSeq: 1, LastSeq: 3, Msgs: 2},
		"holds 0 commits up":             {FirstSeq: 4, LastSeq: 3, Msgs: 0},
		"1 of the sequences 1 to 3 are ": {FirstSeq: 1, LastSeq: 3, Msgs: 2, NumDeleted: 1},
	} {
		wantText(t, sound(s, 0), says)
	}
}

func TestGatheringIsBounded(t *testing.T) {
	g := newGathering()
	var reader sync.WaitGroup
	reader.Go(func() {
		for i := range uint64(batchMost + 10) {
			g.put(i+1, []byte("commit"), i < batchMost+9)
		}
		for i := range uint64(2) { // two that fill a batch by their size
			g.put(batchMost+11+i, make([]byte, batchBytesMost/2), true)
		}
		g.fail(errors.New("the end"))
	})
	var sequence uint64
	for {
		batch, err := g.take(t.Context())
		if err != nil {
			wantText(t, err, "the end")
			break
		}
		bytes := 0
		for _, s := range batch {
			sequence++
			if bytes += len(s.Raw); s.Sequence != sequence {
				t.Fatalf("sequence %d came in the place of %d", s.Sequence, sequence)
			}
		}
		if len(batch) > batchMost || bytes > batchBytesMost+messageBytesMax {
			t.Errorf("a batch holds %d commits of %d bytes", len(batch), bytes)
		}
	}
	if sequence != batchMost+12 {
		t.Errorf("%d commits came out, want %d", sequence, batchMost+12)
	}
	reader.Wait()
}

// TestAllPartitionsAtOnce follows every partition of a log with many firms.
func TestAllPartitionsAtOnce(t *testing.T) {
	l := openDir(t, t.TempDir())
	want := [Partitions]int{}
	for i := range 40 {
		firm := "firm-" + strconv.Itoa(i)
		record(t, l, firm, testJob, opening(testJob))
		want[Partition(firm)]++
	}
	for partition := range uint8(Partitions) {
		arrived, end := follow(t, l, partition, 0)
		for i := range want[partition] {
			if s := next(t, arrived, end); s.Sequence != uint64(i+1) || s.Partition != partition {
				t.Fatal(fmt.Errorf("%d/%d arrived, want %d/%d", s.Partition, s.Sequence, partition, i+1))
			}
		}
	}
}
