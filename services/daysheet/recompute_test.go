package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math/big"
	"testing"
)

// ledgerSums is an independent account of a firm: a plain loop over its exported
// events, written without any of the program's own projection, store or report
// code, to be compared with what the reports say.
type ledgerSums struct {
	grades map[string]int64 // cost of an hour
	people map[string]string
	price  map[string]unitPrice // by product and unit
	hour   int64                // overhead for an hour
	onCost [2]int64             // overhead in basis points, of labour and of material
	jobs   map[string]*jobSums
}

type unitPrice struct{ cost, per int64 }

// jobSums is one job: what each live event adds, so that a void can drop it.
type jobSums struct {
	kind, finished string
	adds           map[string]*sums // by event
	estimates      []string
	accepted       []string          // acceptance events that hold
	acceptedOf     map[string]string // acceptance -> estimate
	ends           []jobEnd
	variations     map[string]bool
	down           map[string]protection // by protection laid event
	lifts          map[string]protection // by lifting: what it took up of which laid event
	causes         map[string]string     // of damage
}

type protection struct {
	laid, unit string
	milli      int64
}

type jobEnd struct{ event, kind, day string }

// sums are the measures of one event or of many.
type sums struct {
	minutes, labour map[string]int64 // by task
	used, usedCost  map[string]int64 // by product and unit
	done            map[string]int64 // by task and unit
	damage, price   int64
	overhead        int64
}

func newSums() *sums {
	return &sums{map[string]int64{}, map[string]int64{}, map[string]int64{}, map[string]int64{}, map[string]int64{}, 0, 0, 0}
}

func (s *sums) add(o *sums) {
	for _, pair := range [][2]map[string]int64{{s.minutes, o.minutes}, {s.labour, o.labour}, {s.used, o.used},
		{s.usedCost, o.usedCost}, {s.done, o.done}} {
		for k, v := range pair[1] {
			pair[0][k] += v
		}
	}
	s.damage += o.damage
	s.overhead += o.overhead
	s.price += o.price
}

func total(m map[string]int64) (n int64) {
	for _, v := range m {
		n += v
	}
	return n
}

// roundHalfUp is a*b/c by fractions, halves away from zero.
func roundHalfUp(a, b, c int64) int64 {
	if c == 0 {
		return 0
	}
	r := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(a), big.NewInt(b)), big.NewInt(c))
	text := r.FloatString(0) // rounds halves away from zero
	n, _ := new(big.Int).SetString(text, 10)
	return n.Int64()
}

type anyMap = map[string]any

func text(m anyMap, key string) string { s, _ := m[key].(string); return s }
func whole(m anyMap, key string) int64 {
	n, ok := m[key].(json.Number)
	if !ok {
		return 0
	}
	i, err := n.Int64()
	if err != nil {
		panic(err)
	}
	return i
}
func list(m anyMap, key string) (out []anyMap) {
	items, _ := m[key].([]any)
	for _, i := range items {
		out = append(out, i.(anyMap))
	}
	return out
}

// recompute reads an export and adds it up.
func recompute(t *testing.T, export []byte) *ledgerSums {
	t.Helper()
	l := &ledgerSums{grades: map[string]int64{}, people: map[string]string{}, price: map[string]unitPrice{},
		jobs: map[string]*jobSums{}}
	lines := bufio.NewScanner(bytes.NewReader(export))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		d := json.NewDecoder(bytes.NewReader(lines.Bytes()))
		d.UseNumber()
		var e anyMap
		if err := d.Decode(&e); err != nil {
			t.Fatalf("export: %v in %s", err, lines.Text())
		}
		data, _ := e["data"].(anyMap)
		if text(e, "subject") == "firm" {
			l.firmEvent(e, data)
		} else {
			l.jobEvent(e, data)
		}
	}
	for _, j := range l.jobs {
		j.settle()
	}
	return l
}

