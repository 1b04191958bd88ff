package events

import (
	"cmp"
	"fmt"
	"slices"
)

// Firm is the fold of a firm's own events, with its history: what was known at
// each position of the log, so that the cost of a past action can always be
// worked out again as it was. The zero value is a firm that recorded nothing.
//
// A Firm is changed by [Firm.Apply] alone and is not safe for concurrent use.
type Firm struct {
	settings []known[*Settings]
	products map[string][]known[*Product]
	prices   map[string][]price
	bought   map[string]purchased // by event id, to void it
	books    []known[*RateBook]
	rejected []known[*RateRejection]

	customers map[string]Customer // as of now: a customer who was erased must not be found in the past
}

// known is a value with the sequence at which it became known.
type known[T any] struct {
	sequence uint64
	value    T
}

// price says what an amount of a product costs, from sequence on until voided.
type price struct {
	sequence uint64
	voided   uint64 // sequence of the void; 0 if it holds
	costE4   int64
	perMilli int64
	unit     Unit
}

type purchased struct {
	product string
	index   int
}

// Apply folds in one commit of the firm's own events. Its errors have the code
// [Internal]: what is in the log is not the fault of who reads it.
func (f *Firm) Apply(c *Commit, sequence uint64) error {
	if f.products == nil {
		f.products, f.prices, f.bought = map[string][]known[*Product]{}, map[string][]price{}, map[string]purchased{}
		f.customers = map[string]Customer{}
	}
	for i := range c.Events {
		e := &c.Events[i]
		payload, err := e.Payload()
		if err != nil {
			return fmt.Errorf("sequence %d: event %s: %v", sequence, e.ID, err)
		}
		switch p := payload.(type) {
		case *Settings:
			f.settings = append(f.settings, known[*Settings]{sequence, p})
		case *Product:
			f.products[p.Product] = append(f.products[p.Product], known[*Product]{sequence, p})
			f.prices[p.Product] = append(f.prices[p.Product],
				price{sequence: sequence, costE4: p.PriceE4, perMilli: 1000, unit: p.Unit})
		case *Purchase:
			f.bought[e.ID] = purchased{p.Product, len(f.prices[p.Product])}
			f.prices[p.Product] = append(f.prices[p.Product],
				price{sequence: sequence, costE4: p.CostE4, perMilli: p.QuantityMilli, unit: p.Unit})
		case *RateBook:
			f.books = append(f.books, known[*RateBook]{sequence, p})
		case *RateRejection:
			f.rejected = append(f.rejected, known[*RateRejection]{sequence, p})
		case *CustomerRecord, *CustomerErasure:
			f.learnCustomer(e, p)
		case *Void:
			if b, ok := f.bought[p.Event]; ok {
				f.prices[b.product][b.index].voided = sequence
			}
		}
	}
	return nil
}

// at returns the last value known at the sequence; 0 means the latest of all.
func at[T any](history []known[T], sequence uint64) (value T, ok bool) {
	for i := len(history) - 1; i >= 0; i-- {
		if sequence == 0 || history[i].sequence <= sequence {
			return history[i].value, true
		}
	}
	return value, false
}

// Settings returns the settings in force at the sequence (0: now); nil if there
// were none.
func (f *Firm) Settings(sequence uint64) *Settings {
	s, _ := at(f.settings, sequence)
	return s
}

// RateBook returns the revision in force at the sequence (0: now); nil if there
// was none.
func (f *Firm) RateBook(sequence uint64) *RateBook {
	b, _ := at(f.books, sequence)
	return b
}

// RateBooks returns every revision recorded up to the sequence (0: now), oldest
// first.
func (f *Firm) RateBooks(sequence uint64) []*RateBook { return upTo(f.books, sequence) }

// RateRejections returns every rejection of a proposed rate recorded up to the
// sequence (0: now), oldest first.
func (f *Firm) RateRejections(sequence uint64) []*RateRejection { return upTo(f.rejected, sequence) }

func upTo[T any](history []known[T], sequence uint64) (values []T) {
	for _, k := range history {
		if sequence == 0 || k.sequence <= sequence {
			values = append(values, k.value)
		}
	}
	return values
}

// Product returns the listing of a product in force at the sequence (0: now);
// nil if it was not listed.
func (f *Firm) Product(product string, sequence uint64) *Product {
	p, _ := at(f.products[product], sequence)
	return p
}

// Products returns the keys of every product ever listed, in no order.
func (f *Firm) Products() []string {
	keys := make([]string, 0, len(f.products))
	for k := range f.products {
		keys = append(keys, k)
	}
	return keys
}

// Price is the last known price of a product in one unit: PerMilli thousandths of
// the unit cost CostE4.
type Price struct {
	Product          string
	Unit             Unit
	CostE4, PerMilli int64
}

// Prices returns the price of every product in every unit at the sequence (0:
// now), as [Firm.Price] gives it, ordered by product and unit.
func (f *Firm) Prices(sequence uint64) []Price {
	var all []Price
	for product, history := range f.prices {
		for i, p := range history {
			if slices.ContainsFunc(history[:i], func(before price) bool { return before.unit == p.unit }) {
				continue
			}
			if cost, per, ok := f.Price(product, p.unit, sequence); ok {
				all = append(all, Price{product, p.unit, cost, per})
			}
		}
	}
	slices.SortFunc(all, func(a, b Price) int {
		return cmp.Or(cmp.Compare(a.Product, b.Product), cmp.Compare(a.Unit, b.Unit))
	})
	return all
}

// Price returns what perMilli thousandths of the product's unit cost at the
// sequence: by the last purchase or listing, whichever was recorded later. ok
// is false where there is no price in that unit.
func (f *Firm) Price(product string, unit Unit, sequence uint64) (costE4, perMilli int64, ok bool) {
	history := f.prices[product]
	for i := len(history) - 1; i >= 0; i-- {
		p := history[i]
		if p.sequence > sequence && sequence != 0 || p.unit != unit {
			continue
		}
		if p.voided != 0 && (sequence == 0 || p.voided <= sequence) {
			continue
		}
		return p.costE4, p.perMilli, true
	}
	return 0, 0, false
}
