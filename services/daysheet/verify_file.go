package main

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/handover"
)

// verifyFiles proves archives, or one other file.
func (c *VerifyCmd) verifyFiles(ctx context.Context, g *Globals) error {
	archive, err := isArchive(c.Files[0])
	switch {
	case err != nil:
		return err
	case archive:
		return c.verifyArchives()
	case len(c.Files) > 1:
		return events.Refuse("file", c.Files[1], "one paper or evidence file is proved at a time")
	}
	return c.verifyFile(ctx, g)
}

// verifyFile proves a sealed PDF or an evidence file, and compares it with the ledger
// in the data folder where there is one.
func (c *VerifyCmd) verifyFile(ctx context.Context, g *Globals) (err error) {
	file, err := os.Open(c.Files[0])
	if err != nil {
		return fmt.Errorf("open the file: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	stat, err := file.Stat()
	if err != nil {
		return fmt.Errorf("open the file: %w", err)
	}
	checked, err := handover.Check(file, stat.Size(), c.keyOf(g))
	var tampered *handover.ChangedError
	if errors.As(err, &tampered) {
		fmt.Println("found:", tampered.What)
		fmt.Println("the file is not as it was signed")
		return errFound
	}
	if err != nil {
		return err
	}
	fmt.Printf("%s of job %s of firm %s at position %d\n",
		kindOfFile(checked), checked.Job, checked.Firm, checked.Position)
	fmt.Println("hash of the last record:", checked.Head)
	fmt.Println("hash of the firm's key: ", checked.Key)
	fmt.Println("every byte is as the holder of this key signed it")
	return c.compareWithLedger(ctx, g, checked)
}

func kindOfFile(c handover.Checked) string {
	if !c.Evidence {
		return "paper (" + string(c.Kind) + ")"
	}
	text := fmt.Sprintf("evidence, %d commits and %d photos,", c.Commits, c.Photos)
	if c.Missing > 0 {
		text += fmt.Sprintf(" %d photos that were not there,", c.Missing)
	}
	return text
}

// keyOf finds the key of a firm: in the file that was named, else among those that
// the ledger in the data folder signs with.
func (c *VerifyCmd) keyOf(g *Globals) func(firm string) (ed25519.PublicKey, error) {
	return func(firm string) (ed25519.PublicKey, error) {
		if c.Key != "" {
			raw, err := os.ReadFile(c.Key)
			if err != nil {
				return nil, fmt.Errorf("read key: %w", err)
			}
			return handover.ParsePublicPEM(raw)
		}
		key, err := handover.NewKeys(filepath.Join(g.Data, signingFolder)).Public(firm)
		if events.CodeOf(err) == events.NotFound {
			return nil, events.Refuse("key", "", "the public key of firm %s is needed: give --key, the file that the "+
				"firm's ledger serves at /keys/%s", firm, firm)
		}
		return key, err
	}
}

// compareWithLedger says whether the ledger in the data folder still holds the
// records. It is left out where there is none, or where it is being served.
func (c *VerifyCmd) compareWithLedger(ctx context.Context, g *Globals, checked handover.Checked) (err error) {
	if g.needLedger(c.NATSFlags) != nil {
		fmt.Println("it was not compared with a ledger: there is none in the data folder")
		return nil
	}
	g.quiet = true
	log, err := openLog(ctx, g, c.NATSFlags, g.logger())
	if err != nil {
		fmt.Println("it was not compared with the ledger:", err)
		return nil
	}
	defer func() { err = errors.Join(err, log.Close()) }()
	commits, err := log.Commits(ctx, checked.Firm, checked.Job, checked.Position)
	if err != nil {
		return err
	}
	if len(commits) == 0 || events.Hash(commits[len(commits)-1].Raw) != checked.Head {
		fmt.Println("found: the ledger's records at this position have another hash")
		return errFound
	}
	fmt.Println("the ledger holds the same records at this position")
	return nil
}
