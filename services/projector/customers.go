package projector

import (
	"context"

	"daysheet/events"
)

// Customers returns every customer that a firm has recorded or erased, as of now and
// in no order. What is personal of them is sealed.
func (p *Projector) Customers(ctx context.Context, firm string) (all []events.Customer, err error) {
	err = p.directory.read(ctx, firm, func(f *events.Firm) { all = f.Customers() })
	return all, err
}

// Customer returns one of a firm's customers; ok is false where the firm's events do
// not know the key.
func (p *Projector) Customer(ctx context.Context, firm, key string) (c events.Customer, ok bool, err error) {
	err = p.directory.read(ctx, firm, func(f *events.Firm) { c, ok = f.Customer(key) })
	return c, ok, err
}
