package ports

import (
	"net"
	"testing"
)

// A port that was given stays free for who was told it, whoever else listens or
// connects meanwhile.
func TestTake(t *testing.T) {
	seen := map[int]bool{}
	for range 5 {
		taken, err := Take(20)
		if err != nil {
			t.Fatal(err)
		}
		for _, port := range taken {
			if seen[port] {
				t.Fatalf("port %d was given twice", port)
			}
			seen[port] = true
		}
	}
	for range 200 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		if port := l.Addr().(*net.TCPAddr).Port; seen[port] {
			t.Fatalf("port %d was given, and to another by the system", port)
		}
	}
	for port := range seen {
		l, err := net.Listen("tcp", address(port))
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
	}
}
