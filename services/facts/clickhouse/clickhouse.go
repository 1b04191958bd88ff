// Package clickhouse keeps facts in a ClickHouse server. It is the store of a
// daysheet whose projector and reports run in processes of their own.
//
// ClickHouse has no transaction over tables. A batch is three inserts, of facts,
// of jobs and, last, of commits; each is one block, which is there whole or not
// at all. The position of a partition is the greatest sequence among its commits,
// and no answer counts a row beyond the position. So a batch of which only some
// inserts came through is not to be seen, and is sent again from the position.
// Rows that then come twice are one row to ReplacingMergeTree, at the latest when
// they are read with FINAL.
//
// Without [Options.Cluster] every process must reach the same server. With it,
// every process reaches some server of the cluster, and the tables are spread over
// its shards: facts and jobs by firm, which is in their keys, so that rows with the
// same key meet in one shard; commits by partition, so that a block of them is in
// one shard and still there whole or not at all. Where an insert of facts fails in
// one shard and not in another, no commit was inserted, and all of it is sent again.
//
// Replicas agree by two rules. An insert is answered when every replica of its
// shard has the rows (insert_quorum is the number of replicas), and a position is
// read only from commits that every replica has (select_sequential_consistency).
// So whoever sees a position, on whichever replica, finds the facts and jobs up to
// it on all others; and no position goes back. A replica that knows of rows that it
// has lacked for 10 seconds, as one that was set up anew does, is not read.
//
// The price: while a replica is away nothing is written. Reports go on as of the
// last position, the log takes what comes, and the facts catch up when the replica
// is back, or when it is out of the configuration and daysheet was started again.
// While all replicas of a shard are away, there are no reports: a part is no answer.
// A reader never gets an answer from fewer shards.
//
// Servers that know blocks again by their sum are told not to (insert_deduplicate
// is 0, on 18.16 as well): rows that were lost and are sent again are taken, and
// rows that come twice are what FINAL is for. It holds for Mend, too. After TRUNCATE
// or the loss of all replicas' disks the position is where the commits end, and
// writing goes on from there; facts that were lost below it are found by an audit.
//
// The number of shards is for ever: with another, rows with the same key could be in
// two shards. More shards are another database, filled from the log.
//
// It speaks the native protocol. Two servers are tested: Debian's 18.16, alone and
// with two shards of two replicas; and the engine of 26.7, alone and behind a server
// of ours for tests, which speaks HTTP ([Options.HTTP]). Current servers make quorum inserts one after another for the
// cluster, as 18.16 always does; daysheet waits for its turn.
package clickhouse

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	native "github.com/ClickHouse/clickhouse-go/v2"

	"daysheet/events"
	"daysheet/services/facts"
)

// Options says where the server is and how to speak to it.
type Options struct {
	Address  string      // host:port of the native protocol; several, with commas between, are tried in turn. Required
	Database string      // must exist. Defaults to "default"
	Username string      // may create tables, insert and select. Defaults to "default"
	Password string      // empty is none
	TLS      *tls.Config // nil speaks in the clear

	// HTTP speaks to the HTTP interface, whose host:port is the Address then. It is
	// there for the current engine in the tests, which has no other; no flag sets it.
	// A server's own HTTP interface was not tried, and 18.16 is too old for it.
	HTTP bool

	// Cluster is the name of a cluster in the server's configuration over which the
	// tables are spread; its shards have the same number of replicas, and
	// internal_replication. For the first start every server must be there, and the
	// database in each. Empty keeps the tables in the one server.
	Cluster string

	// NoFinal reads without FINAL. On servers of before 2024 that is several
	// times as fast, but rows that were sent again after an insert failed, or
	// after the process died between two inserts, count twice until the server
	// has merged them; "OPTIMIZE TABLE facts_N FINAL", where N is [facts.Schema], and the same
	// for jobs_N and commits_N, makes it do so (in a cluster, of facts_N_shard and so
	// on, on each server). It does nothing while another merge is at work, and says so
	// only where optimize_throw_if_noop is 1. With false, answers are right at all times.
	NoFinal bool
}

