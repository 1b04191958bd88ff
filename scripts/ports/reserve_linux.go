package ports

import (
	"fmt"
	"net"
	"sync"
)

// reserved holds the sockets of reserve: one that nobody holds is closed.
var reserved sync.Map

// reserve keeps a port for this process as long as it runs: by a socket whose name is
// in the same network namespace as the port, and leaves no file.
func reserve(port int) bool {
	socket, err := net.Listen("unix", fmt.Sprintf("@daysheet-port-%d", port))
	if err != nil {
		return false
	}
	reserved.Store(port, socket)
	return true
}
