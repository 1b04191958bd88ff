package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"daysheet/services/httpd"
)

// TokenCmd manages the tokens that give access.
type TokenCmd struct {
	Add    TokenAddCmd    `cmd:"" help:"Make a token. It is shown once."`
	List   TokenListCmd   `cmd:"" help:"List tokens, without their secrets."`
	Revoke TokenRevokeCmd `cmd:"" help:"Make a token useless."`
}

// TokenAddCmd makes a token.
type TokenAddCmd struct {
	Name  string        `arg:"" help:"What it is for, for example phone-anna."`
	Firm  string        `required:"" help:"Firm it belongs to."`
	Scope []httpd.Scope `help:"What it may do: read, record, admin." default:"read,record" enum:"read,record,admin"`
	Days  int           `help:"Days until it ends; 0 for never." default:"0"`
}

// TokenListCmd lists tokens.
type TokenListCmd struct{}

// TokenRevokeCmd revokes a token.
type TokenRevokeCmd struct {
	Name string `arg:"" help:"Name of the token."`
	Firm string `required:"" help:"Firm it belongs to."`
}

// withTokens opens the token file for one change. A running server reads the
// file again when it changes.
func withTokens(g *Globals, use func(*httpd.Tokens) error) error {
	if err := os.MkdirAll(g.Data, 0o700); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	tokens, err := httpd.OpenTokens(filepath.Join(g.Data, tokensFile))
	if err != nil {
		return err
	}
	return errors.Join(use(tokens), tokens.Close())
}

// Run makes the token and prints its secret alone on standard output.
func (c *TokenAddCmd) Run(g *Globals) error {
	token := httpd.Token{Firm: c.Firm, Name: c.Name, Scopes: c.Scope}
	if c.Days > 0 {
		token.Expires = time.Now().AddDate(0, 0, c.Days)
	}
	return withTokens(g, func(tokens *httpd.Tokens) error {
		secret, err := tokens.Add(token)
		if err != nil {
			return err
		}
		fmt.Fprintln(os.Stderr, "The token is shown this once; keep it where nobody else reads it:")
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
			fmt.Fprintf(out, "%s\t%s\t%v\t%s\t%s\t%s\t%s\n", t.Firm, t.Name, t.Scopes,
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
func (c *TokenRevokeCmd) Run(g *Globals) error {
	return withTokens(g, func(tokens *httpd.Tokens) error { return tokens.Revoke(c.Firm, c.Name) })
}
