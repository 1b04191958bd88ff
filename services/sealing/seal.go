package sealing

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"

	"daysheet/events"
)

// Place is where a sealed value stands. It is bound to the value (as associated data
// of the cipher), so that a value that was moved does not open. Every member is
// required.
type Place struct {
	Firm     string
	Customer string
	Job      string // [events.FirmJob] for the firm's own events
	Event    string // id
	Part     string // which part of the event
}

// The parts of events that are sealed.
const (
	PartCustomer  = "customer"
	PartSignature = "signature"
)

// ErasedError says that the customer was erased: nobody can open the value.
type ErasedError struct {
	Customer string
	Day      events.Day
}

// Error says when.
func (e *ErasedError) Error() string {
	return "customer " + e.Customer + " was erased on " + string(e.Day)
}

// LostError says that the key is not there although nobody erased the customer.
type LostError struct {
	Customer string
	why      string
	there    bool // there is a file, and it is not the key
}

// Error says what to do.
func (e *LostError) Error() string {
	return "the key of customer " + e.Customer + " " + e.why + ": until it is restored from a backup of that folder, " +
		"what was sealed with it cannot be read. Processes that serve one ledger need one folder of keys, named by --keys"
}

// MovedError says that a value is not what was sealed for this place.
type MovedError struct{ Place Place }

// Error says for which.
func (e *MovedError) Error() string {
	return fmt.Sprintf("what is sealed as %s of event %s was damaged, or sealed for another event or customer than %s",
		e.Place.Part, e.Place.Event, e.Place.Customer)
}

// padding is the step in which sealed values grow, so that the length of a name
// tells little.
const padding = 256

// bind returns the associated data of a place.
func (p Place) bind() ([]byte, error) {
	return json.Marshal([]string{"daysheet sealed 1", p.Firm, p.Customer, p.Job, p.Event, p.Part})
}

// Seal seals a value, as JSON, with the key of the customer, which is made where
// there is none yet. It refuses a customer who was erased ([*ErasedError]) and a value
// that is too large for an event.
func (k *Keys) Seal(p Place, value any) (events.Sealed, error) {
	plain, err := json.Marshal(value)
	if err != nil {
		return events.Sealed{}, fmt.Errorf("write %s of customer %s: %w", p.Part, p.Customer, err)
	}
	plain = append(plain, bytes.Repeat([]byte{' '}, padding-len(plain)%padding)...)
	if len(plain) > sealedMost {
		return events.Sealed{}, events.Refuse(p.Part, len(plain), "at most %d bytes are sealed at once", sealedMost)
	}
	key, err := k.obtain(p.Firm, p.Customer)
	if err != nil {
		return events.Sealed{}, err
	}
	aead, bound, err := cipherOf(key, p)
	if err != nil {
		return events.Sealed{}, err
	}
	box := base64.StdEncoding.EncodeToString(aead.Seal(nil, nil, plain, bound))
	return events.Sealed{Algorithm: events.SealedAES256GCM, Key: nameOf(key), Box: box}, nil
}

// sealedMost fits into an event with what else it holds.
const sealedMost = 32 << 10

// Open opens what was sealed for the place. Its error is an [*ErasedError], a
// [*LostError] or a [*MovedError] where the value cannot be opened.
func (k *Keys) Open(p Place, sealed events.Sealed, into any) error {
	key, err := k.read(p.Firm, p.Customer)
	if err != nil {
		return err
	}
	if nameOf(key) != sealed.Key {
		return &LostError{p.Customer, "is another than the one it was sealed with", true}
	}
	aead, bound, err := cipherOf(key, p)
	if err != nil {
		return err
	}
	box, err := base64.StdEncoding.DecodeString(sealed.Box)
	if err != nil || sealed.Algorithm != events.SealedAES256GCM {
		return &MovedError{p}
	}
	plain, err := aead.Open(nil, nil, box, bound)
	if err != nil {
		return &MovedError{p}
	}
	if err := json.Unmarshal(plain, into); err != nil {
		return fmt.Errorf("read %s of customer %s: %w", p.Part, p.Customer, err)
	}
	return nil
}

// cipherOf returns AES-256-GCM with random nonces of 12 bytes (NIST SP 800-38D,
// section 8.2.2), and what it binds. A key seals a few dozen values in its life, far
// from the 2^32 that a random nonce allows (section 8.3).
func cipherOf(key []byte, p Place) (cipher.AEAD, []byte, error) {
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, nil, fmt.Errorf("use key of customer %s: %w", p.Customer, err)
	}
	aead, err := cipher.NewGCMWithRandomNonce(block)
	if err != nil {
		return nil, nil, fmt.Errorf("use key of customer %s: %w", p.Customer, err)
	}
	bound, err := p.bind()
	return aead, bound, err
}

// Unreadable returns the sentence to show in the place of a value that does not open,
// and whether err says that. Any other error is a fault.
func Unreadable(err error) (sentence string, ok bool) {
	if erased := (*ErasedError)(nil); errors.As(err, &erased) {
		return "erased on " + string(erased.Day), true
	}
	if errors.As(err, new(*LostError)) || errors.As(err, new(*MovedError)) {
		return err.Error(), true
	}
	return "", false
}
