package eventlog

import (
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

func TestLeads(t *testing.T) {
	replicas := func(active ...time.Duration) (peers []*jetstream.PeerInfo) {
		for _, a := range active {
			peers = append(peers, &jetstream.PeerInfo{Active: a})
		}
		return peers
	}
	const lately, long = time.Second, time.Minute
	for name, c := range map[string]struct {
		info *jetstream.ClusterInfo
		want bool
	}{
		"one server":            {nil, true},
		"nobody":                {&jetstream.ClusterInfo{Name: "ledger", Replicas: replicas(lately, lately)}, false},
		"both":                  {&jetstream.ClusterInfo{Name: "ledger", Leader: "a", Replicas: replicas(lately, lately)}, true},
		"one of two":            {&jetstream.ClusterInfo{Name: "ledger", Leader: "a", Replicas: replicas(long, lately)}, true},
		"none of two":           {&jetstream.ClusterInfo{Name: "ledger", Leader: "a", Replicas: replicas(long, long)}, false},
		"not heard of yet":      {&jetstream.ClusterInfo{Name: "ledger", Leader: "a", Replicas: replicas(0, 0)}, false},
		"one copy in a cluster": {&jetstream.ClusterInfo{Name: "ledger", Leader: "a"}, true},
		"two of four":           {&jetstream.ClusterInfo{Name: "ledger", Leader: "a", Replicas: replicas(lately, lately, long, long)}, true},
		"one of four":           {&jetstream.ClusterInfo{Name: "ledger", Leader: "a", Replicas: replicas(lately, long, long, long)}, false},
	} {
		if err := leads(c.info); (err == nil) != c.want {
			t.Errorf("%s: %v", name, err)
		}
	}
}
