package facts

import "daysheet/reports"

// Schema is the number of what stores hold: of the columns below, of the tables
// that a store makes of them and of the facts that the projection gives for a
// commit. It goes up by one with every change of any of them. A store with another
// number is left as it is, and a new one is filled from the log.
const Schema = 3

// FactColumns and JobColumns name the columns of the two tables in the order of
// [FactFields] and [JobFields]. The table of facts has one column more, month,
// the last: the first day of the month of day.
//
// Days are strings in every store, YYYY-MM-DD, and empty where there is no day.
// They sort in time order as they stand; an empty day needs neither NULL nor an
// invented date; and no driver can turn them into an instant in some time zone.
// A string that is no day is simply equal to none, where a date column would
// make an error of it in one engine and something else in another.
const (
	FactColumns = "firm, job, job_type, partition, sequence, line, event_id, occurred_at, day, " +
		"side, kind, family, task, surface, method, location, product, place, unit, grade, person, " +
		"minutes, quantity_milli, cost_e4, sign"
	JobColumns = "firm, job, partition, sequence, job_type, title, customer, state, built, " +
		"opened, start, due, accepted, finished"
)

// FactFields returns pointers to the fields of f in the order of [FactColumns],
// each to a plain string or integer, so that every driver can scan into them.
func FactFields(f *reports.Fact) []any {
	return []any{
		&f.Firm, &f.Job, &f.JobType, &f.Partition, &f.Sequence, &f.Line, &f.EventID, &f.OccurredAt, (*string)(&f.Day),
		(*string)(&f.Side), (*string)(&f.Kind), (*string)(&f.Family), &f.Task, &f.Surface, &f.Method, &f.Location,
		&f.Product, &f.Place, (*string)(&f.Unit), &f.Grade, &f.Person,
		&f.Minutes, &f.QuantityMilli, &f.CostE4, &f.Sign,
	}
}

// JobFields returns pointers to the fields of j in the order of [JobColumns].
func JobFields(j *reports.JobRow) []any {
	return []any{
		&j.Firm, &j.Job, &j.Partition, &j.Sequence, &j.JobType, &j.Title, &j.Customer, (*string)(&j.State), &j.Built,
		(*string)(&j.Opened), (*string)(&j.Start), (*string)(&j.Due), (*string)(&j.Accepted), (*string)(&j.Finished),
	}
}
