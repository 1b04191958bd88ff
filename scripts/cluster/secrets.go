package main

import (
	"crypto/rand"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// secrets makes what the house of deploy/ is closed with: certificates for the
// nodes of the log and their clients, a key for each user, and a password for
// ClickHouse. It never writes over what is there.
func secrets(args []string) error {
	flags := flag.NewFlagSet("secrets", flag.ContinueOnError)
	folder := flags.String("folder", "deploy/secrets", "folder to make, with everything in it")
	hosts := flags.String("hosts", "nats-1,nats-2,nats-3", "names that the nodes are reached under, with commas between")
	days := flags.Int("days", 730, "days that the certificates are good for")
	if err := flags.Parse(args); err != nil {
		return err
	}
	switch _, err := os.Stat(*folder); {
	case err == nil:
		return fmt.Errorf("%s is there already: move it away first, or name another folder", *folder)
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	if err := os.MkdirAll(*folder, 0o700); err != nil {
		return err
	}
	who, err := newIdentity(*folder, strings.Split(*hosts, ","), time.Now().AddDate(0, 0, *days))
	if err != nil {
		return err
	}
	var keys []string
	for user, variable := range users() {
		keys = append(keys, variable+"="+who.users[user])
	}
	slices.Sort(keys)
	password := rand.Text()
	for name, text := range map[string]string{
		"nats.env":       strings.Join(keys, "\n"),
		"clickhouse.env": "CLICKHOUSE_PASSWORD=" + password, "clickhouse.password": password,
	} {
		if err := os.WriteFile(filepath.Join(*folder, name), []byte(text+"\n"), 0o600); err != nil {
			return err
		}
	}
	fmt.Printf("certificates, keys and password are in %s, good until %s\n", *folder, who.until.Format(time.DateOnly))
	return nil
}
