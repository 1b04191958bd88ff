package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"

	"daysheet/events"
)

// EraseCmd erases a customer.
type EraseCmd struct {
	Remote
	Customer string `help:"Key of the customer." required:""`
	Reason   string `help:"Why, without personal data; it stays readable." required:""`
}

// Help says what is destroyed, and what is not.
func (c *EraseCmd) Help() string {
	return `Destroys the key of the customer. Name, address, contacts, notes and signatures cannot be read any more, in
the log and in every copy of it; jobs and figures stay as they are. It cannot be undone: a restore does not bring
back a key whose customer is in erased.json of the folder of keys. Keep a copy of that file apart from the backups,
and delete backups of the folder of keys that are older than the erasure.`
}

// Run erases the customer and says when that was done.
func (c *EraseCmd) Run(ctx context.Context, g *Globals) (err error) {
	if !events.ValidToken(c.Customer) {
		return events.Refuse("customer", c.Customer, "%s", events.TokenRule)
	}
	if c.Server == "" {
		if err := g.needLedger(NATSFlags{}); err != nil {
			return err
		}
	}
	remote, err := c.connect(ctx, g)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, remote.close()) }()
	body, err := json.Marshal(map[string]string{"reason": c.Reason})
	if err != nil {
		return fmt.Errorf("write reason: %w", err)
	}
	path := "/v1/customers/" + url.PathEscape(c.Customer) + "/erase"
	answer, err := remote.request(ctx, http.MethodPost, path, "application/json", bytes.NewReader(body))
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	var erased struct{ Day string }
	if err := json.NewDecoder(answer.Body).Decode(&erased); err != nil {
		return fmt.Errorf("read answer: %w", err)
	}
	fmt.Printf("customer %s is erased, since %s\n", c.Customer, erased.Day)
	return nil
}
