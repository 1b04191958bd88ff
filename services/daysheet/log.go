package main

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/lmittmann/tint"
	"golang.org/x/term"

	"daysheet/events"
	"daysheet/services/dataformat"
	"daysheet/services/eventlog"
)

// NATSFlags choose where the log is kept.
type NATSFlags struct {
	NATS            string `name:"nats" help:"Address of an external NATS server or cluster. Without it the log is kept in the data folder." placeholder:"URL" env:"DAYSHEET_NATS"`
	NATSReplicas    int    `name:"nats-replicas" help:"Copies that an external cluster keeps of the log." default:"1" env:"DAYSHEET_NATS_REPLICAS"`
	NATSCA          string `name:"nats-ca" help:"Certificate (PEM) that the external server's certificate is signed by." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_NATS_CA"`
	NATSCert        string `name:"nats-cert" help:"Certificate (PEM) of this client." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_NATS_CERT"`
	NATSKey         string `name:"nats-key" help:"Key (PEM) of this client." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_NATS_KEY"`
	NATSNKey        string `name:"nats-nkey" help:"File with the nkey seed of this client's user." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_NATS_NKEY"`
	NATSInbox       string `name:"nats-inbox" help:"Prefix of the subjects that answers to this client come back on, where the server lets its user hear no other." default:"_INBOX" placeholder:"PREFIX" env:"DAYSHEET_NATS_INBOX"`
	LogMaxMegabytes int64  `help:"Most disk, in megabytes, that each of the log's sixteen partitions may take. A firm is in one of them. When it is full the ledger refuses to record." default:"20480" env:"DAYSHEET_LOG_MAX_MEGABYTES"`
}

// openLog opens the log in the data folder, or the external one.
func openLog(ctx context.Context, g *Globals, f NATSFlags, logger *slog.Logger) (*eventlog.Log, error) {
	return eventlog.Open(ctx, logConfig(g, f, logger))
}

// logConfig turns the flags into the log's configuration.
func logConfig(g *Globals, f NATSFlags, logger *slog.Logger) eventlog.Config {
	cfg := eventlog.Config{
		URL: f.NATS, CAFile: f.NATSCA, CertFile: f.NATSCert, KeyFile: f.NATSKey, NKeyFile: f.NATSNKey,
		Replicas: max(f.NATSReplicas, 1), MaxBytes: f.LogMaxMegabytes << 20, Logger: logger,
	}
	if f.NATS == "" {
		cfg.Dir = filepath.Join(g.Data, logFolder)
	} else {
		cfg.InboxPrefix = f.NATSInbox
	}
	return cfg
}

// needLedger refuses a data folder that holds no log: a mistyped name would
// otherwise be an empty ledger in which nothing is wrong.
func (g *Globals) needLedger(f NATSFlags) error {
	if _, err := dataformat.Read(g.Data); err != nil {
		return err
	}
	if f.NATS != "" {
		return nil
	}
	there, err := eventlog.Exists(filepath.Join(g.Data, logFolder))
	if err == nil && !there {
		return events.Refuse("data", g.Data, "there is no ledger in this folder; name the one that was served")
	}
	return err
}

// logger returns the program's own log on standard error: coloured for a person
// at a terminal, JSON if asked for, plain text otherwise.
func (g *Globals) logger() *slog.Logger {
	level := slog.LevelInfo
	switch {
	case g.Debug:
		level = slog.LevelDebug
	case g.quiet:
		level = slog.LevelWarn
	}
	switch {
	case g.LogJSON:
		return slog.New(slog.NewJSONHandler(os.Stderr, &slog.HandlerOptions{Level: level}))
	case term.IsTerminal(int(os.Stderr.Fd())) && os.Getenv("NO_COLOR") == "":
		return slog.New(tint.NewTextHandler(os.Stderr, &tint.Options{Level: level, TimeFormat: time.TimeOnly}))
	}
	return slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: level}))
}
