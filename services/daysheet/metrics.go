package main

import (
	"context"
	"strconv"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"daysheet/services/eventlog"
	"daysheet/services/projector"
)

// scrapeTimeout bounds the questions of one look at the metrics.
const scrapeTimeout = 2 * time.Second

// metrics tells which parts run here, and how far the facts are behind the log.
type metrics struct {
	log       *eventlog.Log
	projector *projector.Projector // nil where there is no store
	roles     roles

	role, lag, trouble *prometheus.Desc

	mu   sync.Mutex
	ends [eventlog.Partitions]uint64 // of the log as last seen: the lag is still told when it is away
}

func newMetrics(log *eventlog.Log, p *projector.Projector, r roles) *metrics {
	return &metrics{
		log: log, projector: p, roles: r,
		role: prometheus.NewDesc("ledger_role", "1 for each part of the ledger that runs in this process.",
			[]string{"role"}, nil),
		lag: prometheus.NewDesc("ledger_projector_lag_commits",
			"Commits that are in the log and not yet in the store of facts.", []string{"partition"}, nil),
		trouble: prometheus.NewDesc("ledger_projector_trouble",
			"1 while the facts do not keep up with the log; /readyz says why.", nil, nil),
	}
}

// Describe implements [prometheus.Collector].
func (m *metrics) Describe(to chan<- *prometheus.Desc) {
	to <- m.role
	to <- m.lag
	to <- m.trouble
}

// Collect implements [prometheus.Collector].
func (m *metrics) Collect(to chan<- prometheus.Metric) {
	for _, role := range m.roles.names() {
		to <- prometheus.MustNewConstMetric(m.role, prometheus.GaugeValue, 1, role)
	}
	if m.projector == nil {
		return
	}
	troubled := 0.0
	if _, ok := m.projector.Trouble(); ok {
		troubled = 1
	}
	to <- prometheus.MustNewConstMetric(m.trouble, prometheus.GaugeValue, troubled)
	for partition, lag := range m.lags() {
		to <- prometheus.MustNewConstMetric(m.lag, prometheus.GaugeValue, float64(lag), strconv.Itoa(partition))
	}
}

// lags returns how far each partition is behind.
func (m *metrics) lags() (lags [eventlog.Partitions]uint64) {
	ctx, cancel := context.WithTimeout(context.Background(), scrapeTimeout)
	defer cancel()
	var all sync.WaitGroup
	for partition := range uint8(eventlog.Partitions) {
		all.Go(func() {
			position := m.projector.Position(partition) // first, so that it cannot overtake the end
			last, err := m.log.Last(ctx, partition)
			m.mu.Lock()
			defer m.mu.Unlock()
			if err == nil {
				m.ends[partition] = last
			}
			if end := m.ends[partition]; end > position {
				lags[partition] = end - position
			}
		})
	}
	all.Wait()
	return lags
}
