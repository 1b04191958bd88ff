package main

import (
	"context"
	"errors"
	"fmt"

	"daysheet/reports"
	"daysheet/reports/rates"
	"daysheet/services/facts"
)

// BacktestCmd tests the rates that history makes on history itself.
type BacktestCmd struct {
	NATSFlags
	StoreFlags
	Firm string `help:"Firm to test; the only one of the data folder if not given." env:"DAYSHEET_FIRM"`
}

// Help says what is tested.
func (c *BacktestCmd) Help() string {
	return `Each finished job is quoted from the jobs that were finished before its own quote, and then compared with
what it took: the book of its day against rates tuned from history. The server must not be running.
The page /reports/backtest shows the same for the last jobs.`
}

// Run catches up, tests every job and prints the score.
func (c *BacktestCmd) Run(ctx context.Context, g *Globals) (err error) {
	if err := g.needLedger(c.NATSFlags); err != nil {
		return err
	}
	g.quiet = true
	a, err := openApp(ctx, g, appConfig{nats: c.NATSFlags, store: c.StoreFlags})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	firm, err := onlyFirm(a.tokens, c.Firm)
	if err != nil {
		return err
	}
	if err := a.catchUp(ctx, firm); err != nil {
		return err
	}
	names, err := a.projector.Names(ctx, firm)
	if err != nil {
		return err
	}
	answer, err := facts.Ask(ctx, a.store, reports.RatesQuestion(reports.Filter{Firm: firm}))
	if err != nil {
		return err
	}
	answer.Names = names
	bar := newProgress("backtest")
	b, err := reports.Backtest(ctx, answer, func(done, total int) { bar.update(uint64(done), uint64(total)) })
	bar.finish()
	if err != nil {
		return err
	}
	printScore(b)
	return nil
}

// printScore prints what was scored.
func printScore(b *rates.Backtest) {
	s := b.Score
	fmt.Printf("%d jobs, %d lines scored; %d jobs before there was enough history, %d left out for an entry to check\n",
		s.Jobs, s.Lines, len(b.WarmUp), s.LeftOut)
	if s.Lines == 0 {
		return
	}
	fmt.Printf("                       book    tuned  promised\n")
	for _, row := range []struct {
		name        string
		book, tuned float64
	}{{"error of a line", s.MAPEBook, s.MAPE}, {"bias of all hours", s.BiasBook, s.Bias},
		{"pinball loss at P50", s.PinballBook[0], s.Pinball[0]}, {"pinball loss at P80", s.PinballBook[1], s.Pinball[1]},
		{"pinball loss at P90", s.PinballBook[2], s.Pinball[2]}} {
		fmt.Printf("%-20s %6.1f %%  %6.1f %%\n", row.name, 100*row.book, 100*row.tuned)
	}
	for _, row := range []struct {
		name           string
		kept, promised float64
	}{{"lines within P80", s.BelowP80, .8}, {"lines within P90", s.BelowP90, .9}, {"jobs within P80", s.JobBelowP80, .8},
		{"jobs within P90", s.JobBelowP90, .9}} {
		fmt.Printf("%-20s           %6.1f %%  %6.1f %%\n", row.name, 100*row.kept, 100*row.promised)
	}
	if s.Few {
		fmt.Println("below 20 jobs the figures say little")
	}
}
