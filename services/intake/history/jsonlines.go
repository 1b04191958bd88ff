package history

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"daysheet/events"
)

// ReadEvents reads events as JSON lines, one CloudEvent on each, and returns
// them as batches of one job each, in the order of the file: what a firm knew
// when stays as it was. Blank lines are passed over, and an event that stands
// twice is taken once. Where lines are bad it returns [RowErrors] with all of
// them, and no events.
func ReadEvents(r io.Reader) ([][]events.Event, error) {
	var batches [][]events.Event
	var bad RowErrors
	seen := map[[2]string]events.Digest{}
	lines := bufio.NewReaderSize(r, events.EventBytesMax+2) // with the line break
	for n := 1; ; n++ {
		line, err := readLine(lines)
		if errors.Is(err, io.EOF) {
			break
		}
		var refusal *events.Error
		if err != nil && !errors.As(err, &refusal) {
			return nil, fmt.Errorf("read line %d: %w", n, err)
		}
		if err == nil && len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		var e events.Event
		repeated := false
		if err == nil {
			e, repeated, err = readEvent(line, seen)
		}
		switch {
		case err != nil:
			bad = append(bad, rowErrorOf(n, err))
		case !repeated:
			batches = appendEvent(batches, e)
		}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	return batches, nil
}

// readLine returns the next line. A line that is longer than any event is
// refused, and read to its end so that the next can follow.
func readLine(r *bufio.Reader) ([]byte, error) {
	line, err := r.ReadSlice('\n')
	if !errors.Is(err, bufio.ErrBufferFull) {
		if errors.Is(err, io.EOF) && len(line) > 0 {
			err = nil
		}
		return line, err
	}
	for errors.Is(err, bufio.ErrBufferFull) {
		_, err = r.ReadSlice('\n')
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return nil, events.Refuse("", nil, "one event has at most %d KiB", events.EventBytesMax>>10)
}

// readEvent reads and checks one event, and tells whether it was seen before.
func readEvent(line []byte, seen map[[2]string]events.Digest) (e events.Event, repeated bool, err error) {
	if err := json.Unmarshal(line, &e); err != nil {
		return e, false, err
	}
	if err := e.Validate(); err != nil {
		return e, false, err
	}
	digest, err := events.DigestOf(&e)
	if err != nil {
		return e, false, err
	}
	key := [2]string{e.Subject, e.ID}
	before, repeated := seen[key]
	if repeated && before != digest {
		return e, false, events.Refuse("id", e.ID, "another event of this file has this id and other content")
	}
	seen[key] = digest
	return e, repeated, nil
}

// rowErrorOf says an error about one event as an error of its line.
func rowErrorOf(line int, err error) RowError {
	var refusal *events.Error
	if errors.As(err, &refusal) {
		value := refusal.Value
		if plain, err := strconv.Unquote(value); err == nil {
			value = plain // a row error quotes it itself
		} else {
			value = strings.TrimPrefix(value, `"`) // it was shortened
		}
		return RowError{Line: line, Column: refusal.Field, Value: value, Rule: refusal.Rule}
	}
	return RowError{Line: line, Rule: "one event as JSON: " + err.Error()}
}

// appendEvent adds an event to the last batch, or starts the next.
func appendEvent(batches [][]events.Event, e events.Event) [][]events.Event {
	if n := len(batches) - 1; n >= 0 && len(batches[n]) < batchMax && batches[n][0].Subject == e.Subject {
		batches[n] = append(batches[n], e)
		return batches
	}
	return append(batches, []events.Event{e})
}
