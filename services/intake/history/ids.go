package history

import (
	"strconv"

	"github.com/google/uuid"

	"daysheet/events"
)

// ids makes the ids of events from what they say (RFC 9562, version 5): the
// same file, or the same rows in another file, give the same ids.
type ids struct {
	space uuid.UUID
	count map[string]int // how many events said the same before
}

func newIDs(firm string) *ids {
	return &ids{uuid.NewSHA1(uuid.NameSpaceOID, []byte("daysheet history of "+firm)), map[string]int{}}
}

// of returns the id of an event. Of several events that say the same, each has
// its own number and so its own id.
func (s *ids) of(e *events.Event) string { return s.after(e, "") }

// after is [ids.of] for an event that says something new where it follows on
// something else, as a price does that a product had once before.
func (s *ids) after(e *events.Event, what string) string {
	says := e.Subject + "\x00" + string(e.Type) + "\x00" + e.Time + "\x00" + string(e.Data)
	if what != "" {
		says += "\x00" + what
	}
	n := s.count[says]
	s.count[says] = n + 1
	return uuid.NewSHA1(s.space, []byte(says+"\x00"+strconv.Itoa(n))).String()
}
