// Command daysheet is the job ledger of a painting and decorating firm: it takes
// site actions, keeps them in a log that is only ever added to, and reports what
// jobs were estimated at and what they took.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // firms name their time zone, and a small image may know none

	"github.com/alecthomas/kong"
)

// CLI is the command line. Each command says in its help what it is for.
type CLI struct {
	Globals

	Serve    ServeCmd    `cmd:"" help:"Serve the ledger: the API and the pages."`
	Demo     DemoCmd     `cmd:"" help:"Serve an invented firm with three years of jobs, to look around."`
	Record   RecordCmd   `cmd:"" help:"Record events from a file or from the command line."`
	Import   ImportCmd   `cmd:"" help:"Import past jobs or lists from a spreadsheet (CSV), or events (JSON lines)."`
	Export   ExportCmd   `cmd:"" help:"Write every event of the firm as JSON lines, or a list as CSV."`
	Rebuild  RebuildCmd  `cmd:"" help:"Drop the store of facts and make it again from the log."`
	Verify   VerifyCmd   `cmd:"" help:"Check the log's chains and gaps, and that the facts are what a replay makes."`
	Audit    AuditCmd    `cmd:"" help:"Count the facts against the log, and with --mend put right what differs."`
	Backup   BackupCmd   `cmd:"" help:"Write the ledger into an archive, also while it is served."`
	Restore  RestoreCmd  `cmd:"" help:"Make a ledger of archives, in an empty data folder."`
	Repair   RepairCmd   `cmd:"" help:"Make a damaged log whole again from the copy in the store."`
	Backtest BacktestCmd `cmd:"" help:"Test on the firm's own past whether rates tuned from history would have quoted better."`
	Erase    EraseCmd    `cmd:"" help:"Erase a customer: destroy the key of what is sealed."`
	Person   PersonCmd   `cmd:"" help:"Add, list and change who signs in by name and password."`
	Token    TokenCmd    `cmd:"" help:"Add, list and revoke the tokens that give access."`
	Prepare  PrepareCmd  `cmd:"" help:"Make the log's streams on an external NATS server, with the operator's key."`
	Migrate  MigrateCmd  `cmd:"" help:"Move the log from the data folder to an external NATS server or cluster."`
	Version  VersionCmd  `cmd:"" help:"Print the version."`
}

// Globals are the flags that every command knows.
type Globals struct {
	Config  string `help:"Configuration file (JSON, one member for each flag name). Flags go before environment, environment before file." type:"path" placeholder:"FILE" env:"DAYSHEET_CONFIG"`
	Data    string `help:"Data folder of the ledger." type:"path" default:"${data}" env:"DAYSHEET_DATA"`
	Tokens  string `help:"File that says who has access; tokens.json in the data folder, if not given. Processes of one ledger share it." type:"path" placeholder:"FILE" env:"DAYSHEET_TOKENS"`
	Keys    string `help:"Folder of the keys of customers; keys in the data folder, if not given. Processes of one ledger that serve customers share it." type:"path" placeholder:"FOLDER" env:"DAYSHEET_KEYS"`
	LogJSON bool   `help:"Write the program's own log as JSON." name:"log-json" env:"DAYSHEET_LOG_JSON"`
	Debug   bool   `help:"Log also what only helps to find a fault." env:"DAYSHEET_DEBUG"`

	quiet bool // log only what is wrong: for commands whose requests are not of interest
}

// dataFolder is used where no data folder is given.
const dataFolder = "daysheet-data"

// inWorkingFolder returns the whole path of a name in the working folder, as the
// command line makes of it.
func inWorkingFolder(name string) string { return kong.ExpandPath(name) }

func defaultData() string { return inWorkingFolder(dataFolder) }

// The exit codes beside 0: a command that failed, and a verify or an audit that
// found something wrong.
const (
	exitFailed = 1
	exitFound  = 2
)

// errFound ends verify and audit with [exitFound]; what was found has been printed.
var errFound = errors.New("findings")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:]))
}

// run parses the arguments, runs the command and returns the exit code.
func run(ctx context.Context, args []string) int {
	var cli CLI
	parser, err := newParser(&cli, args)
	if err != nil {
		fmt.Fprintln(os.Stderr, "daysheet:", err)
		return exitFailed
	}
	parsed, err := parser.Parse(args)
	parser.FatalIfErrorf(err)
	parsed.BindTo(ctx, (*context.Context)(nil))
	switch err := parsed.Run(&cli.Globals); {
	case errors.Is(err, errFound):
		return exitFound
	case err != nil:
		fmt.Fprintln(os.Stderr, "daysheet:", advise(err))
		return exitFailed
	}
	return 0
}

func newParser(cli *CLI, args []string) (*kong.Kong, error) {
	options := []kong.Option{
		kong.Name("daysheet"),
		kong.Vars{"data": dataFolder},
		kong.Description("The job ledger of a painting and decorating firm.\n\n" +
			"Start with \"daysheet demo\" to look around, or \"daysheet serve\" to begin your own ledger: " +
			"it prints a link that sets up the firm."),
		kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
	}
	if file := configFile(args); file != "" {
		resolver, err := readConfig(file)
		if err != nil {
			return nil, err
		}
		options = append(options, kong.Resolvers(resolver))
	}
	return kong.New(cli, options...)
}
