package history

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"daysheet/events"
)

// builder makes events of jobs, and gathers what the firm has not listed.
type builder struct {
	*reader
	ids     *ids
	batches []Batch

	made   []events.Event // of the job at hand
	faulty bool           // the job at hand has an event that breaks a rule
	met    metList
}

// Hours of the day at which the events of a job stand, so that a job's own
// order can be read from them. A sheet knows days only.
const (
	atOpening = 8
	atWork    = 12
	atLifting = 16
	atClosing = 17
)

// add makes one event of the job at hand and returns its id. One that breaks a
// rule becomes an error of its row instead.
func (b *builder) add(line int, job string, t events.Type, day events.Day, hour int,
	payload events.Payload) (string, error) {
	data, err := json.Marshal(payload)
	if err != nil {
		return "", fmt.Errorf("write %s of line %d: %w", t, line, err)
	}
	d := day.Time()
	e := events.Event{
		Source: b.opts.Source, Type: t, Subject: job, Data: data,
		Time: time.Date(d.Year(), d.Month(), d.Day(), hour, 0, 0, 0, b.opts.Zone).Format(time.RFC3339),
	}
	e.ID = b.ids.of(&e)
	if err := e.Validate(); err != nil {
		var refusal *events.Error
		if !errors.As(err, &refusal) {
			return "", err
		}
		row := rowErrorOf(line, refusal)
		b.refuseNamed(line, b.columnOf(row.Column), row.Value, row.Rule)
		b.faulty = true
		return e.ID, nil
	}
	b.made = append(b.made, e)
	return e.ID, nil
}

// columnOf returns the column of the sheet that holds a member of an event.
func (b *builder) columnOf(member string) string {
	column := memberColumn(member)
	switch column {
	case "minutes":
		column = columns[colHours].Name
	case "billed":
		column = columns[colPrice].Name
	case "reason":
		column = columns[colNote].Name
	case "volume":
		column = columns[colQuantity].Name
	}
	return b.heads.of(column)
}

// job makes the events of one job. A job with an event that breaks a rule is
// left out whole, since later events may stand on it.
func (b *builder) job(j *job) error {
	b.made, b.faulty = nil, false
	slices.SortStableFunc(j.entries, func(a, c entry) int { return cmp.Compare(a.day, c.day) })
	opening := &events.Opening{JobType: j.jobType, Title: cmp.Or(j.title, j.text)}
	if _, err := b.add(j.line, j.key, events.JobOpened, j.entries[0].day, atOpening, opening); err != nil {
		return err
	}
	if err := b.estimate(j); err != nil {
		return err
	}
	var laid []string
	var billed []entry
	for _, e := range j.entries {
		var err error
		switch e.kind {
		case kindVariation:
			err = b.variation(e)
		case kindDaySheet:
			laid, err = b.daySheet(e, laid)
		case kindMaterial:
			err = b.material(e)
		case kindBilled:
			billed = append(billed, e)
		}
		if err != nil {
			return err
		}
	}
	if err := b.closing(j, laid, billed); err != nil {
		return err
	}
	if b.faulty {
		return nil
	}
	b.plan.Summary.Jobs++
	b.plan.Summary.Events += len(b.made)
	for part := range slices.Chunk(b.made, batchMax) {
		b.batches = append(b.batches, Batch{j.key, part})
	}
	b.met.take(j)
	return nil
}

// closing takes up what was laid on a job that was billed, and closes it. Each
// bill is a closing of its own, so that part bills add up.
func (b *builder) closing(j *job, laid []string, billed []entry) error {
	if len(billed) == 0 {
		return nil
	}
	for _, id := range laid {
		lifting := &events.Lifting{Laid: id}
		if _, err := b.add(billed[0].line, j.key, events.ProtectionLifted, billed[0].day, atLifting, lifting); err != nil {
			return err
		}
	}
	for _, e := range billed {
		closing := &events.Closing{BilledE4: e.priceE4}
		if _, err := b.add(e.line, j.key, events.JobClosed, e.day, atClosing, closing); err != nil {
			return err
		}
	}
	return nil
}