func (l *ledgerSums) firmEvent(e, data anyMap) {
	switch text(e, "type") {
	case "daysheet.firm.settings-changed.v1":
		clear(l.grades)
		clear(l.people)
		for _, g := range list(data, "grades") {
			l.grades[text(g, "grade")] = whole(g, "cost_per_hour_e4")
		}
		over, _ := data["overhead"].(anyMap)
		l.hour = whole(over, "per_hour_e4")
		l.onCost = [2]int64{whole(over, "labour_basis_points"), whole(over, "material_basis_points")}
		for _, p := range list(data, "people") {
			l.people[text(p, "person")] = text(p, "grade")
		}
	case "daysheet.product.listed.v1":
		l.price[text(data, "product")+"/"+text(data, "unit")] = unitPrice{whole(data, "price_e4"), 1000}
	case "daysheet.material.purchased.v1":
		l.price[text(data, "product")+"/"+text(data, "unit")] = unitPrice{whole(data, "cost_e4"), whole(data, "quantity_milli")}
	}
}

func (l *ledgerSums) jobEvent(e, data anyMap) {
	id, kind := text(e, "id"), text(e, "type")
	j := l.jobs[text(e, "subject")]
	if j == nil {
		j = &jobSums{adds: map[string]*sums{}, acceptedOf: map[string]string{}, variations: map[string]bool{},
			down: map[string]protection{}, lifts: map[string]protection{}, causes: map[string]string{}}
		l.jobs[text(e, "subject")] = j
	}
	day := text(data, "day")
	if day == "" {
		day = text(e, "time")[:10]
	}
	s := newSums()
	switch kind {
	case "daysheet.job.opened.v1":
		j.kind = text(data, "job_type")
	case "daysheet.estimate.issued.v1":
		j.estimates = append(j.estimates, id)
		l.plan(s, data)
	case "daysheet.variation.agreed.v1":
		j.variations[id] = true
		l.plan(s, data)
	case "daysheet.estimate.accepted.v1":
		j.accepted = append(j.accepted, id)
		j.acceptedOf[id] = text(data, "estimate")
	case "daysheet.hours.booked.v1":
		grade := text(data, "grade")
		if grade == "" {
			grade = l.people[text(data, "person")]
		}
		s.minutes[text(data, "task")] = whole(data, "minutes")
		cost := roundHalfUp(whole(data, "minutes"), l.grades[grade], 60)
		s.labour[text(data, "task")] = cost
		s.overhead += l.labourOverhead(whole(data, "minutes"), cost)
	case "daysheet.protection.laid.v1":
		s.done[text(data, "task")+"/"+text(data, "unit")] = whole(data, "quantity_milli")
		l.use(s, text(data, "product"), text(data, "product_unit"), whole(data, "product_quantity_milli"), 0, 1)
		j.down[id] = protection{id, text(data, "unit"), whole(data, "quantity_milli")}
	case "daysheet.protection.lifted.v1":
		laid := j.down[text(data, "laid")]
		milli := whole(data, "quantity_milli")
		if milli == 0 {
			milli = laid.milli
		}
		laid.milli -= milli
		j.down[laid.laid] = laid
		j.lifts[id] = protection{laid.laid, laid.unit, milli}
		s.done["lift-protection/"+laid.unit] = milli
	case "daysheet.snag.cleared.v1":
		s.done["snag/each"] = 1000
	case "daysheet.surface.prepared.v1":
		s.done[text(data, "task")+"/"+text(data, "unit")] = whole(data, "quantity_milli")
	case "daysheet.coat.applied.v1":
		s.done[text(data, "task")+"/"+text(data, "unit")] = whole(data, "quantity_milli")
		l.use(s, text(data, "product"), "l", whole(data, "volume_milli"), 0, 1)
	case "daysheet.material.used.v1":
		l.use(s, text(data, "product"), text(data, "unit"), whole(data, "quantity_milli"), whole(data, "cost_e4"), 1)
	case "daysheet.material.returned.v1":
		l.use(s, text(data, "product"), text(data, "unit"), whole(data, "quantity_milli"), whole(data, "cost_e4"), -1)
	case "daysheet.damage.found.v1":
		if c := text(data, "cause"); c == "ours" || c == "unknown" {
			s.damage = whole(data, "cost_e4")
		}
		j.causes[id] = text(data, "cause")
	case "daysheet.damage.made-good.v1":
		if c := j.causes[text(data, "damage")]; c == "ours" || c == "unknown" {
			s.damage = whole(data, "cost_e4") - j.adds[text(data, "damage")].damage
		}
	case "daysheet.job.closed.v1", "daysheet.job.signed-off.v1", "daysheet.job.reopened.v1":
		s.price = whole(data, "billed_e4")
		j.ends = append(j.ends, jobEnd{id, kind, day})
	case "daysheet.event.voided.v1":
		j.void(text(data, "event"))
		return
	}
	j.adds[id] = s
}

