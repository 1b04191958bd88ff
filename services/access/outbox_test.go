package access

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"daysheet/events"
)

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// TestOutboxKeepsUntilRecorded: what a command leaves stays through outages and crashes of
// the server, in its order, and is recorded under one id however often it is tried.
func TestOutboxKeepsUntilRecorded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "access-changes.json")
	command, err := OpenOutbox(path, time.Now)
	must(t, err)
	for _, name := range []string{"first", "second"} {
		must(t, command.Keep(t.Context(), "north", "command line", events.AccessChange{What: events.TokenMade, Name: name}))
	}
	if err := command.Keep(t.Context(), "north", "x", events.AccessChange{What: "invented", Name: "x"}); events.CodeOf(err) != events.Invalid {
		t.Errorf("a change that is none: %v", err)
	}
	server, err := OpenOutbox(path, time.Now)
	must(t, err)
	var ids []string
	var fail error
	record := func(_ context.Context, firm, job, by string, list []events.Event) ([]events.Receipt, error) {
		if firm != "north" || job != events.FirmJob || by != "command line" || len(list) != 1 {
			t.Errorf("%d events of %s/%s by %s", len(list), firm, job, by)
		}
		ids = append(ids, list[0].ID)
		return nil, fail
	}
	fail = errors.New("the answer was lost")
	if err := server.Send(t.Context(), record); !errors.Is(err, fail) {
		t.Errorf("sending fails with %v", err)
	}
	fail = nil
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan bool)
	go func() { server.Watch(ctx, record, slog.Default()); close(ended) }()
	for {
		if list, err := command.list.Items(); err != nil {
			t.Fatal(err)
		} else if len(list) == 0 {
			break
		}
	}
	stop()
	<-ended
	if len(ids) != 3 || ids[0] != ids[1] || ids[2] == ids[1] {
		t.Errorf("recorded under %v", ids)
	}
}
