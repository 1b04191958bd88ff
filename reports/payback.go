package reports

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"daysheet/events"
	"daysheet/reports/rates"
)

// The sums that the payback of protection asks for, in the order of the question.
const (
	paybackWork   = iota // actual quantities by job, location and family
	paybackDamage        // damage by job, location and cause
	paybackCost          // actual labour and material by job type and family
)

// covering are the families that protecting a room is made of.
var covering = []events.Family{events.FamilyProtection, events.FamilyMasking, events.FamilyLifting}

func askPayback(f Filter) Question {
	q := on(scope(f), SideActual)
	return Question{
		Sums: []Query{
			grouped(only(q, KindQuantity), ByJob, ByLocation, ByFamily),
			grouped(only(q, KindDamage), ByJob, ByLocation, ByMethod),
			grouped(only(q, KindLabour, KindMaterial).With(ByFamily, texts(covering)...), ByJobType, ByFamily),
		},
		Jobs: scopeJobs(f),
	}
}

// rooms counts rooms with and without protection, and the damage in them.
type rooms struct {
	protected, bare rates.Exposure
	damages         []rates.Damage
	costE4          int64 // of protecting, lifting included
}

// roomMilli is one room as an exposure.
const roomMilli = 1000

// countRooms returns an exposure in whole rooms.
func countRooms(e rates.Exposure) int64 {
	n, _ := split(e.Milli, roomMilli)
	return n
}

func (r *rooms) add(o rooms) {
	r.protected.Milli += o.protected.Milli
	r.protected.Events += o.protected.Events
	r.bare.Milli += o.bare.Milli
	r.bare.Events += o.bare.Events
	r.damages = append(r.damages, o.damages...)
	r.costE4 += o.costE4
}

// roomsByType counts the rooms in which something was coated or prepared. A room is
// a location of a job; it counts as protected where protection was laid in it.
func roomsByType(a Answer) map[string]*rooms {
	byKey := a.jobsByKey()
	byType := map[string]*rooms{}
	of := func(jobType string) *rooms {
		if byType[jobType] == nil {
			byType[jobType] = &rooms{}
		}
		return byType[jobType]
	}
	damage := a.answered(paybackDamage)
	for work := a.answered(paybackWork); len(work) > 0; {
		key := jobRoom{work[0].By[0], work[0].By[1]}
		var here, hurt []Total
		here, work = leading(work, key.job, key.location)
		for len(damage) > 0 && (jobRoom{damage[0].By[0], damage[0].By[1]}).before(key) {
			damage = damage[1:] // in a room of which nothing else is known
		}
		hurt, damage = leading(damage, key.job, key.location)
		worked, protected := workedIn(key, here)
		if !worked {
			continue
		}
		job := byKey[key.job]
		if job == nil {
			job = &JobRow{Job: key.job}
		}
		of(job.JobType).addRoom(job, protected, hurt)
	}
	for _, t := range a.answered(paybackCost) {
		of(t.By[0]).costE4 += t.CostE4
	}
	return byType
}

// jobRoom names a room.
type jobRoom struct{ job, location string }

func (r jobRoom) before(o jobRoom) bool {
	return cmp.Or(cmp.Compare(r.job, o.job), cmp.Compare(r.location, o.location)) < 0
}

// workedIn says what was done in a room that has a name.
func workedIn(room jobRoom, work []Total) (worked, protected bool) {
	for _, t := range work {
		switch family := events.Family(t.By[2]); {
		case room.location == "" || t.QuantityMilli <= 0:
		case family == events.FamilyProtection:
			worked, protected = true, true
		case family == events.FamilyCoating, family == events.FamilyPreparation:
			worked = true
		}
	}
	return worked, protected
}

// addRoom counts a room of a job, with the damage in it that is the firm's own.
func (r *rooms) addRoom(job *JobRow, protected bool, damage []Total) {
	kind := &r.bare
	if protected {
		kind = &r.protected
	}
	kind.Milli += roomMilli
	for _, t := range damage {
		if cause := t.By[2]; cause != "ours" && cause != "unknown" {
			continue
		}
		n, _ := split(t.QuantityMilli, 1000)
		kind.Events += n
		day, err := rates.DayNumber(job.Finished)
		if err == nil && t.CostE4 > 0 && n > 0 {
			for range n {
				r.damages = append(r.damages, rates.Damage{Job: job.Job, Day: day, CostE4: ratio(t.CostE4, 1, n)})
			}
		}
	}
}

// paid is the answer for the rooms of one group.
type paid struct {
	rooms
	rates.Payback
	damageE4, roomE4 int64 // cost of one damage, and of protecting one room
	err              error
}

