package office

import (
	"fmt"
	"time"

	"github.com/google/uuid"

	"daysheet/events"
	"daysheet/reports"
)

// newID makes the id of what a form will record (RFC 9562, version 7): it holds the
// time at which the form was rendered.
func (d *desk) newID() (string, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	ms := d.deps.Clock().UnixMilli()
	for i := range 6 {
		id[i] = byte(ms >> (40 - 8*i))
	}
	return id.String(), nil
}

// timeOf returns the time in an id, where the firm works. So what is sent twice is
// the same event to the last byte.
func timeOf(id string, names reports.Names) (time.Time, error) {
	u, err := uuid.Parse(id)
	if err != nil || u.Version() != 7 || u.String() != id {
		return time.Time{}, events.Refuse("id", id, "the form has lost its id: open it again")
	}
	var ms int64
	for _, b := range u[:6] {
		ms = ms<<8 | int64(b)
	}
	return names.Local(time.UnixMilli(ms)), nil
}
