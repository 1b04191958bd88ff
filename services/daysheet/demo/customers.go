package demo

import (
	"fmt"
	"iter"
	"math/rand/v2"
	"strings"

	"daysheet/events"
)

// Customer is who a job is done for. Everything in it is invented. It is no event: what
// is personal is sealed by the program that records it.
type Customer struct {
	Key      string // as jobs name it
	Name     string
	Address  string // with line breaks
	Contacts []string
}

// What names and streets are put together from: syllables that mean nothing.
var (
	nameStarts = []string{"Bel", "Cor", "Dav", "Fen", "Gar", "Hol", "Jor", "Kes", "Mar", "Nor", "Pel", "Ros", "Tam", "Wen"}
	nameEnds   = []string{"dray", "fold", "lith", "mond", "nick", "par", "quist", "rell", "stow", "vane", "wick"}
	streets    = []string{"Fuller's Row", "Kiln Steps", "Lower Tenterfield", "Orchard Bank", "Saddlers' Way", "Upper Quay"}
)

// Customers yields the customers of the firm's jobs in the order of the jobs, each once.
func (f *Firm) Customers() iter.Seq[Customer] {
	return func(yield func(Customer) bool) {
		seen := map[string]bool{}
		for s := range f.Submissions() {
			for _, e := range s.Events {
				payload, err := e.Payload()
				opening, ok := payload.(*events.Opening)
				if err != nil || !ok || opening.Customer == "" || seen[opening.Customer] {
					continue
				}
				seen[opening.Customer] = true
				if !yield(inventCustomer(opening.Customer)) {
					return
				}
			}
		}
	}
}

// inventCustomer makes the same customer of the same key every time.
func inventCustomer(key string) Customer {
	var seed [32]byte
	copy(seed[:], key)
	from := rand.New(rand.NewChaCha8(seed))
	pick := func(of []string) string { return of[from.IntN(len(of))] }
	first, last := pick(nameStarts)+pick(nameEnds), pick(nameStarts)+pick(nameEnds)
	return Customer{
		Key: key, Name: first + " " + last + " (invented)",
		Address:  fmt.Sprintf("%d %s\nQuillmarsh (invented)", 1+from.IntN(90), pick(streets)),
		Contacts: []string{strings.ToLower(first+"."+last) + "@mail.example"},
	}
}