// plan adds an estimate or variation: minutes and labour by task, and materials.
func (l *ledgerSums) plan(s *sums, data anyMap) {
	for _, line := range list(data, "lines") {
		task := text(line, "task")
		s.minutes[task] += whole(line, "minutes")
		cost := whole(line, "cost_e4")
		if cost == 0 {
			cost = roundHalfUp(whole(line, "minutes"), l.grades[text(line, "grade")], 60)
		}
		s.labour[task] += cost
		s.overhead += l.labourOverhead(whole(line, "minutes"), cost)
		if q := whole(line, "quantity_milli"); q > 0 {
			s.done[task+"/"+text(line, "unit")] += q
		}
	}
	for _, m := range list(data, "materials") {
		l.use(s, text(m, "product"), text(m, "unit"), whole(m, "quantity_milli"), whole(m, "cost_e4"), 1)
	}
	s.price = whole(data, "price_e4")
}

func (l *ledgerSums) use(s *sums, product, unit string, milli, stated, sign int64) {
	if milli == 0 {
		return
	}
	key := product + "/" + unit
	s.used[key] += sign * milli
	if stated == 0 {
		p := l.price[key]
		stated = roundHalfUp(milli, p.cost, p.per)
	}
	s.usedCost[key] += sign * stated
	s.overhead += sign * roundHalfUp(stated, l.onCost[1], 10_000)
}

func (l *ledgerSums) labourOverhead(minutes, cost int64) int64 {
	return roundHalfUp(minutes, l.hour, 60) + roundHalfUp(cost, l.onCost[0], 10_000)
}

func (j *jobSums) void(id string) {
	delete(j.adds, id)
	if lift, ok := j.lifts[id]; ok {
		laid := j.down[lift.laid]
		laid.milli += lift.milli
		j.down[lift.laid] = laid
		delete(j.lifts, id)
	}
	j.estimates = without(j.estimates, id)
	j.accepted = without(j.accepted, id)
	for i, e := range j.ends {
		if e.event == id {
			j.ends = append(j.ends[:i:i], j.ends[i+1:]...)
			break
		}
	}
}

func without(ids []string, id string) (kept []string) {
	for _, k := range ids {
		if k != id {
			kept = append(kept, k)
		}
	}
	return kept
}

// settle finds the day on which the job was finished: the first end since it was
// last reopened.
func (j *jobSums) settle() {
	for _, e := range j.ends {
		if e.kind == "daysheet.job.reopened.v1" {
			j.finished = ""
		} else if j.finished == "" {
			j.finished = e.day
		}
	}
}

// sides returns the job's budget (the estimate in force and the variations) and
// what it took.
func (j *jobSums) sides() (budget, actual *sums) {
	budget, actual = newSums(), newSums()
	inForce := ""
	if n := len(j.accepted); n > 0 {
		inForce = j.acceptedOf[j.accepted[n-1]]
	} else if n := len(j.estimates); n > 0 {
		inForce = j.estimates[n-1]
	}
	planned := map[string]bool{}
	for _, id := range j.estimates {
		planned[id] = true
	}
	for id, s := range j.adds {
		switch {
		case id == inForce:
			budget.add(s)
		case planned[id]:
		case j.variations[id]:
			budget.add(s)
		default:
			actual.add(s)
		}
	}
	return budget, actual
}
