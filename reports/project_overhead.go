package reports

import "daysheet/events"

// withOverhead adds to facts one of labour or material, and the overhead that the job
// bears for it, by the settings of the day. Overhead has the dimensions of what it is
// for, so that it can be added up in the same ways.
func (o *occasion) withOverhead(facts []Fact, f Fact) []Fact {
	facts = append(facts, f)
	s := o.p.firm.Settings(o.sequence)
	if s == nil || s.Overhead == nil {
		return facts
	}
	e4 := overheadE4(*s.Overhead, f)
	if e4 == 0 {
		return facts
	}
	f.Kind, f.CostE4, f.Minutes, f.QuantityMilli, f.Unit = KindOverhead, e4, 0, 0, ""
	return append(facts, f)
}

// overheadE4 returns the overhead for a fact of labour or of material.
func overheadE4(o events.Overhead, f Fact) int64 {
	if f.Kind == KindLabour {
		return labourCostE4(f.Minutes, o.PerHourE4) + shareE4(f.CostE4, o.LabourBasisPoints)
	}
	return shareE4(f.CostE4, o.MaterialBasisPoints)
}
