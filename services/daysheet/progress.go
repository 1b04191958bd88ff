package main

import (
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress is a bar on standard error, shown only to a person at a terminal.
type progress struct {
	bar   *progressbar.ProgressBar
	title string
	total uint64
}

func newProgress(title string) *progress { return &progress{title: title} }

// update shows done of total. It can be called as often as one likes.
func (p *progress) update(done, total uint64) {
	p.total = total
	if !term.IsTerminal(int(os.Stderr.Fd())) {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions64(int64(total), progressbar.OptionSetWriter(os.Stderr),
			progressbar.OptionSetDescription(p.title), progressbar.OptionClearOnFinish(), progressbar.OptionShowCount(),
			progressbar.OptionThrottle(100_000_000))
	}
	// A bar that cannot be drawn must not stop the work it shows.
	_ = p.bar.Set64(int64(done))
}

// finish clears the bar, where there is one.
func (p *progress) finish() {
	if p != nil && p.bar != nil {
		_ = p.bar.Finish()
	}
}
