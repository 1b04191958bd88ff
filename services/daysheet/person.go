package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"text/tabwriter"
	"time"

	"daysheet/services/access"
	"daysheet/services/httpd"
)

// PersonCmd manages who signs in by name and password.
type PersonCmd struct {
	Add      PersonAddCmd      `cmd:"" help:"Add somebody; a first password is shown once."`
	List     PersonListCmd     `cmd:"" help:"List everybody, with roles."`
	Password PersonPasswordCmd `cmd:"" help:"Give somebody a new password, shown once. It ends every session, and whoever was held up can try again."`
	Role     PersonRoleCmd     `cmd:"" help:"Give somebody another role."`
	Disable  PersonDisableCmd  `cmd:"" help:"Take the access of somebody away, at once."`
	Enable   PersonEnableCmd   `cmd:"" help:"Give somebody the access back."`
}

// named is somebody of a firm.
type named struct {
	Name string `arg:"" help:"Name to sign in by, for example anna."`
	Firm string `help:"Firm; not needed where the data folder holds one." env:"DAYSHEET_FIRM"`
}

// PersonAddCmd adds somebody.
type PersonAddCmd struct {
	named
	Role httpd.Role `help:"owner does everything, office sees and records, crew records, reader sees." required:"" enum:"owner,office,crew,reader"`
}

// PersonListCmd lists everybody.
type PersonListCmd struct{}

// PersonPasswordCmd sets a password.
type PersonPasswordCmd struct{ named }

// PersonRoleCmd sets a role.
type PersonRoleCmd struct {
	named
	Role httpd.Role `arg:"" help:"owner, office, crew or reader." enum:"owner,office,crew,reader"`
}

// PersonDisableCmd takes an access away.
type PersonDisableCmd struct{ named }

// PersonEnableCmd gives it back.
type PersonEnableCmd struct{ named }

// openPeople opens who signs in by name. The files stand beside the tokens; a running
// server reads them again when they change.
func (g *Globals) openPeople() (*httpd.People, error) {
	beside := filepath.Dir(g.tokensPath())
	return httpd.OpenPeople(filepath.Join(beside, peopleFile), filepath.Join(beside, sessionsFile))
}

// openOutbox opens where commands leave what the server that has the log is to record of
// changes of access; beside the tokens.
func (g *Globals) openOutbox() (*access.Outbox, error) {
	return access.OpenOutbox(filepath.Join(filepath.Dir(g.tokensPath()), accessFile), time.Now)
}

// withPeople opens them for one change to somebody of the firm that is named.
func withPeople(g *Globals, firm string, use func(people *httpd.People, tokens *httpd.Tokens,
	firm string) error) error {
	return withTokens(g, func(tokens *httpd.Tokens) error {
		people, err := g.openPeople()
		if err != nil {
			return err
		}
		outbox, err := g.openOutbox()
		if err != nil {
			return err
		}
		people.Audit(outbox.Keep)
		if firm == "" && len(firmsOf(tokens)) == 0 {
			if list, err := people.List(); err == nil && len(list) > 0 {
				firm = list[0].Firm
			}
		}
		if firm, err = onlyFirm(tokens, firm); err != nil {
			return err
		}
		return use(people, tokens, firm)
	})
}

// tell prints a password alone on standard output.
func tell(name, password string) {
	warn("The password of %s is shown this once. It can be changed at /password after signing in:", name)
	fmt.Println(password)
}

// Run adds somebody and shows the first password.
func (c *PersonAddCmd) Run(ctx context.Context, g *Globals) error {
	return withPeople(g, c.Firm, func(people *httpd.People, tokens *httpd.Tokens, firm string) error {
		password := httpd.NewPassword()
		err := people.Add(ctx, byCommand, httpd.Person{Firm: firm, Name: c.Name, Role: c.Role}, password, tokens.List())
		if err == nil {
			tell(c.Name, password)
		}
		return err
	})
}

// Run shows a new password.
func (c *PersonPasswordCmd) Run(ctx context.Context, g *Globals) error {
	return withPeople(g, c.Firm, func(people *httpd.People, _ *httpd.Tokens, firm string) error {
		password := httpd.NewPassword()
		err := people.SetPassword(ctx, byCommand, firm, c.Name, password)
		if err == nil {
			tell(c.Name, password)
		}
		return err
	})
}

// Run sets the role.
func (c *PersonRoleCmd) Run(ctx context.Context, g *Globals) error {
	return withPeople(g, c.Firm, func(people *httpd.People, _ *httpd.Tokens, firm string) error {
		return people.SetRole(ctx, byCommand, firm, c.Name, c.Role)
	})
}

// Run takes the access away.
func (c *PersonDisableCmd) Run(ctx context.Context, g *Globals) error {
	return withPeople(g, c.Firm, func(people *httpd.People, _ *httpd.Tokens, firm string) error {
		return people.Disable(ctx, byCommand, firm, c.Name, true)
	})
}

// Run gives the access back.
func (c *PersonEnableCmd) Run(ctx context.Context, g *Globals) error {
	return withPeople(g, c.Firm, func(people *httpd.People, _ *httpd.Tokens, firm string) error {
		return people.Disable(ctx, byCommand, firm, c.Name, false)
	})
}

// Run lists everybody.
func (c *PersonListCmd) Run(g *Globals) error {
	people, err := g.openPeople()
	if err != nil {
		return err
	}
	list, err := people.List()
	out := tabwriter.NewWriter(os.Stdout, 0, 4, 2, ' ', 0)
	fmt.Fprintln(out, "FIRM\tNAME\tROLE\tADDED\tSTATE")
	for _, p := range list {
		state := "may sign in"
		if !p.Disabled.IsZero() {
			state = "disabled " + dayOrDash(p.Disabled)
		}
		fmt.Fprintf(out, "%s\t%s\t%s\t%s\t%s\n", p.Firm, p.Name, p.Role, dayOrDash(p.Created), state)
	}
	return errors.Join(err, out.Flush())
}
