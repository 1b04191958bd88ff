package clickhouse

import (
	"context"
	"errors"
	"fmt"
	"strings"

	native "github.com/ClickHouse/clickhouse-go/v2"
)

// hosts returns the addresses in an address.
func hosts(address string) []string {
	var all []string
	for host := range strings.SplitSeq(address, ",") {
		all = append(all, strings.TrimSpace(host))
	}
	return all
}

// dialEach connects to the first of the addresses that answers. Each has its own
// time: the driver would give all of them that of one.
func dialEach(ctx context.Context, _ int, opts *native.Options, dial native.Dial) (native.DialResult, error) {
	var failures error
	for _, address := range opts.Addr {
		result, err := dialOne(ctx, address, opts, dial)
		if err == nil {
			return result, nil
		}
		failures = errors.Join(failures, err)
	}
	return native.DialResult{}, failures
}

func dialOne(ctx context.Context, address string, opts *native.Options, dial native.Dial) (native.DialResult, error) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), patienceDialling)
	defer cancel()
	result, err := dial(ctx, address, opts)
	if err != nil {
		return result, fmt.Errorf("connect to %s: %w", address, err)
	}
	return result, nil
}
