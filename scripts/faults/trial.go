package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"time"

	"daysheet/scripts/writers"
)

// harness is what all trials share.
type harness struct {
	program string
	kills   int
	times   int
	writers int
	seed    uint64
	out     io.Writer
}

// trial is one fault, brought about on a ledger of its own.
type trial struct {
	*harness
	folder, token string
	disk          *disk         // nil where the folder is on that of the machine
	clock         *shiftedClock // of the server that was started last; nil where clocks stay
	ahead         time.Duration // of the machine's clock
	shifts        bool          // start servers whose clocks can be set
	random        *rand.Rand
	load          *writers.Load

	times   int    // how often the fault was brought about
	found   string // what verify said of it, where it is one that verify has to find
	message string // what the operator read
}

// trialMax bounds one trial: what takes longer hangs.
const trialMax = 5 * time.Minute

// one tries a fault, counts, and prints its row.
func (h *harness) one(ctx context.Context, n int) (err error) {
	ctx, cancel := context.WithTimeout(ctx, trialMax)
	defer cancel()
	f := faults()[n]
	t := &trial{harness: h, random: rand.New(rand.NewPCG(h.seed, uint64(n))), load: writers.New(h.writers)}
	folder, err := os.MkdirTemp("", "faults-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	t.folder = folder
	if f.disk {
		if t.disk, err = newDisk(ctx, t.folder); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, t.disk.remove()) }()
	}
	if err := t.prepare(ctx); err != nil {
		return err
	}
	if err := f.try(ctx, t); err != nil {
		return err
	}
	lost, doubled, err := t.count(ctx) // which fails where verify finds something
	if err != nil {
		return err
	}
	said := "nothing found"
	if t.found != "" {
		said = t.found + "; nothing found once mended"
	}
	fmt.Fprintf(h.out, "| %s | %d | %d | %d | %d | %s | %t | %s |\n", f.name, t.times, t.load.Acknowledged(), lost,
		doubled, cell(said), lost+doubled == 0, cell(t.message))
	if lost+doubled > 0 {
		return errors.New("the ledger does not hold what it acknowledged")
	}
	return nil
}

// prepare makes a token on an empty data folder.
func (t *trial) prepare(ctx context.Context) error {
	text, err := t.output(ctx, "token", "add", "load", "--firm", firm, "--scope", "read,record")
	t.token = strings.TrimSpace(text)
	return err
}

// output runs one of the program's commands on the folder and returns its standard output.
func (t *trial) output(ctx context.Context, args ...string) (string, error) {
	out, err := exec.CommandContext(ctx, t.program, append(args, "--data", t.folder)...).Output()
	if err != nil {
		return "", fmt.Errorf("%s: %w", strings.Join(args[:2], " "), err)
	}
	return string(out), nil
}

// count serves once more, lets every writer finish what it had in flight, compares
// the ledger with what was acknowledged, and lets the program check itself.
func (t *trial) count(ctx context.Context) (lost, doubled int, err error) {
	s, err := t.serve(ctx)
	if err != nil {
		return 0, 0, err
	}
	if err := t.load.Finish(ctx, s.at(t)); err != nil {
		return 0, 0, errors.Join(err, s.kill())
	}
	recorded, err := s.events(ctx, t.token)
	if err := errors.Join(err, s.kill()); err != nil {
		return 0, 0, err
	}
	lost, doubled = t.load.Compare(recorded)
	return lost, doubled, t.sound(ctx)
}

// sound requires that verify finds nothing.
func (t *trial) sound(ctx context.Context) error {
	if text, err := t.command(ctx, "verify"); err != nil {
		return fmt.Errorf("verify: %w\n%s", err, text)
	}
	return nil
}

// damaged requires that verify says that something is wrong, and keeps what it says.
func (t *trial) damaged(ctx context.Context) error {
	text, err := t.command(ctx, "verify")
	if err == nil {
		return fmt.Errorf("verify does not see the damage:\n%s", text)
	}
	t.found = telling(text)
	return nil
}

// command runs one of the program's commands on the folder and returns what it
// printed.
func (t *trial) command(ctx context.Context, args ...string) (string, error) {
	out, err := exec.CommandContext(ctx, t.program, append(args, "--data", t.folder)...).CombinedOutput()
	return string(out), err
}

// refused requires that a command fails, with a message that says each of the words.
func (t *trial) refused(ctx context.Context, says []string, args ...string) error {
	ctx, cancel := context.WithTimeout(ctx, startMax)
	defer cancel()
	text, err := t.command(ctx, args...)
	if ctx.Err() != nil {
		return fmt.Errorf("%s was not refused:\n%s", args[0], text)
	}
	if err == nil {
		return fmt.Errorf("%s succeeded:\n%s", args[0], text)
	}
	t.message = telling(text)
	for _, word := range says {
		if !strings.Contains(text, word) {
			return fmt.Errorf("%s was refused without the word %q:\n%s", args[0], word, text)
		}
	}
	return nil
}

// under runs what is done to a server while the writers send to it, and ends the
// sending.
func (t *trial) under(ctx context.Context, to writers.Server, do func(context.Context) error) error {
	sending, stop := context.WithCancel(ctx)
	done := t.load.Persist(sending, []writers.Server{to})
	err := do(ctx)
	stop()
	return errors.Join(err, <-done)
}

// telling returns what tells most: the program's error with the advice behind it, or the
// detail of a problem; else what was found first, else the last line.
func telling(text string) string {
	var problem struct{ Detail string }
	if json.Unmarshal([]byte(text), &problem) == nil && problem.Detail != "" {
		return problem.Detail
	}
	lines := strings.Split(strings.TrimSpace(text), "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, "daysheet: ") {
			return strings.Join(lines[i:], "; ")
		}
	}
	for _, line := range lines {
		if strings.HasPrefix(line, "found: ") {
			return line
		}
	}
	return lines[len(lines)-1]
}

// cell makes a text fit for a cell of the table.
func cell(text string) string {
	text = strings.ReplaceAll(strings.Join(strings.Fields(text), " "), "|", "/")
	if letters := []rune(text); len(letters) > 300 {
		return string(letters[:300]) + "…"
	}
	return text
}
