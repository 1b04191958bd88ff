package eventlog

import (
	"testing"

	"github.com/nats-io/nats.go/jetstream"

	"daysheet/events"
)

// TestPrepare makes the streams once, and raises what has become too small.
func TestPrepare(t *testing.T) {
	e := startExternal(t)
	cfg := Config{URL: e.url(), MaxBytes: 64 << 20}
	_, err := Open(t.Context(), cfg)
	wantText(t, err, "16 of the log's 16 streams are not on the server", `run "daysheet prepare"`)
	larger := cfg
	larger.MaxBytes *= 2
	for _, c := range []struct {
		cfg  Config
		want Prepared
	}{{cfg, Prepared{Made: 16}}, {cfg, Prepared{Kept: 16}}, {larger, Prepared{Raised: 16}}, {cfg, Prepared{Kept: 16}}} {
		if got, err := Prepare(t.Context(), c.cfg); err != nil || got != c.want {
			t.Fatalf("prepare did %+v (%v), want %+v", got, err, c.want)
		}
	}
	stream, err := e.admin(t).Stream(t.Context(), streamName(3))
	if err != nil {
		t.Fatal(err)
	}
	if got := stream.CachedInfo().Config.MaxBytes; got != larger.MaxBytes {
		t.Errorf("the stream takes %d bytes, want %d", got, larger.MaxBytes)
	}
	if err := e.admin(t).DeleteStream(t.Context(), streamName(3)); err != nil {
		t.Fatal(err)
	}
	_, err = Open(t.Context(), cfg)
	wantText(t, err, "1 of the log's 16 streams")
}

// TestPrepareLeavesWeakStreamsAlone names what is weak, and changes nothing.
func TestPrepareLeavesWeakStreamsAlone(t *testing.T) {
	e := startExternal(t)
	cfg := Config{URL: e.url(), MaxBytes: 64 << 20}
	full, err := cfg.withDefaults()
	if err != nil {
		t.Fatal(err)
	}
	weak := streamConfig(3, full)
	weak.DenyPurge, weak.Discard = false, jetstream.DiscardOld
	if _, err := e.admin(t).CreateStream(t.Context(), weak); err != nil {
		t.Fatal(err)
	}
	_, err = Prepare(t.Context(), cfg)
	wantText(t, err, "LEDGER_03", "discard is ", "the ledger needs")
}

func TestPrepareIsForExternalLogs(t *testing.T) {
	_, err := Prepare(t.Context(), Config{Dir: t.TempDir()})
	wantCode(t, err, events.Invalid, "URL")
}