const (
	// linksMax bounds calls at work at the same time; more of them wait.
	linksMax = 16
	// patience bounds a call. It holds even where the caller's context does not end.
	patience = 2 * time.Minute
	// patienceDialling bounds making a connection.
	patienceDialling = 10 * time.Second
	// querySizeMax bounds the bytes of a query. The server's default would refuse
	// one that names some thousand long texts.
	querySizeMax = 16 << 20
)

// ErrClosed is the error of calls to a store that was closed before or during
// the call.
var ErrClosed = errors.New("the store of facts is closed")

// Store is a store of facts in a ClickHouse server. It is made by [Open] and safe
// for concurrent use, except that one partition has one writer.
type Store struct {
	links  chan *link
	tables facts.Tables
	told   native.Settings // what a cluster's server is told with every statement, too

	firms  sync.Map           // of firm to its partition; never changes once known
	floors [256]atomic.Uint64 // a position that each partition has reached, to look from there

	using   sync.RWMutex  // held for reading by each call, for writing by Close
	closing chan struct{} // closed when Close begins: calls at work give up
	once    sync.Once
	failure error // what Close returned
}

var (
	_ facts.Store   = (*Store)(nil)
	_ facts.Archive = (*Store)(nil)
)

// Open connects to the first server that answers, and makes the tables where there are none. The
// number of the schema is part of their names, so that tables of another version
// stay as they are and the new ones are filled from the log.
func Open(ctx context.Context, opts Options) (*Store, error) {
	if slices.Contains(hosts(opts.Address), "") {
		return nil, fmt.Errorf("open facts: %w", events.Refuse("address", opts.Address,
			"host:port of a ClickHouse server, or several with commas between"))
	}
	opts.Database, opts.Username = cmp.Or(opts.Database, "default"), cmp.Or(opts.Username, "default")
	s := &Store{links: make(chan *link, linksMax), closing: make(chan struct{}), tables: tablesFrom(opts)}
	modern, err := s.prepare(ctx, opts)
	for range linksMax {
		if err == nil {
			err = s.connect(opts, modern)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("open facts in the ClickHouse server at %s: %w", opts.Address, errors.Join(err, s.Close()))
	}
	return s, nil
}

// connect adds a link to those that calls use. It is dialled with its first use.
func (s *Store) connect(opts Options, modern bool) error {
	l, err := newLink(opts, modern)
	if err == nil {
		s.links <- l
	}
	return err
}

// tablesFrom returns what stands after FROM in the shared queries. The jobs of a
// firm are in the shard where its facts are.
func tablesFrom(opts Options) facts.Tables {
	final := " FINAL"
	if opts.NoFinal {
		final = ""
	}
	t := facts.Tables{FactsFrom: factsTable + final, JobsFrom: jobsTable + final}
	if !opts.NoFinal {
		t.Before = "PRE"
	}
	if opts.Cluster != "" {
		t.JobsWithin = "`" + opts.Database + "`." + jobsTable + ofShard + final
	}
	return t
}

// call runs work on a link of its own. Work ends early, with an error, when ctx
// ends, the store is closed or it takes too long.
func (s *Store) call(ctx context.Context, work func(context.Context, *link) error) error {
	s.using.RLock()
	defer s.using.RUnlock()
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	select {
	case <-s.closing:
		return ErrClosed
	default:
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	go func() { // ends with the call
		select {
		case <-s.closing:
			end(ErrClosed)
		case <-ctx.Done():
		}
	}()
	select {
	case l := <-s.links:
		defer func() { s.links <- l }()
		return l.use(native.Context(ctx, native.WithSettings(s.told)), work)
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// Close makes calls at work give up, waits for them and closes the connections.
// It can be called more than once.
func (s *Store) Close() error {
	s.once.Do(func() {
		close(s.closing)
		s.using.Lock()
		defer s.using.Unlock()
		close(s.links)
		for l := range s.links {
			s.failure = errors.Join(s.failure, l.close())
		}
	})
	return s.failure
}
