package events

import (
	"encoding/base64"
	"fmt"
	"strings"
)

// CustomerRecord is what the firm knows of a customer: name, address, contacts
// and notes. Only the key of the customer opens it, and the last record holds. The
// log is for ever, so that nothing of a person stands in it that can be read
// without a key which can be destroyed.
type CustomerRecord struct {
	Customer string `json:"customer" doc:"Key of the customer, as jobs name it; a number, not a name"`
	Sealed   Sealed `json:"sealed" doc:"The personal data"`
}

func (r *CustomerRecord) check(c *checker) {
	c.token("customer", r.Customer)
	r.Sealed.check(c, "sealed.")
}

// Sealed is personal data as it stands in the log. It is bound to the firm, the
// customer and the event that it was sealed for: elsewhere it does not open.
type Sealed struct {
	Algorithm string `json:"algorithm" doc:"How it was sealed: AES with 256 bits in Galois/Counter Mode (NIST SP 800-38D), behind a random nonce of 12 bytes" enum:"aes-256-gcm"`
	Key       string `json:"key" doc:"Which key opens it, by a hash that tells nothing of the key" pattern:"^[0-9a-f]{16}$"`
	Box       string `json:"box" doc:"Nonce, sealed bytes and tag in base64 (RFC 4648)" minLength:"40" maxLength:"45000" pattern:"^([A-Za-z0-9+/]{4})*([A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?$"`
}

// SealedAES256GCM is the one algorithm of [Sealed].
const SealedAES256GCM = "aes-256-gcm"

// Bounds of a box in base64. The least is a nonce and a tag with nothing between.
const (
	boxMin = 40
	boxMax = 45_000
)

func (s *Sealed) check(c *checker, at string) {
	c.oneOf(at+"algorithm", s.Algorithm, SealedAES256GCM)
	if len(s.Key) != 16 || strings.Trim(s.Key, "0123456789abcdef") != "" {
		c.refuse(at+"key", s.Key, "16 of 0-9 and a-f that say which key")
	}
	_, err := base64.StdEncoding.DecodeString(s.Box)
	if err != nil || len(s.Box) < boxMin || len(s.Box) > boxMax || strings.ContainsAny(s.Box, "\r\n") {
		c.refuse(at+"box", s.Box, "%d to %d characters of base64", boxMin, boxMax)
	}
}

// CustomerErasure says that the key of a customer was destroyed. What was sealed
// with it cannot be read any more, by anybody; everything else stays as it is.
type CustomerErasure struct {
	Customer string `json:"customer" doc:"Key of the customer"`
	Reason   string `json:"reason" doc:"Why, without personal data" minLength:"1" maxLength:"2000"`
	Day      Day    `json:"day,omitempty" doc:"Day on which the key was destroyed, if not the day of the event"`
}

func (e *CustomerErasure) check(c *checker) {
	c.token("customer", e.Customer)
	c.text("reason", e.Reason, textMax)
	c.optionalDay("day", e.Day)
}

// checkSigner: what is sealed must say whose it is.
func (s *SignOff) checkSigner(c *checker) {
	c.optionalToken("customer", s.Customer)
	switch {
	case s.Sealed != nil:
		s.Sealed.check(c, "sealed.")
		if s.Customer == "" {
			c.refuse("customer", s.Customer, "say whose name and signature are sealed")
		}
	case s.Customer != "":
		c.refuse("sealed", nil, "say what is sealed of this customer, or leave the customer out")
	}
	c.list("snags", len(s.Snags), 0)
	for i, id := range s.Snags {
		c.eventID(fmt.Sprintf("snags[%d]", i), id)
	}
}

// Customer is a customer as the firm's own events have it. The zero value is one
// that was never recorded.
type Customer struct {
	Customer string // key
	Event    string // id of the last record; empty where there is only an erasure
	Recorded Day    // day of that record
	Sealed   Sealed
	Erased   Day    // empty where the customer was not erased
	Reason   string // of the erasure
}

// learnCustomer folds one event about a customer in.
func (f *Firm) learnCustomer(e *Event, payload Payload) {
	switch p := payload.(type) {
	case *CustomerRecord:
		c := f.customers[p.Customer]
		c.Customer, c.Event, c.Recorded, c.Sealed = p.Customer, e.ID, e.Day(), p.Sealed
		f.customers[p.Customer] = c
	case *CustomerErasure:
		c := f.customers[p.Customer]
		c.Customer, c.Erased, c.Reason = p.Customer, p.Day, p.Reason
		if c.Erased == "" {
			c.Erased = e.Day()
		}
		f.customers[p.Customer] = c
	}
}

// Customer returns a customer as of now; ok is false where the firm's events do not
// know the key.
func (f *Firm) Customer(customer string) (c Customer, ok bool) {
	c, ok = f.customers[customer]
	return c, ok
}

// Customers returns every customer ever recorded or erased, in no order.
func (f *Firm) Customers() []Customer {
	all := make([]Customer, 0, len(f.customers))
	for _, c := range f.customers {
		all = append(all, c)
	}
	return all
}

// knowCustomer refuses what comes for a customer after the erasure: who comes back
// is a new customer with a new key.
func (j *Job) knowCustomer(customer string, erasing bool) *Error {
	if j.isErased(customer) {
		return &Error{Code: Conflict, Field: "data.customer", Value: show(customer),
			Rule: "this customer was erased; who comes back is recorded under a new key"}
	}
	if erasing {
		j.erased[customer] = true
	}
	return nil
}

func (j *Job) isErased(customer string) bool {
	return j.erased[customer] || j.base != nil && j.base.isErased(customer)
}
