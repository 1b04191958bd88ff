package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"daysheet/events"
	"daysheet/services/dataformat"
	"daysheet/services/httpd"
)

// TokenCmd manages the tokens that give access.
type TokenCmd struct {
	Add    TokenAddCmd    `cmd:"" help:"Make a token. It is shown once."`
	List   TokenListCmd   `cmd:"" help:"List tokens, without their secrets."`
	Revoke TokenRevokeCmd `cmd:"" help:"Make a token useless."`
}

// byCommand is by whose name a command records: whoever can open the data folder owns it.
const byCommand = "command line"

// TokenAddCmd makes a token.
type TokenAddCmd struct {
	Name  string        `arg:"" help:"What it is for, for example phone-anna."`
	Firm  string        `help:"Firm it belongs to; not needed where the data folder holds one." env:"DAYSHEET_FIRM"`
	Scope []httpd.Scope `help:"What it may do: read, record, admin." default:"read,record" enum:"read,record,admin"`
	Days  int           `help:"Days until it ends; 0 for never." default:"0"`
}

// TokenListCmd lists tokens.
type TokenListCmd struct{}

// TokenRevokeCmd revokes a token.
type TokenRevokeCmd struct {
	Name string `arg:"" help:"Name of the token."`
	Firm string `help:"Firm it belongs to; not needed where the data folder holds one." env:"DAYSHEET_FIRM"`
}

// withTokens opens the token file for one change. A running server reads the
// file again when it changes, and records the change.
func withTokens(g *Globals, use func(*httpd.Tokens) error) error {
	if _, err := dataformat.Read(g.Data); err != nil {
		return err
	}
	if err := os.MkdirAll(g.Data, 0o700); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	tokens, err := httpd.OpenTokens(g.tokensPath())
	if err != nil {
		return err
	}
	outbox, err := g.openOutbox()
	if err != nil {
		return err
	}
	tokens.Audit(outbox.Keep)
	return errors.Join(use(tokens), tokens.Close())
}

// firmsOf returns the firms that have a token, or had one.
func firmsOf(tokens *httpd.Tokens) (firms []string) {
	for _, t := range tokens.List() {
		if !slices.Contains(firms, t.Firm) {
			firms = append(firms, t.Firm)
		}
	}
	return firms
}

// onlyFirm returns the firm that is named, else the only firm that has a token.
func onlyFirm(tokens *httpd.Tokens, named string) (string, error) {
	if named != "" {
		if !events.ValidToken(named) {
			return "", events.Refuse("firm", named, events.TokenRule)
		}
		return named, nil
	}
	firms := firmsOf(tokens)
	switch len(firms) {
	case 1:
		return firms[0], nil
	case 0:
		return "", events.Refuse("firm", nil,
			"no firm is set up in the data folder: open the link that serve prints, or name a firm with --firm")
	}
	return "", events.Refuse("firm", strings.Join(firms, ", "),
		"the data folder has %d firms: say which with --firm", len(firms))
}

// Run makes the token and prints its secret alone on standard output.
func (c *TokenAddCmd) Run(ctx context.Context, g *Globals) error {
	token := httpd.Token{Name: c.Name, Scopes: c.Scope}
	if c.Days > 0 {
		token.Expires = time.Now().AddDate(0, 0, c.Days)
	}
	return withTokens(g, func(tokens *httpd.Tokens) (err error) {
		if token.Firm, err = onlyFirm(tokens, c.Firm); err != nil {
			return err
		}
		known := slices.Contains(firmsOf(tokens), token.Firm)
		secret, err := tokens.Add(ctx, byCommand, token)
		if err != nil {
			return err
		}
		if !known {
			warn("%s is a new firm in this data folder, without settings: record them as firm.settings-changed", token.Firm)
		}
		warn("The token is shown this once; keep it where nobody else reads it:")
		fmt.Println(secret)
		return nil
	})
}

// Run lists the tokens.
func (c *TokenListCmd) Run(g *Globals) error {
	return withTokens(g, func(tokens *httpd.Tokens) error {
		out := tabwriter.NewWriter(os.Stdout, 0, 4, 2, ' ', 0)
		fmt.Fprintln(out, "FIRM\tNAME\tSCOPES\tCREATED\tENDS\tLAST USED\tSTATE")
		for _, t := range tokens.List() {
			state := "holds"
			if !t.Revoked.IsZero() {
				state = "revoked " + dayOrDash(t.Revoked)
			}
			scopes := strings.Trim(strings.ReplaceAll(fmt.Sprint(t.Scopes), " ", ","), "[]")
			fmt.Fprintf(out, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", t.Firm, t.Name, scopes,
				dayOrDash(t.Created), dayOrDash(t.Expires), dayOrDash(t.LastUsed), state)
		}
		return out.Flush()
	})
}

func dayOrDash(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Local().Format(time.DateOnly)
}

// Run revokes the token.
func (c *TokenRevokeCmd) Run(ctx context.Context, g *Globals) error {
	return withTokens(g, func(tokens *httpd.Tokens) error {
		firm, err := onlyFirm(tokens, c.Firm)
		if err != nil {
			return err
		}
		return tokens.Revoke(ctx, byCommand, firm, c.Name)
	})
}
