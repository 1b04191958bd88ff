//go:build !linux

package ports

import "sync"

// reserved are the ports of reserve.
var reserved sync.Map

// reserve keeps a port for this process as long as it runs.
func reserve(port int) bool {
	_, given := reserved.LoadOrStore(port, true)
	return !given
}
