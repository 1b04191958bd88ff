package pages

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
)

// NewID makes the id of what a form will record (RFC 9562, version 7). It holds the
// time at which the form was rendered, to the millisecond.
func NewID(now time.Time) (string, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	ms := now.UnixMilli()
	for i := range 6 {
		id[i] = byte(ms >> (40 - 8*i))
	}
	return id.String(), nil
}

// TimeOf returns the time in an id that [NewID] made. It is the time of the event, so
// that what is sent twice is the same event to the last byte.
func TimeOf(id string) (time.Time, error) {
	u, err := uuid.Parse(id)
	if err != nil || u.Version() != 7 || u.String() != id {
		return time.Time{}, events.Refuse("id", id, "the form has lost its id: open it again")
	}
	var ms int64
	for _, b := range u[:6] {
		ms = ms<<8 | int64(b)
	}
	return time.UnixMilli(ms), nil
}
