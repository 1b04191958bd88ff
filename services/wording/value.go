package wording

import (
	"cmp"

	"daysheet/events"
	"daysheet/reports"
)

// Value writes one value of a dimension as a reader knows it.
func (w Words) Value(d reports.Dimension, v string) string {
	switch d {
	case reports.ByJobType:
		v = w.JobType(v)
	case reports.BySide:
		v = w.Side(v)
	case reports.ByKind:
		v = w.Kind(v)
	case reports.ByFamily:
		v = w.word("family.", v)
	case reports.ByTask:
		v = w.Task(v)
	case reports.ByProduct:
		v = w.Product(v)
	case reports.ByPerson:
		v = w.Person(v)
	case reports.BySurface, reports.ByMethod:
		v = reports.Spoken(v)
	case reports.ByUnit:
		v = cmp.Or(w.UnitSign(events.Unit(v)), v)
	case reports.ByDay, reports.ByMonth:
		v = w.Day(events.Day(v))
	}
	return cmp.Or(v, w.Say("value.none"))
}

// Side says on which side of the comparison a fact stands.
func (w Words) Side(side string) string { return w.word("side.", side) }

// Kind says what a fact counts.
func (w Words) Kind(kind string) string { return w.word("kind.", kind) }

// Dimension says what facts are told apart by.
func (w Words) Dimension(d reports.Dimension) string { return w.word("dimension.", string(d)) }

// State says how far a job has come.
func (w Words) State(s events.State) string { return w.word("state.", string(s)) }
