package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"time"

	"daysheet/scripts/writers"
)

// Sizes of a soak. What comes in first, as fast as it is taken, fills the caches that have
// room for so many jobs: 1000 in the log, 512 in the projector.
const (
	soakFill     = 1100            // jobs
	soakJob      = 15              // events of a job
	soakBackup   = 3 * time.Minute // between two archives
	soakRows     = 6               // of the table
	soakJudged   = 10 * time.Minute
	soakPerson   = "office"
	soakVisitors = 8 // that follow changes at one time
)

// soak serves under steady load for a long time and judges whether what the program takes
// of the machine stays level, and whether what it acknowledged is there once.
func (h *harness) soak(ctx context.Context, lasts time.Duration, perSecond int) (err error) {
	t := &trial{harness: h, random: rand.New(rand.NewPCG(h.seed, 0)), load: writers.New(h.writers)}
	t.load.JobsOf(soakJob)
	archives, err := os.MkdirTemp("", "soak-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(archives)) }()
	if t.folder, err = os.MkdirTemp("", "soak-"); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(t.folder)) }()
	if err := t.prepare(ctx); err != nil {
		return err
	}
	password, err := t.person(ctx)
	if err != nil {
		return err
	}
	s, err := t.serve(ctx, "--backup-to", archives, "--backup-every", soakBackup.String(), "--backup-keep", "2")
	if err != nil {
		return err
	}
	v := &visitors{server: s, token: t.token, password: password, made: map[string]int{}, failed: map[string]int{}}
	fill := 0
	if lasts >= soakJudged {
		fill = soakFill * soakJob
	}
	err = t.under(ctx, s.at(t), func(ctx context.Context) error { return t.load.More(ctx, fill) })
	if err != nil {
		return errors.Join(err, s.kill())
	}
	t.load.Pace(perSecond)
	samples, err := t.endure(ctx, s, v, lasts)
	if err := errors.Join(err, s.end()); err != nil {
		return err
	}
	backups, err := os.ReadDir(archives)
	if err != nil {
		return err
	}
	lost, doubled, err := t.count(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(h.out, "\n%v at %d events a second (--seed %d): %d acknowledged, %d lost, %d doubled, %d files of "+
		"backups; verify found nothing.\nRequests: %s.\n\n", lasts, perSecond, h.seed, t.load.Acknowledged(), lost, doubled,
		len(backups), v)
	if lost+doubled > 0 {
		return errors.New("the ledger does not hold what it acknowledged")
	}
	return errors.Join(v.refused(), h.tell(samples, lasts))
}

// person adds somebody who signs in by name, and returns the password.
func (t *trial) person(ctx context.Context) (string, error) {
	text, err := t.output(ctx, "person", "add", soakPerson, "--role", "office", "--firm", firm)
	return strings.TrimSpace(text), err
}

// endure lets writers and visitors go on for so long, and looks at the program meanwhile.
func (t *trial) endure(ctx context.Context, s *running, v *visitors, lasts time.Duration) (all []sample, err error) {
	err = t.under(ctx, s.at(t), func(ctx context.Context) error {
		visiting, stop := context.WithCancel(ctx)
		gone := v.come(visiting, t)
		all, err = s.watch(ctx, t, lasts)
		stop()
		return errors.Join(err, <-gone)
	})
	return all, err
}

// tell prints what was seen, and judges it.
func (h *harness) tell(all []sample, lasts time.Duration) error {
	fmt.Fprint(h.out, "| minute |")
	for _, m := range measures() {
		fmt.Fprintf(h.out, " %s |", m.name)
	}
	fmt.Fprint(h.out, "\n|--:|"+strings.Repeat("--:|", len(measures()))+"\n")
	for row := range soakRows {
		until := lasts * time.Duration(row+1) / soakRows
		fmt.Fprintf(h.out, "| %.1f |", until.Minutes())
		for _, m := range measures() {
			fmt.Fprintf(h.out, " %.1f |", median(m.within(all, until-lasts/soakRows, until)))
		}
		fmt.Fprintln(h.out)
	}
	if lasts < soakJudged {
		fmt.Fprintf(h.out, "\nNot judged: that takes %v.\n", soakJudged)
		return nil
	}
	return errors.Join(h.judgeLevel(all, lasts), h.judgeMost(all))
}

// judgeLevel judges what must stay level.
func (h *harness) judgeLevel(all []sample, lasts time.Duration) error {
	fmt.Fprintf(h.out, "\n| over the later two thirds | rise (Theil-Sen) | at most | level |\n|---|--:|--:|---|\n")
	var failures []error
	for _, m := range measures() {
		if m.bound == 0 {
			continue
		}
		rise, most := m.rise(all, lasts/3, lasts)
		fmt.Fprintf(h.out, "| %s | %.1f | %.1f | %t |\n", m.name, rise, most, rise <= most)
		if rise > most {
			failures = append(failures, fmt.Errorf("%s rises by %.1f, and may by %.1f", m.name, rise, most))
		}
	}
	return errors.Join(failures...)
}

// judgeMost judges what has a limit.
func (h *harness) judgeMost(all []sample) error {
	var failures []error
	for _, m := range measures() {
		if m.most == 0 {
			continue
		}
		greatest := 0.0
		for _, s := range all {
			greatest = max(greatest, m.of(s))
		}
		fmt.Fprintf(h.out, "\nGreatest %s: %.1f, of %.0f that are allowed.\n", m.name, greatest, m.most)
		if greatest > m.most {
			failures = append(failures, fmt.Errorf("%s comes to %.1f, and may to %.0f", m.name, greatest, m.most))
		}
	}
	return errors.Join(failures...)
}
