package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"daysheet/events"
	"daysheet/services/intake/history"
	"daysheet/services/tables"
	"daysheet/services/typed"
)

// table sends a table to the ledger, which reads it as the office's page does, and prints
// what it came to.
func (c *ImportCmd) table(ctx context.Context, remote *client, in io.Reader) error {
	if c.NoListing {
		return events.Refuse("no-listing", true, "it is for a sheet of past jobs: leave it out with --table")
	}
	query := url.Values{}
	for name, set := range map[string]bool{"dry_run": c.DryRun, "skip_bad": c.SkipBad, "month_first": c.MonthFirst,
		"keep_repeats": c.KeepRepeats} {
		if set {
			query.Set(name, "true")
		}
	}
	switch c.Decimal {
	case typed.DecimalPoint:
		query.Set("decimal", "point")
	case typed.DecimalComma:
		query.Set("decimal", "comma")
	case "":
	default:
		return events.Refuse("decimal", string(c.Decimal), "use . or , or leave it out")
	}
	answer, err := remote.request(ctx, http.MethodPost, tables.At+url.PathEscape(c.Table)+"?"+query.Encode(),
		"text/csv", in)
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	var got struct {
		tables.Body
		TakeOff json.RawMessage `json:"take_off"`
	}
	if err := json.NewDecoder(answer.Body).Decode(&got); err != nil {
		return fmt.Errorf("read what the table came to: %w", err)
	}
	if got.TakeOff != nil {
		_, err := fmt.Printf("%s\n", got.TakeOff) // for POST /v1/quotes; nothing is recorded
		return err
	}
	for _, n := range got.Notices {
		warn("line %d: %s", n.Line, n.Text)
	}
	for _, e := range got.Errors {
		warn("%s", e.Message)
	}
	tellSummary(got.Summary)
	if got.DryRun {
		fmt.Println("dry run: nothing was recorded")
	} else {
		fmt.Printf("%d events recorded, %d were there before\n", got.Recorded, got.Before)
	}
	return nil
}

// tellSummary prints what a file comes to.
func tellSummary(s history.Summary) {
	fmt.Printf("%d rows: %d jobs, %d events; %d rows with errors, %d repeated, %d blank\n",
		s.Rows, s.Jobs, s.Events, s.Bad, s.Repeats, s.Blank)
	for _, line := range []struct {
		what  string
		names []string
	}{
		{"columns passed over", s.UnknownColumns}, {"job types new to the firm", s.NewJobTypes},
		{"products new to the firm", s.NewProducts}, {"people not in the settings", s.NewPeople},
	} {
		if len(line.names) > 0 {
			fmt.Printf("%s: %s\n", line.what, strings.Join(line.names, ", "))
		}
	}
}
