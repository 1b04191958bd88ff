// Package eventlog keeps the ledger's log in NATS JetStream: it appends commits
// under a lock per job, reads a job's commits back as a verified chain, and
// follows a partition from any position.
//
// The same code runs on two kinds of server. Embedded, the server is a library
// inside this process: it listens nowhere, syncs every commit to disk before it
// is acknowledged, and owns its folder under a lock. External, the server or
// cluster is reached by its URL; there the operator must switch sync_interval to
// always, because a client can neither see nor set it and the default loses
// acknowledged commits on a power cut. The operator makes the streams, with
// [Prepare]; deploy/nats is a cluster with a user for each part of the ledger, and
// what its permissions deny is a [DeniedError].
//
// # Layout
//
// A firm's commits live in one of [Partitions] streams, LEDGER_00 to LEDGER_15,
// under the subject ledger.<partition>.<firm>.<job>. One message is one
// [daysheet/events.Commit]. Sequences count from 1 without gaps, since nothing is
// ever deleted. Three headers help to find the way and prove nothing: the version
// of the commit, the sequence of the commit before it, and, on every 64th, the
// sequences of all commits since the 64th before. What is proved is proved by the
// hash chain inside the commits.
//
// An embedded log can be moved into an external one with [Migrate]: the sequences stay,
// and the old log is marked and refuses to open.
//
// # Who is asked
//
// In a cluster a replica may not know the newest commits yet, and one without a
// leader answers all the same. Where a partition or a job ends is therefore asked
// of the leader, and a refusal is only given while the leader hears most of the
// replicas. Messages by their sequence may come from any replica, because they never
// change. Before a commit an old fold does no harm: the server's lock rejects it.
//
// # What is promised
//
// A commit that was acknowledged is on disk. A commit is stored whole or not at
// all. An event is stored once, however often and by however many processes it is
// sent: the fold of the job remembers its id, and a commit is only taken if the
// job has not moved on since the fold was read. A refusal is never decided on a
// fold that another process made stale.
package eventlog