// payback compares with one prior for both kinds of rooms, from all of the firm's,
// so that no difference is claimed before there is data.
func (r rooms) payback(all rooms) paid {
	p := paid{rooms: r}
	fit, err := rates.FitDamage(all.damages, math.MaxInt32)
	if err != nil {
		return paid{rooms: r, err: err}
	}
	p.damageE4 = fit.MeanE4("")
	if r.protected.Milli > 0 {
		p.roomE4 = ratio(r.costE4, roomMilli, r.protected.Milli)
	}
	prior := rates.PriorFrequency(rates.Exposure{Milli: all.protected.Milli + all.bare.Milli,
		Events: all.protected.Events + all.bare.Events})
	p.Payback, p.err = rates.NewPayback(prior, r.protected, r.bare, p.damageE4, p.roomE4)
	return p
}

func makePayback(f Filter, a Answer) Report {
	r := Report{Name: "payback", Title: phrase("Does protection pay?"), Filter: f, Names: a.Names}
	byType := roomsByType(a)
	var all rooms
	for _, jobType := range slices.Sorted(maps.Keys(byType)) {
		all.add(*byType[jobType])
	}
	t := Table{
		Name: "payback", Title: "Protection against damage, by job type",
		Columns: []Column{
			{"job_type", "Job type", FormName}, {"protected_count", "Rooms protected", FormCount},
			{"damaged_count", "Damage in them", FormCount}, {"bare_count", "Rooms left bare", FormCount},
			{"bare_damaged_count", "Damage in them", FormCount}, {"protected_basis_points", "Damage per room, protected",
				FormShare},
			{"bare_basis_points", "left bare", FormShare}, {"damage_e4", "One case costs", FormMoney},
			{"protection_e4", "Protecting a room costs", FormMoney}, {"saved_e4", "Damage avoided per room", FormMoney},
			{"net_e4", "Left over", FormMoney}, {"pays_basis_points", "Chance that it pays", FormShare}, {"remark", "Remark",
				FormText},
		},
		Empty: "No room of a finished job has both work and a name. Name the room when protection, preparation and coats " +
			"are " +
			"recorded.",
	}
	fig := Figure{Name: "damage-for-a-room", Title: phrase("Damage per hundred rooms"), Form: FormShare,
		Shape:  ShapeBars,
		Series: []Series{{Name: "Protected"}, {Name: "Left bare"}}}
	for _, jobType := range slices.Sorted(maps.Keys(byType)) {
		p := byType[jobType].payback(all)
		if p.protected.Milli+p.bare.Milli == 0 {
			continue
		}
		name := nameCell(a.Names.JobTypes, jobType)
		t.Rows = append(t.Rows, p.cells(name))
		fig.Categories = append(fig.Categories, name.Text)
		fig.Series[0].Values = append(fig.Series[0].Values, basisPoints(p.Protected.Mean()))
		fig.Series[1].Values = append(fig.Series[1].Values, basisPoints(p.Unprotected.Mean()))
	}
	if len(t.Rows) > 0 {
		whole := all.payback(all)
		t.Total = whole.cells(wordCell("All types"))
		fig.Finding = phrase("%s in %d protected rooms, and %d in %d that were left bare.",
			counted(all.protected.Events, "1 case of damage", "%s cases of damage"), countRooms(all.protected), all.bare.Events,
			countRooms(all.bare))
		r.Figures = []Figure{fig}
	}
	r.Tables = []Table{t}
	r.Notes = phrases(
		"A room is a named location of a job in which something was prepared or coated. It is protected where protection "+
			"was "+
			"laid in it. Damage counts where the firm bears it or where the cause is not known.",
		"Compare within a job type. Protection is laid where the risk is higher, so that the comparison leans against it: "+
			"it "+
			"shows what goes together and not what causes what.",
		"Frequencies start from the firm's own average and move with what was counted (Gamma-Poisson). Below five cases "+
			"of damage nothing may be concluded, and no sum is told.",
	)
	return r
}

func (p paid) cells(first Cell) []Cell {
	if p.err != nil {
		blank := Cell{Blank: true}
		return []Cell{first, blank, blank, blank, blank, blank, blank, blank, blank, blank, blank, blank,
			textCell(p.err.Error())}
	}
	remark := ""
	switch {
	case p.protected.Milli == 0 || p.bare.Milli == 0:
		remark = "nothing to compare with: all rooms were treated alike"
	case p.Few:
		remark = "under five cases of damage in these rooms: nothing can be concluded yet"
	}
	told := remark == "" // a sum would be believed, whatever the remark says of it
	return []Cell{
		first, numberCell(countRooms(p.protected)), numberCell(p.protected.Events), numberCell(countRooms(p.bare)),
		numberCell(p.bare.Events),
		numberCell(basisPoints(p.Protected.Mean())), numberCell(basisPoints(p.Unprotected.Mean())), numberCell(p.damageE4),
		moneyCell(p.roomE4, p.protected.Milli > 0), moneyCell(p.SavedE4, told), moneyCell(p.NetE4, told),
		{Number: basisPoints(p.PPays), Blank: !told}, wordCell(remark),
	}
}
