package history

import (
	"cmp"
	"slices"
	"strings"

	"daysheet/events"
)

// metList gathers what good jobs name: job types, people and products, in the
// order in which they are met.
type metList struct {
	jobTypes []string
	people   []string
	products []string
	priced   []entry // rows that say what a product costs
	last     entry   // the row with the latest day
}

func (m *metList) take(j *job) {
	once := func(list *[]string, key string) {
		if key != "" && !slices.Contains(*list, key) {
			*list = append(*list, key)
		}
	}
	once(&m.jobTypes, j.jobType)
	for _, e := range j.entries {
		once(&m.people, e.person)
		once(&m.products, e.product)
		if e.product != "" && e.unitPriceE4 > 0 && e.milli > 0 {
			m.priced = append(m.priced, e)
		}
		if e.day > m.last.day {
			m.last = e
		}
	}
}

// firm says what the firm has not listed, and lists it where that was asked for.
func (b *builder) firm() error {
	s := b.opts.Settings
	sum := &b.plan.Summary
	sum.NewJobTypes = slices.DeleteFunc(slices.Clone(b.met.jobTypes), func(key string) bool {
		return s != nil && slices.ContainsFunc(s.JobTypes, func(t events.JobType) bool { return t.JobType == key })
	})
	sum.NewPeople = slices.DeleteFunc(slices.Clone(b.met.people), func(key string) bool {
		return s != nil && slices.ContainsFunc(s.People, func(p events.FirmPerson) bool { return p.Person == key })
	})
	sum.NewProducts = slices.DeleteFunc(slices.Clone(b.met.products), func(key string) bool {
		return slices.ContainsFunc(b.opts.Products, func(p events.Product) bool { return p.Product == key })
	})
	if !b.opts.ListNew || b.met.last.day == "" {
		return nil
	}
	b.made, b.faulty = nil, false
	if err := b.listJobTypes(sum.NewJobTypes); err != nil {
		return err
	}
	for _, product := range sum.NewProducts {
		if err := b.listProduct(product); err != nil {
			return err
		}
	}
	b.plan.Summary.Events += len(b.made)
	var own []Batch
	for part := range slices.Chunk(b.made, batchMax) {
		own = append(own, Batch{events.FirmJob, part})
	}
	b.batches = append(own, b.batches...)
	return nil
}

// listJobTypes adds job types to the settings in force.
func (b *builder) listJobTypes(added []string) error {
	if len(added) == 0 {
		return nil
	}
	if b.opts.Settings == nil {
		b.notice(b.met.last.line, "job types were not added: record the firm's settings first")
		return nil
	}
	settings := *b.opts.Settings
	settings.JobTypes = slices.Clone(settings.JobTypes)
	for _, key := range added {
		name := strings.ToUpper(key[:1]) + strings.ReplaceAll(key[1:], "-", " ")
		settings.JobTypes = append(settings.JobTypes, events.JobType{JobType: key, Name: name})
	}
	_, err := b.add(b.met.last.line, events.FirmJob, events.FirmSettingsChanged, b.met.last.day, atOpening, &settings)
	return err
}

// listProduct lists a product at the price of its latest row that has one.
func (b *builder) listProduct(product string) error {
	var latest entry
	for _, e := range b.met.priced {
		if e.product == product && cmp.Compare(e.day, latest.day) >= 0 {
			latest = e
		}
	}
	if latest.line == 0 {
		return nil
	}
	_, err := b.add(latest.line, events.FirmJob, events.ProductListed, latest.day, atOpening, &events.Product{
		Product: product, Name: latest.productName, Unit: latest.unit, PriceE4: latest.unitPriceE4})
	return err
}
