package main

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// second starts the program a second time on a folder that is being served, to
// serve and to import.
func second(ctx context.Context, t *trial) (err error) {
	file, err := os.CreateTemp("", "faults-*.jsonl")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.Remove(file.Name())) }()
	_, err = fmt.Fprintln(file, `{"specversion":"1.0","id":"second","source":"/second",`+
		`"type":"daysheet.job.opened.v1","subject":"second","time":"2026-03-02T08:00:00Z",`+
		`"data":{"job_type":"stairwell","title":"Invented"}}`)
	if err := errors.Join(err, file.Close()); err != nil {
		return err
	}
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	err = t.under(ctx, s.at(t), func(ctx context.Context) error {
		for range t.harness.times {
			if err := t.load.More(ctx, 50+t.random.IntN(200)); err != nil {
				return err
			}
			says := []string{"another daysheet is using it", "stop it first"}
			if err := t.refused(ctx, append(says, "--server"), "import", file.Name()); err != nil {
				return err
			}
			if err := t.refused(ctx, says, "serve", "--listen", "127.0.0.1:0"); err != nil {
				return err
			}
			t.times++
		}
		return t.load.More(ctx, 100)
	})
	return errors.Join(err, s.kill())
}
