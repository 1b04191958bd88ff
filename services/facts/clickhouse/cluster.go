package clickhouse

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"regexp"
	"time"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/events"
	"daysheet/services/facts"
)

const (
	// distributed is the engine of a table that has its rows in others, on the
	// servers of a cluster.
	distributed = "Distributed"
	// ofShard ends the name of the table in which a shard has its rows.
	ofShard = "_shard"
	// patienceReplicas bounds the wait of an insert until every replica has it.
	patienceReplicas = 30 * time.Second
	// patienceTables bounds the wait until every server has made a table.
	patienceTables = 60 * time.Second
	// patienceTurn bounds the wait for another insert.
	patienceTurn = 10 * time.Second
	// stale is how long a replica may have known of a row that it does not have and
	// be read, in seconds.
	stale = 10
)

// plainName is what a cluster and a database in it may be called: the names stand
// in statements and in paths of ZooKeeper.
var plainName = regexp.MustCompile(`^[A-Za-z0-9_-][A-Za-z0-9_.-]*$`)

// joinCluster makes the tables on every server of a cluster, where the one that
// it speaks to does not have them, and returns what servers are to be told with
// every statement.
func joinCluster(ctx context.Context, l *link, opts Options, modern bool) (native.Settings, error) {
	for field, name := range map[string]string{"cluster": opts.Cluster, "database": opts.Database} {
		if !plainName.MatchString(name) {
			return nil, events.Refuse(field, name, "letters, digits and the signs _ - . for a cluster")
		}
	}
	replicas, err := replicasOf(ctx, l, opts.Cluster)
	if err != nil {
		return nil, err
	}
	found, err := engines(ctx, l)
	if err != nil {
		return nil, err
	}
	for i, statement := range createOn(opts, modern) {
		t := tables[i/2]
		has, known := found[t.name]
		switch _, shard := found[t.name+ofShard]; {
		case known && has != distributed:
			return nil, events.Refuse("cluster", opts.Cluster,
				"empty, or another database: table %s of database %s is in this one server", t.name, opts.Database)
		case known && shard:
			continue // so that a server that is down does not keep us from starting
		}
		if err := l.pool.Exec(native.Context(ctx, native.WithSettings(native.Settings{
			"distributed_ddl_task_timeout": int(patienceTables.Seconds())})), statement); err != nil {
			return nil, fmt.Errorf("create tables on cluster %s: %w", opts.Cluster, err)
		}
	}
	return clusterSettings(replicas, modern), nil
}

// createOn returns the statements for a cluster, for each table that of the shard
// and that of the whole.
func createOn(opts Options, modern bool) []string {
	var made []string
	for _, t := range tables {
		head := "CREATE TABLE IF NOT EXISTS `" + opts.Database + "`." + t.name
		columns := " ON CLUSTER '" + opts.Cluster + "' (" + t.columnsFor(modern) + ") ENGINE = "
		part := head + ofShard + columns + fmt.Sprintf(
			"ReplicatedReplacingMergeTree('/clickhouse/tables/{shard}/%s/%s', '{replica}') ORDER BY (%s)",
			opts.Database, t.name, t.key)
		if modern {
			part += " SETTINGS fsync_after_insert = 1, fsync_part_directory = 1, min_compressed_bytes_to_fsync_after_fetch = 1"
		}
		made = append(made, part, head+columns+fmt.Sprintf("Distributed('%s', '%s', '%s', %s)",
			opts.Cluster, opts.Database, t.name+ofShard, t.shard))
	}
	return made
}

// replicasOf returns how many replicas each shard of the cluster has.
func replicasOf(ctx context.Context, l *link, cluster string) (int, error) {
	var (
		least, most, replicas int64
		statement             = facts.Statement{
			Text: "SELECT CAST(count(*) AS BIGINT) FROM system.clusters WHERE cluster = ? GROUP BY shard_num",
			Args: []any{cluster},
		}
	)
	err := query(ctx, l, statement, []any{&replicas}, func() {
		if most = max(most, replicas); least == 0 || replicas < least {
			least = replicas
		}
	})
	switch {
	case err != nil:
		return 0, fmt.Errorf("look cluster %s up: %w", cluster, err)
	case most == 0:
		return 0, events.Refuse("cluster", cluster, "a cluster in remote_servers of the server's configuration")
	case least != most:
		return 0, events.Refuse("cluster", cluster, "a cluster whose shards have the same number of replicas, not %d and %d",
			least, most)
	}
	return int(most), nil
}

// clusterSettings returns what makes a position hold on every replica; the
// package says how.
func clusterSettings(replicas int, modern bool) native.Settings {
	s := native.Settings{
		"insert_distributed_sync": 1, // an insert that is answered is in its shards
		"insert_quorum":           0,
		"insert_quorum_timeout":   int(patienceReplicas.Milliseconds()),
		"insert_deduplicate":      0, // what is sent again after it was lost is taken
		"skip_unavailable_shards": 0, // an answer is whole
		// A replica that was away, or is new, is not read before it has caught up.
		"max_replica_delay_for_distributed_queries":          stale,
		"fallback_to_stale_replicas_for_distributed_queries": 0,
	}
	if replicas > 1 {
		s["insert_quorum"] = replicas
	}
	if modern {
		s["insert_quorum_parallel"] = 0      // which agreed asks for
		s["optimize_skip_unused_shards"] = 1 // a firm's answer needs its own shard only
	}
	return s
}

// agreed returns a context for reading only rows that every replica has.
func (s *Store) agreed(ctx context.Context) context.Context {
	if s.told == nil || s.told["insert_quorum"] == 0 {
		return ctx
	}
	told := maps.Clone(s.told)
	told["select_sequential_consistency"] = 1
	return native.Context(ctx, native.WithSettings(told))
}

// change is call for work that inserts. Where another one inserts into the same
// table, an old server refuses until all replicas have that one's rows; then work
// is done again.
func (s *Store) change(ctx context.Context, work func(context.Context, *link) error) error {
	for begun := time.Now(); ; {
		err := s.call(ctx, work)
		if !othersTurn(err) || time.Since(begun) > patienceTurn {
			return err
		}
		turn := time.NewTimer(rand.N(25 * time.Millisecond))
		select {
		case <-turn.C:
		case <-ctx.Done():
			turn.Stop()
			return fmt.Errorf("%w: %w", context.Cause(ctx), err)
		}
	}
}

func othersTurn(err error) bool {
	const quorumOfAnother = 286
	var e *native.Exception
	return errors.As(err, &e) && e.Code == quorumOfAnother
}
