package reporting

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"time"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/projector"
)

// Limits of the stream of changes.
const (
	pingEvery    = 15 * time.Second // keeps proxies from closing a quiet stream
	writeWithin  = 10 * time.Second // for one message; a reader that is slower is dropped
	catchUpMost  = 1000             // positions; one who missed more starts afresh
	retryAfterMs = 3000
)

// changedBody is the data of the event job.changed.
type changedBody struct {
	Job      string `json:"job" doc:"Job that has new records; \"firm\" for the firm's own"`
	Sequence uint64 `json:"sequence" doc:"Position in the log"`
}

// resetBody is the data of the event reset.
type resetBody struct {
	Sequence uint64 `json:"sequence" doc:"Position from which changes are told again"`
}

// stream writes server-sent events. Every write has its own deadline, because
// the stream itself has none.
type stream struct {
	out     io.Writer
	control *http.ResponseController
	last    uint64 // greatest id that was sent
}

func (st *stream) write(text string) error {
	if err := st.control.SetWriteDeadline(time.Now().Add(writeWithin)); err != nil {
		return fmt.Errorf("set write deadline: %w", err)
	}
	if _, err := io.WriteString(st.out, text); err != nil {
		return fmt.Errorf("write to watcher: %w", err)
	}
	if err := st.control.Flush(); err != nil {
		return fmt.Errorf("flush to watcher: %w", err)
	}
	return nil
}

func (st *stream) send(name string, id uint64, data any) error {
	raw, err := json.Marshal(data)
	if err != nil {
		return fmt.Errorf("write event %s: %w", name, err)
	}
	st.last = max(st.last, id)
	return st.write(fmt.Sprintf("id: %d\nevent: %s\ndata: %s\n\n", id, name, raw))
}

// changed tells of a change, unless it was told before.
func (st *stream) changed(n projector.Notice) error {
	if n.Sequence <= st.last {
		return nil
	}
	return st.send("job.changed", n.Sequence, changedBody{n.Job, n.Sequence})
}

// watch tells of changes until ctx ends, the reader is gone, or the projector
// closes the watch. resume is the position
// that the reader knows; empty for none.
func (s *site) watch(ctx context.Context, firm, resume string, st *stream) error {
	notices, stop := s.deps.Watch(firm) // before catching up, so that nothing falls between
	defer stop()
	if err := st.write(fmt.Sprintf("retry: %d\n\n", retryAfterMs)); err != nil {
		return err
	}
	if err := s.catchUp(ctx, firm, resume, st); err != nil {
		return err
	}
	ping := time.NewTicker(pingEvery)
	defer ping.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-ping.C:
			if err := st.write(": ping\n\n"); err != nil {
				return err
			}
		case n, open := <-notices:
			if !open {
				return nil
			}
			if err := st.changed(n); err != nil {
				return err
			}
		}
	}
}

// catchUp tells a reader who comes back what changed meanwhile: each job once,
// with its last position. One whose position is not known, or too far back, is
// told to read afresh.
func (s *site) catchUp(ctx context.Context, firm, resume string, st *stream) error {
	if resume == "" {
		return nil
	}
	now := s.deps.Position(firm)
	seen, err := strconv.ParseUint(resume, 10, 63)
	if err != nil || seen > now || now-seen > catchUpMost {
		return st.send("reset", now, resetBody{now})
	}
	if seen == now {
		return nil
	}
	rows, err := s.deps.Store.Jobs(ctx, reports.JobQuery{Firm: firm, AsOf: now})
	if err != nil {
		return fmt.Errorf("list jobs: %w", err)
	}
	var missed []projector.Notice
	for _, r := range rows {
		missed = append(missed, projector.Notice{Job: r.Job, Sequence: r.Sequence})
	}
	own, err := s.deps.Commits(ctx, firm, events.FirmJob, now)
	if err != nil {
		return fmt.Errorf("read commits of the firm: %w", err)
	}
	if len(own) > 0 {
		missed = append(missed, projector.Notice{Job: events.FirmJob, Sequence: own[len(own)-1].Sequence})
	}
	slices.SortFunc(missed, func(a, b projector.Notice) int { return cmp.Compare(a.Sequence, b.Sequence) })
	st.last = seen
	for _, n := range missed {
		if err := st.changed(n); err != nil {
			return err
		}
	}
	return nil
}
