package events

import (
	"fmt"
	"testing"
	"time"
)

// typicalEvent is a coat as a phone sends it, some 400 bytes.
const typicalEvent = `{"specversion":"1.0","id":"01985b2a-7c1e-7d3f-9a44-6f0c2b1e5d01","source":"/phones/van-2",` +
	`"type":"daysheet.coat.applied.v1","subject":"stairwell-7","time":"2026-03-04T16:20:00+01:00","data":{"task":"coat",` +
	`"surface":"wall","method":"roller","location":"Flight 2","coat":1,"quantity_milli":12500,"unit":"m2",` +
	`"product":"wall-matt","volume_milli":1600,"batch":"B-1177"}}`

func typical(b *testing.B) Event {
	b.Helper()
	var e Event
	if err := e.UnmarshalJSON([]byte(typicalEvent)); err != nil {
		b.Fatal(err)
	}
	return e
}

// storedCommit returns the bytes of a commit of n typical events.
func storedCommit(b *testing.B, n int) []byte {
	b.Helper()
	c := Commit{Firm: "north-light", Job: "stairwell-7", Version: 1, RecordedBy: "van-2",
		RecordedAt: time.Date(2026, 3, 4, 15, 20, 1, 0, time.UTC)}
	for i := range n {
		e := typical(b)
		e.ID = fmt.Sprintf("01985b2a-7c1e-7d3f-9a44-%012d", i)
		c.Events = append(c.Events, e)
	}
	raw, err := c.Encode()
	if err != nil {
		b.Fatal(err)
	}
	return raw
}

// BenchmarkDecode reads a stored commit of one event, and its payload: what the
// projector does for every event of the log.
func BenchmarkDecode(b *testing.B) {
	raw := storedCommit(b, 1)
	b.SetBytes(int64(len(raw)))
	b.ReportAllocs()
	for b.Loop() {
		c, err := DecodeCommit(raw)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := c.Events[0].Payload(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkDecode100 is [BenchmarkDecode] for a commit of 100 events.
func BenchmarkDecode100(b *testing.B) {
	raw := storedCommit(b, 100)
	b.SetBytes(int64(len(raw)))
	b.ReportAllocs()
	for b.Loop() {
		c, err := DecodeCommit(raw)
		if err != nil {
			b.Fatal(err)
		}
		for i := range c.Events {
			if _, err := c.Events[i].Payload(); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/100, "ns/event")
}

func BenchmarkUnmarshal(b *testing.B) {
	raw := []byte(typicalEvent)
	b.ReportAllocs()
	for b.Loop() {
		var e Event
		if err := e.UnmarshalJSON(raw); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkValidate(b *testing.B) {
	e := typical(b)
	b.ReportAllocs()
	for b.Loop() {
		if err := e.Validate(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkDigest is what the fold does for every event beside decoding it.
func BenchmarkDigest(b *testing.B) {
	e := typical(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := DigestOf(&e); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEncode(b *testing.B) {
	c, err := DecodeCommit(storedCommit(b, 1))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Encode(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCanonical(b *testing.B) {
	raw := []byte(typicalEvent)
	b.SetBytes(int64(len(raw)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Canonical(raw); err != nil {
			b.Fatal(err)
		}
	}
}
