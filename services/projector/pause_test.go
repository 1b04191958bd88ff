package projector

import (
	"context"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// TestPause feeds commits to a partition that has caught up, by a clock that
// stands still but where everything waits. A lone commit is handed over at once;
// of many in a row, all that came during the pause are handed over together when
// it ends, and what a full batch holds does not wait for that. Nor does what somebody
// waits for.
func TestPause(t *testing.T) {
	const firm = "northside"
	log := openLog(t, nil)
	for i := range 9 {
		mustRecord(t, log, firm, listed(fmt.Sprintf("listed-%04d", i), "matt", fmt.Sprint("Matt ", i)))
	}
	stored, err := log.Commits(testContext(t), firm, events.FirmJob, 0)
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		l := defaultLimits
		l.pause = time.Second
		l.bytes = 4 * len(stored[0].Raw)
		r := newReplay(log, nil, l)
		r.writes = make(chan *work)
		r.awaited[eventlog.Partition(firm)] = make(chan struct{}, 1)
		chunks := make(chan []message)
		ended := make(chan error, 1)
		go func() {
			_, err := (&lane{replay: r, partition: eventlog.Partition(firm)}).project(context.Background(), chunks, func() {})
			ended <- err
		}()
		began := time.Now()
		send := func(at time.Duration, next ...events.Stored) {
			time.Sleep(time.Until(began.Add(at)))
			for _, s := range next {
				c, err := decode(s)
				if err != nil {
					t.Fatal(err)
				}
				chunks <- []message{{s, c}}
			}
		}
		written := func(at time.Duration, commits int) {
			t.Helper()
			w := <-r.writes
			if took := time.Since(began); took != at || len(w.batch.Commits) != commits {
				t.Errorf("%d commits after %v, want %d after %v", len(w.batch.Commits), took, commits, at)
			}
		}
		send(0, stored[0])
		written(0, 1)
		send(100*time.Millisecond, stored[1])
		send(900*time.Millisecond, stored[2])
		written(time.Second, 2)
		send(1200*time.Millisecond, stored[3:7]...)
		written(1200*time.Millisecond, 4)
		send(time.Minute, stored[7])
		written(time.Minute, 1)
		send(time.Minute+100*time.Millisecond, stored[8])
		send(time.Minute + 200*time.Millisecond)
		r.awaited[eventlog.Partition(firm)] <- struct{}{}
		written(time.Minute+200*time.Millisecond, 1)
		close(chunks)
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}
