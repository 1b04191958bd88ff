package backup

import (
	"fmt"
	"os"
	"strings"

	"filippo.io/age"

	"daysheet/events"
)

// ParseRecipients reads for whom archives are encrypted: public keys of age (age1…), and
// a file of them, one on a line. Without either it returns nobody.
func ParseRecipients(keys []string, file string) ([]age.Recipient, error) {
	var all []age.Recipient
	for _, key := range keys {
		list, err := age.ParseRecipients(strings.NewReader(key))
		if err != nil || len(list) != 1 {
			return nil, events.Refuse("recipient", key, "a public key of age, which begins with age1")
		}
		all = append(all, list...)
	}
	if file == "" {
		return all, nil
	}
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("read recipients: %w", err)
	}
	defer f.Close()
	list, err := age.ParseRecipients(f)
	if err != nil {
		return nil, events.Refuse("recipients-file", file, "a public key of age on each line (%v)", err)
	}
	return append(all, list...), nil
}

// ReadIdentities reads the keys that open archives from a file as age-keygen writes it.
func ReadIdentities(files []string) ([]age.Identity, error) {
	var all []age.Identity
	for _, file := range files {
		f, err := os.Open(file)
		if err != nil {
			return nil, fmt.Errorf("read identity: %w", err)
		}
		list, err := age.ParseIdentities(f)
		f.Close()
		if err != nil {
			// What stands in the file is secret, and so is not repeated.
			return nil, events.Refuse("identity", file, "a file with an age identity, a line that begins with "+
				"AGE-SECRET-KEY-1; "+
				"one that a passphrase protects is opened with age first")
		}
		all = append(all, list...)
	}
	return all, nil
}