// estimate gathers the estimate rows into one estimate, and accepts it where
// anything followed.
func (b *builder) estimate(j *job) error {
	var estimate events.Estimate
	var last entry
	followed := false
	for _, e := range j.entries {
		if e.kind != kindEstimate {
			followed = true
			continue
		}
		last = e
		planned(e, &estimate.Lines, &estimate.Materials)
		estimate.PriceE4 += e.priceE4
		estimate.Note = joinNotes(estimate.Note, e.note)
	}
	if last.line == 0 {
		return nil
	}
	if len(estimate.Lines) == 0 {
		b.refuse(last.line, colTask, "", "an estimate has at least one row with a task")
		b.faulty = true
		return nil
	}
	id, err := b.add(last.line, j.key, events.EstimateIssued, last.day, atOpening, &estimate)
	if err != nil || !followed {
		return err
	}
	_, err = b.add(last.line, j.key, events.EstimateAccepted, last.day, atOpening, &events.Acceptance{Estimate: id})
	return err
}

// planned adds a row to a plan: material where it names a product, else work. A
// row that has a price alone adds neither.
func planned(e entry, lines *[]events.EstimateLine, materials *[]events.EstimateMaterial) {
	switch {
	case e.product != "":
		*materials = append(*materials, events.EstimateMaterial{
			Product: e.product, Task: e.task, QuantityMilli: e.milli, Unit: e.unit, CostE4: e.costE4})
	case e.task != "":
		*lines = append(*lines, events.EstimateLine{
			Task: e.task, Surface: e.surface, Method: e.method, Location: e.location,
			QuantityMilli: e.milli, Unit: e.unit, Minutes: e.minutes, Grade: e.grade, CostE4: e.costE4})
	}
}

func joinNotes(notes, note string) string {
	if notes == "" || note == "" {
		return notes + note
	}
	return notes + "; " + note
}

func (b *builder) variation(e entry) error {
	v := events.Variation{Reason: cmp.Or(e.note, "From the sheet of past jobs"), PriceE4: e.priceE4}
	planned(e, &v.Lines, &v.Materials)
	_, err := b.add(e.line, e.job, events.VariationAgreed, e.day, atWork, &v)
	return err
}

func (b *builder) material(e entry) error {
	if e.milli < 0 {
		_, err := b.add(e.line, e.job, events.MaterialReturned, e.day, atWork, &events.Return{
			Product: e.product, QuantityMilli: -e.milli, Unit: e.unit, Task: e.task, CostE4: e.costE4})
		return err
	}
	_, err := b.add(e.line, e.job, events.MaterialUsed, e.day, atWork, &events.Usage{
		Product: e.product, QuantityMilli: e.milli, Unit: e.unit, Task: e.task, CostE4: e.costE4})
	return err
}

// daySheet makes the hours and the quantity of a row, and returns laid with the
// id of what it laid.
func (b *builder) daySheet(e entry, laid []string) ([]string, error) {
	for left := e.minutes; left > 0; left -= events.MinutesMax {
		if _, err := b.add(e.line, e.job, events.HoursBooked, e.day, atWork, &events.Hours{
			Person: e.person, Grade: e.grade, Task: e.task, Surface: e.surface, Method: e.method, Location: e.location,
			Minutes: min(left, events.MinutesMax)}); err != nil {
			return nil, err
		}
	}
	if e.milli == 0 {
		return laid, nil
	}
	switch e.family {
	case events.FamilyProtection, events.FamilyMasking:
		id, err := b.add(e.line, e.job, events.ProtectionLaid, e.day, atWork, &events.Protection{
			Task: e.task, Surface: e.surface, Location: e.location, QuantityMilli: e.milli, Unit: e.unit, Product: e.product})
		return append(laid, id), err
	case events.FamilyCoating:
		_, err := b.add(e.line, e.job, events.CoatApplied, e.day, atWork, &events.Coat{
			Task: e.task, Surface: e.surface, Method: e.method, Location: e.location, Coat: max(e.coat, 1),
			QuantityMilli: e.milli, Unit: e.unit, Product: e.product})
		return laid, err
	}
	if e.task == "lift-protection" {
		b.notice(e.line, "its quantity is not recorded: what is lifted is what was laid, on the day the job was billed")
		return laid, nil
	}
	_, err := b.add(e.line, e.job, events.SurfacePrepared, e.day, atWork, &events.Preparation{
		Task: e.task, Surface: e.surface, Method: e.method, Location: e.location, QuantityMilli: e.milli, Unit: e.unit})
	return laid, err
}
