// Command timings starts the demo on a folder of its own, opens its main pages in
// Chromium cold and warm, and prints what Chromium's own trace says of each: first and
// largest contentful paint, layout shift, long tasks, and bytes over the wire. The pages of the
// phone are opened at its width with the processor throttled. It needs chromium.
//
// The figures depend on the machine: compare them with those of the same machine only.
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"text/tabwriter"
	"time"

	"github.com/chromedp/chromedp"
)

func main() {
	program := flag.String("program", "", "daysheet to start; built from ./services/daysheet if not given")
	limit := flag.Duration("limit", 5*time.Minute, "give up after this time")
	flag.Parse()
	ctx, stop := context.WithTimeout(context.Background(), *limit)
	defer stop()
	if err := run(ctx, *program); err != nil {
		fmt.Fprintln(os.Stderr, "timings:", err)
		stop()
		os.Exit(1)
	}
}

func run(ctx context.Context, program string) (err error) {
	folder, err := os.MkdirTemp("", "daysheet-timings-")
	if err != nil {
		return fmt.Errorf("make folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	if program == "" {
		program = filepath.Join(folder, "daysheet")
		build := exec.CommandContext(ctx, "go", "build", "-o", program, "./services/daysheet")
		build.Stderr = os.Stderr
		if err := build.Run(); err != nil {
			return fmt.Errorf("build the program: %w", err)
		}
	}
	link, stop, err := startDemo(ctx, program, filepath.Join(folder, "data"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stop()) }()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.UserDataDir(filepath.Join(folder, "profile")))
	allocator, end := chromedp.NewExecAllocator(ctx, options...)
	defer end()
	browser, endBrowser := chromedp.NewContext(allocator)
	defer endBrowser()
	if err := chromedp.Do(browser, chromedp.Navigate(link)); err != nil {
		return fmt.Errorf("sign in: %w", err)
	}
	if err := chromedp.Do(browser, chromedp.Click(chromedp.CSS("main button"))); err != nil {
		return fmt.Errorf("sign in: %w", err)
	}
	return measureAll(browser, link)
}

// linkText finds the link that the demo prints.
var linkText = regexp.MustCompile(`http://\S+`)

// startDemo starts the demo and returns the link that signs in.
func startDemo(ctx context.Context, program, data string) (link string, stop func() error, err error) {
	demo := exec.CommandContext(ctx, program, "demo", "--listen", "127.0.0.1:0", "--data", data)
	demo.Cancel = func() error { return demo.Process.Signal(os.Interrupt) }
	demo.Stderr = os.Stderr
	out, err := demo.StdoutPipe()
	if err == nil {
		err = demo.Start()
	}
	if err != nil {
		return "", nil, fmt.Errorf("start the demo: %w", err)
	}
	stop = func() error {
		if err := demo.Process.Signal(os.Interrupt); err != nil {
			return fmt.Errorf("stop the demo: %w", err)
		}
		return demo.Wait()
	}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if link = linkText.FindString(lines.Text()); link != "" {
			return link, stop, nil
		}
	}
	return "", nil, errors.Join(errors.New("the demo did not print its link"), stop())
}

// measureAll opens every page cold and then warm, and prints a line for each.
func measureAll(browser context.Context, link string) error {
	base, job, err := where(browser)
	if err != nil {
		return err
	}
	out := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(out, "page\tcache\tFCP ms\tLCP ms\tshift\tlong tasks\tlongest ms\tkB\trequests\t")
	var slow []error
	for _, p := range pagesOf(job) {
		for _, warm := range []bool{false, true} {
			m, err := p.measure(browser, base, warm)
			if err != nil {
				return fmt.Errorf("%s: %w", p.name, err)
			}
			cache := map[bool]string{false: "cold", true: "warm"}[warm]
			fmt.Fprintf(out, "%s\t%s\t%.0f\t%.0f\t%.3f\t%d\t%.0f\t%.1f\t%d\t\n", p.name, cache, m.firstPaint, m.largestPaint,
				m.shift, m.longTasks, m.longestTask, m.bytes/1000, m.requests)
			slow = append(slow, p.goals.missed(p.name+", "+cache, m))
		}
	}
	return errors.Join(append(slow, out.Flush())...)
}

// where returns the address that the browser is signed in at, and a finished job.
func where(browser context.Context) (base, job string, err error) {
	base, err = chromedp.Run(browser, chromedp.Evaluate[string](`location.origin`))
	if err != nil {
		return "", "", fmt.Errorf("find address: %w", err)
	}
	raw, err := chromedp.Run(browser, chromedp.Evaluate[string](
		`fetch('/v1/jobs?state=closed&limit=1').then((answer) => answer.text())`, chromedp.EvalAwaitPromise))
	var list struct {
		Jobs []struct {
			Job string `json:"job"`
		} `json:"jobs"`
	}
	if err == nil {
		err = json.Unmarshal([]byte(raw), &list)
	}
	if err == nil && len(list.Jobs) == 0 {
		err = errors.New(http.StatusText(http.StatusNotFound))
	}
	if err != nil {
		return "", "", fmt.Errorf("find a finished job in %s: %w", raw, err)
	}
	return base, list.Jobs[0].Job, nil
}
