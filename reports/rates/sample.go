package rates

import (
	"fmt"

	"daysheet/events"
)

// Line says what kind of work a finished job line was. Empty names are a group
// of their own.
type Line struct {
	Job           string
	Task          string
	Surface       string
	Method        string
	JobType       string
	Crew          string   // empty where it is not known
	Day           int      // when the job was finished, in days since 1970-01-01; see [DayNumber]
	QuotedDay     int      // when it was quoted; 0 where it is not known, and then Day counts
	QuantityMilli int64    // measured work in thousandths of the task's unit
	EventIDs      []string // the events it was made from
}

// Sample is the labour of one job line.
type Sample struct {
	Line
	Minutes          int64 // of labour booked
	BookMinutesMilli int64 // thousandths of a minute per unit in the book that was quoted from; 0 where it had no rate
}

// Reason says why a row is no sample of a rate.
type Reason string

// The reasons.
const (
	Unmeasured Reason = "unmeasured-work" // hours without a quantity
	NotBooked  Reason = "not-booked"      // a quantity without hours: forgotten, or done under another line
)

// Excluded is the work of one job in one cell of the tree that is no sample.
// Nothing is replaced by a small number to make it one.
type Excluded struct {
	Line    // names of the work; QuantityMilli, Day and EventIDs are for all its lines
	Minutes int64
	Reason  Reason
}

// Slip is a row so far from what was expected of it that a person should look
// at the entry: minutes typed as hours, a unit slip. It stays in the fit, where
// its weight is next to nothing.
type Slip struct {
	Line
	Minutes int64
	Factor  float64 // what it took as a multiple of what was expected
	Weight  float64 // in the fit, 1 for a usual row
}

// DayNumber returns the days since 1970-01-01. It refuses what is not a day.
func DayNumber(d events.Day) (int, error) {
	if !d.Valid() {
		return 0, events.Refuse("day", string(d), "a day from 1970-01-01 on, written YYYY-MM-DD")
	}
	return int(d.Time().Unix() / 86_400), nil
}

// amountMax is far above any job and low enough for sums of a million rows.
const amountMax = int64(1_000_000_000_000)

// check refuses what cannot have happened. Events are checked when they are
// recorded, so an error here means that something else made the sample.
func (s *Sample) check(m measure) error {
	field, value := "quantity_milli", s.QuantityMilli
	if v := s.Minutes; v < 0 || v > amountMax {
		field, value = m.takenField, v
	}
	if v := s.BookMinutesMilli; v < 0 || v > amountMax {
		field, value = m.bookField, v
	}
	if value < 0 || value > amountMax {
		err := events.Refuse(field, value, "0 to %d", amountMax)
		err.EventID = s.firstEvent()
		return fmt.Errorf("read sample of job %q: %w", s.Job, err)
	}
	return nil
}

// measure is what samples are of.
type measure struct {
	unit                  float64 // what one of Sample.Minutes is of the amount that BookMinutesMilli is thousandths of
	takenField, bookField string  // how callers name the two
}

// The measures.
var (
	ofLabour = measure{1, "minutes", "book_minutes_milli"}
	ofUse    = measure{1.0 / 1000, "used_milli", "book_milli"}
	ofDamage = measure{1.0 / 1000, "cost_e4", "book_cost_e4"}
)

// firstEvent orders samples of one job and cell.
func (l *Line) firstEvent() string {
	if len(l.EventIDs) == 0 {
		return ""
	}
	return l.EventIDs[0]
}
