package eventlog

import (
	"context"
	"sync"

	"daysheet/events"
)

// Prepared says what [Prepare] did to the streams; the three come to [Partitions].
type Prepared struct {
	Made   int // were not there
	Raised int // got more room or more replicas
	Kept   int // were as they must be
}

// Prepare makes the streams of a log on an external server or cluster, and raises
// the room and the number of replicas of those that have less. It is the
// operator's: nobody else needs the right to make streams, and [Open] makes none
// there. A stream that is a weaker ledger in another way is left as it is, and the
// error names the setting.
func Prepare(ctx context.Context, cfg Config) (Prepared, error) {
	var total Prepared
	cfg, err := cfg.withDefaults()
	if err != nil {
		return total, err
	}
	if cfg.URL == "" {
		return total, events.Refuse("URL", cfg.URL,
			"an external log is prepared; the embedded one makes its streams by itself")
	}
	link, err := connect(ctx, cfg, nil, "daysheet prepare")
	if err != nil {
		return total, err
	}
	defer link.close()
	var mu sync.Mutex // guards total
	err = eachPartition(ctx, link, cfg, func(ctx context.Context, partition uint8) error {
		_, done, err := makeStream(ctx, link.js, streamConfig(partition, cfg), nil)
		if err != nil {
			return err
		}
		mu.Lock()
		defer mu.Unlock()
		total.Made, total.Raised, total.Kept = total.Made+done.Made, total.Raised+done.Raised, total.Kept+done.Kept
		return nil
	})
	return total, err
}
