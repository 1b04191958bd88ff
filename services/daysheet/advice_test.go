package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
)

func TestAdvice(t *testing.T) {
	for fault, says := range map[syscall.Errno]string{
		syscall.EROFS: "mount it for writing", syscall.ENOSPC: "make room", syscall.EMFILE: "ulimit -n", syscall.ENFILE: "machine",
	} {
		err := fmt.Errorf("lock data folder: %w", &os.PathError{Op: "open", Path: "ledger.lock", Err: fault})
		got := advise(err)
		if !errors.Is(got, fault) || !strings.HasPrefix(got.Error(), err.Error()) || !strings.Contains(got.Error(), says) {
			t.Errorf("the advice is %v, and must say %q", got, says)
		}
	}
	ofStore := errors.New(`TransactionContext Error: Failed to commit: Could not write file "facts.duckdb.wal": ` +
		"No space left on device")
	if got := advise(ofStore); !strings.Contains(got.Error(), "make room") {
		t.Errorf("of what the store says the advice is %v", got)
	}
	for _, err := range []error{errFound, os.ErrNotExist} {
		if advise(err) != err {
			t.Errorf("%v is changed", err)
		}
	}
}
