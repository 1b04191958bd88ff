// Package ports gives tests and harnesses ports of the loopback interface for servers
// that must be told theirs before they start, or that must have the same one again
// after a kill.
package ports

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"strconv"
)

// The ports given are below those that systems give away by themselves, to outgoing
// connections and to who listens at port 0 (from 32768 on with Linux, from 49152 with
// others; RFC 6335 section 6 keeps the latter for that): of those a free one may be
// taken by anybody before its server listens.
const (
	first = 20_000
	many  = 12_000
	tries = 1_000
)

// Take returns so many ports that nobody listens at, none of them given before by this
// process, and on Linux by no other process that still runs.
func Take(n int) ([]int, error) {
	taken := make([]int, 0, n)
	for range tries {
		if len(taken) == n {
			return taken, nil
		}
		port := first + rand.IntN(many)
		if !reserve(port) {
			continue
		}
		l, err := net.Listen("tcp", address(port))
		if err != nil {
			continue // a server of somebody else's is there
		}
		if err := l.Close(); err != nil {
			return nil, fmt.Errorf("leave port %d: %w", port, err)
		}
		taken = append(taken, port)
	}
	return nil, errors.New("no free ports on the loopback interface")
}

// Addresses returns so many loopback addresses with ports as Take gives them.
func Addresses(n int) ([]string, error) {
	taken, err := Take(n)
	if err != nil {
		return nil, err
	}
	addresses := make([]string, n)
	for i, port := range taken {
		addresses[i] = address(port)
	}
	return addresses, nil
}

// address returns the loopback address with a port.
func address(port int) string { return "127.0.0.1:" + strconv.Itoa(port) }
