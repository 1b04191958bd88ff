package reports

import "daysheet/events"

// Side says which side of the comparison a fact is on.
type Side string

// The sides.
const (
	SideEstimate  Side = "estimate"  // the estimate in force
	SideVariation Side = "variation" // changes of scope agreed since
	SideActual    Side = "actual"    // what happened
)

// Kind says what a fact measures.
type Kind string

// The kinds of facts, with the measures that they fill.
const (
	KindLabour   Kind = "labour"   // Minutes and CostE4
	KindQuantity Kind = "quantity" // QuantityMilli of work in Unit, and the Product it was done with
	KindMaterial Kind = "material" // QuantityMilli of Product in Unit from Place, and CostE4
	KindOverhead Kind = "overhead" // CostE4 that the job bears for the labour or material beside it
	KindDamage   Kind = "damage"   // QuantityMilli counts, CostE4 where the firm bears it; Method holds the cause
	KindPrice    Kind = "price"    // CostE4 is what the customer is to pay
	KindPurchase Kind = "purchase" // bought by the firm: QuantityMilli of Product in Unit, to Place, and CostE4
	KindMove     Kind = "move"     // QuantityMilli of Product in Unit that came to Place; below zero where it left
	KindCount    Kind = "count"    // QuantityMilli of Product in Unit that was found at Place at the end of Day
	KindDown     Kind = "down"     // QuantityMilli of protection that is still down, see below
	KindMark     Kind = "mark"     // something for the office to look at: Task holds the [Mark], QuantityMilli counts
)

// A fact of kind [KindDown] holds while protection is down, and is cancelled when
// it is lifted; where a part is lifted, another holds for the rest. Day is the day
// of laying. Method holds the last day for clean removal; it is empty where none
// is known.

// Fact is one row of the store: what one event says about one measure. Facts
// are a pure function of the log, so a store can be dropped and made again.
type Fact struct {
	Firm      string
	Job       string // [events.FirmJob] for the firm's own facts
	JobType   string
	Partition uint8
	Sequence  uint64 // of the commit that made the row
	Line      uint32 // number of the row within its commit, from 0
	EventID   string // the event it says something about; also for a row that cancels

	OccurredAt int64      // seconds since 1970, UTC
	Day        events.Day // the local day of the work

	Side     Side
	Kind     Kind
	Family   events.Family // family of Task; empty where there is no task
	Task     string
	Surface  string
	Method   string
	Location string
	Product  string
	Place    string // store or van that material came from or went to
	Unit     events.Unit
	Grade    string
	Person   string

	Minutes       int64
	QuantityMilli int64
	CostE4        int64
	Sign          int8 // +1, or -1 for a row that cancels an earlier one
}

// JobRow is a job as it stands after a commit. A store keeps every one, so that
// the list of jobs can be asked for as of any position; the one with the
// greatest sequence holds.
type JobRow struct {
	Firm      string
	Job       string
	Partition uint8
	Sequence  uint64

	JobType  string
	Title    string
	Customer string
	State    events.State
	Built    int64 // year; 0 if not known

	Opened   events.Day
	Start    events.Day // planned
	Due      events.Day
	Accepted events.Day
	Finished events.Day // day of sign-off, else of closing; empty while the job runs
}

// Mark names something that was accepted because it happened, but that the
// office should look at.
type Mark string

// The marks.
const (
	MarkAfterFinish    Mark = "after-finish"     // work recorded on a day after the job was finished
	MarkBeforeOpening  Mark = "before-opening"   // work on a day before the job was opened
	MarkClockAhead     Mark = "clock-ahead"      // the sender's clock was ahead of the ledger's
	MarkRecordedLate   Mark = "recorded-late"    // recorded more than seven days after it happened
	MarkUnknownJobType Mark = "unknown-job-type" // not in the firm's list
	MarkUnknownTask    Mark = "unknown-task"     // neither a standard task nor in the firm's list
	MarkUnknownPerson  Mark = "unknown-person"   // not in the firm's list
	MarkUnknownProduct Mark = "unknown-product"  // never listed
	MarkUnpriced       Mark = "unpriced"         // no price or wage known: counted at no cost
	MarkUnitDiffers    Mark = "unit-differs"     // counted in another unit than the task or product
	MarkOpenSnags      Mark = "open-snags"       // signed off or closed with snags not cleared
	MarkOpenDamage     Mark = "open-damage"      // signed off or closed with damage not made good
	MarkProtectionDown Mark = "protection-down"  // signed off or closed with protection not lifted

	// MarkCoatOutside is a coat applied too cold, too warm, too humid, too near to the
	// dew point or too soon after the one before.
	MarkCoatOutside Mark = "coat-outside-limits"
)
