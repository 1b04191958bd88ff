package customers

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"daysheet/events"
)

// Details is what is personal of a customer. It stands in the log sealed.
type Details struct {
	Name     string   `json:"name" doc:"Name of the person or company" minLength:"1" maxLength:"200"`
	Address  string   `json:"address,omitempty" doc:"Postal address, with line breaks" maxLength:"600"`
	Contacts []string `json:"contacts,omitempty" doc:"Telephone numbers, mail addresses, who to ask for" maxItems:"20"`
	Note     string   `json:"note,omitempty" doc:"What the firm should know" maxLength:"4000"`
}

// Bounds in bytes, so that the whole fits into one event.
const (
	nameMax, addressMax, contactMax, contactsMax, noteMax = 200, 600, 200, 20, 4000
)

// check refuses the first member that is not what it should be.
func (d *Details) check() error {
	d.Name, d.Address, d.Note = strings.TrimSpace(d.Name), strings.TrimSpace(d.Address), strings.TrimSpace(d.Note)
	if d.Name == "" {
		return events.Refuse("name", d.Name, "it must be given")
	}
	for _, m := range []struct {
		field, value string
		most         int
	}{{"name", d.Name, nameMax}, {"address", d.Address, addressMax}, {"note", d.Note, noteMax}} {
		if err := checkText(m.field, m.value, m.most); err != nil {
			return err
		}
	}
	if len(d.Contacts) > contactsMax {
		return events.Refuse("contacts", len(d.Contacts), "at most %d", contactsMax)
	}
	for i, contact := range d.Contacts {
		if err := checkText(fmt.Sprintf("contacts[%d]", i), contact, contactMax); err != nil {
			return err
		}
	}
	return nil
}

func checkText(field, value string, most int) error {
	if len(value) > most {
		return events.Refuse(field, value, "at most %d bytes", most)
	}
	bad := func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\r' && r != '\t' }
	if !utf8.ValidString(value) || strings.ContainsFunc(value, bad) {
		return events.Refuse(field, value, "text without control characters")
	}
	return nil
}

// same reports whether two say the same.
func (d *Details) same(other Details) bool {
	return d.Name == other.Name && d.Address == other.Address && d.Note == other.Note &&
		strings.Join(d.Contacts, "\n") == strings.Join(other.Contacts, "\n")
}
