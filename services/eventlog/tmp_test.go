package eventlog
import ("testing";"time";"errors";"daysheet/events";"github.com/nats-io/nats.go/jetstream")
func BenchmarkTmp(b *testing.B){
	const n = 200_000
	dir := b.TempDir(); fillRaw(b, dir, n)
	l := open(b, Config{Dir: dir, MaxBytes: 1 << 30})
	for range 4 {
	for _, opt := range []jetstream.PullMessagesOpt{jetstream.PullMaxMessages(10000), jetstream.PullMaxMessages(4096), jetstream.PullMaxMessagesWithBytesLimit(4096,8<<20), jetstream.PullMaxMessagesWithBytesLimit(16384,8<<20)} {
		st := time.Now()
		c, _ := l.tail.OrderedConsumer(b.Context(), streamName(Partition(testFirm)), jetstream.OrderedConsumerConfig{})
		it, _ := c.Messages(opt)
		for i:=0;i<n;i++ { if _,err := it.Next(); err!=nil {b.Fatal(err)} }
		it.Stop()
		b.Logf("%v %v: %.0f/s", opt, time.Since(st), n/time.Since(st).Seconds())
	}
	st := time.Now(); e := errors.New("x")
	l.Follow(b.Context(), Partition(testFirm), 0, func(x []events.Stored) error { if x[len(x)-1].Sequence==n {return e}; return nil})
	b.Logf("follow %v: %.0f/s", time.Since(st), n/time.Since(st).Seconds())
	}
}
