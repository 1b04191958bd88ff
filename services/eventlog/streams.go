package eventlog

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
)

// Limits on one commit. A message is the commit and its headers.
const (
	commitBytesMax  = 960 << 10
	messageBytesMax = 1 << 20
)

// streamConfig returns every setting of a partition's stream that matters.
func streamConfig(partition uint8, cfg Config) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:        streamName(partition),
		Description: "daysheet ledger, one commit a message, never deleted",
		Subjects:    []string{fmt.Sprintf("ledger.%02d.*.*", partition)},
		Retention:   jetstream.LimitsPolicy,
		Discard:     jetstream.DiscardNew, // a full log refuses; it never forgets
		Storage:     jetstream.FileStorage,
		Replicas:    cfg.Replicas,
		DenyDelete:  true,
		DenyPurge:   true,
		AllowDirect: true,
		MaxBytes:    cfg.MaxBytes,
		MaxMsgSize:  messageBytesMax,
		Duplicates:  2 * time.Minute,

		AllowAtomicPublish: cfg.Dir != "", // see group
		// Explicitly without limits: no message may ever leave.
		MaxMsgs: -1, MaxMsgsPerSubject: -1, MaxConsumers: -1, MaxAge: 0,
		Compression: jetstream.NoCompression,
	}
}

// openStreams returns the stream of each partition: made where it is missing from
// the embedded server, verified in any case.
func openStreams(
	ctx context.Context, link *connection, cfg Config, inside *embedded,
) (streams [Partitions]jetstream.Stream, err error) {
	return streams, eachPartition(ctx, link, cfg, func(ctx context.Context, partition uint8) (err error) {
		if inside == nil {
			streams[partition], err = findStream(ctx, link.js, streamConfig(partition, cfg))
		} else {
			streams[partition], _, err = makeStream(ctx, link.js, streamConfig(partition, cfg), inside)
		}
		return err
	})
}

// errMissing says that an external server does not have a stream.
var errMissing = errors.New("the log is not prepared")

// eachPartition does something to the stream of each partition, side by side, and
// says once what is wrong with all of them.
func eachPartition(
	ctx context.Context, link *connection, cfg Config, do func(ctx context.Context, partition uint8) error,
) error {
	var failures [Partitions]error
	var all sync.WaitGroup
	for partition := range uint8(Partitions) {
		all.Go(func() {
			failures[partition] = patiently(ctx, func() error {
				ctx, cancel := context.WithTimeout(ctx, cfg.RequestTimeout)
				defer cancel()
				ctx, unwatch := link.denials.watch(ctx, about(partition))
				defer unwatch()
				return settle(orDenied(ctx, do(ctx, partition)))
			})
		})
	}
	all.Wait()
	missing := 0
	for partition, err := range failures {
		var denied *DeniedError
		switch {
		case errors.As(err, &denied):
			return denied
		case errors.Is(err, errMissing):
			missing++
			failures[partition] = nil
		}
	}
	err := errors.Join(failures[:]...)
	if missing > 0 {
		err = errors.Join(fmt.Errorf("%w: %d of the log's %d streams are not on the server at %s: "+
			"run \"daysheet prepare\" with the operator's key, once", errMissing, missing, Partitions, cfg.URL), err)
	}
	return err
}

// findStream returns a stream that is there, and is no weaker than wanted.
func findStream(ctx context.Context, js jetstream.JetStream, want jetstream.StreamConfig) (jetstream.Stream, error) {
	stream, err := js.Stream(ctx, want.Name)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil, errMissing
	}
	if err != nil {
		return nil, fmt.Errorf("open stream %s: %w", want.Name, err)
	}
	if err := verify(stream.CachedInfo().Config, want); err != nil {
		return nil, fmt.Errorf("stream %s: %w", want.Name, err)
	}
	return stream, nil
}

// makeStream returns a stream, made where it is missing and raised to what is
// wanted where it has less. done counts which of these it was.
func makeStream(
	ctx context.Context, js jetstream.JetStream, want jetstream.StreamConfig, inside *embedded,
) (stream jetstream.Stream, done Prepared, err error) {
	stream, err = js.Stream(ctx, want.Name)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		if err := stranded(inside, want.Name); err != nil {
			return nil, done, err
		}
		done.Made = 1
		stream, err = js.CreateStream(ctx, want)
		if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
			done.Made = 0
			stream, err = js.Stream(ctx, want.Name) // another process was faster
		}
	}
	if err != nil {
		return nil, done, fmt.Errorf("make stream %s: %w", want.Name, err)
	}
	have := stream.CachedInfo().Config
	raised := have
	raised.MaxBytes, raised.Replicas = max(have.MaxBytes, want.MaxBytes), max(have.Replicas, want.Replicas)
	raised.AllowAtomicPublish = have.AllowAtomicPublish || want.AllowAtomicPublish
	if err := verify(raised, want); err != nil {
		return nil, done, fmt.Errorf("stream %s: %w", want.Name, err)
	}
	if have.MaxBytes == raised.MaxBytes && have.Replicas == raised.Replicas &&
		have.AllowAtomicPublish == raised.AllowAtomicPublish {
		done.Kept = 1 - done.Made
		return stream, done, nil
	}
	if stream, err = js.UpdateStream(ctx, raised); err != nil {
		return nil, done, fmt.Errorf("raise stream %s to %d bytes and %d replicas: %w",
			want.Name, raised.MaxBytes, raised.Replicas, err)
	}
	done.Raised = 1
	return stream, done, nil
}

// stranded fails if the embedded server has files of the stream but did not load
// it. It warns and goes on in that case, and a new stream in the same place would
// bury what is there.
func stranded(inside *embedded, name string) error {
	if inside == nil {
		return nil
	}
	path := filepath.Join(inside.server.StoreDir(), server.DEFAULT_GLOBAL_ACCOUNT, "streams", name)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return fmt.Errorf("look for files of stream %s: %w", name, err)
	}
	return fmt.Errorf("stream %s is on disk in %s but the server could not load it: "+
		"keep a copy of the folder and restore the stream from a backup", name, path)
}

// verify names the first setting that makes an existing stream a weaker ledger
// than the wanted one.
func verify(have, want jetstream.StreamConfig) error {
	for _, setting := range []struct {
		name       string
		sound      bool
		have, want any
	}{
		{"subjects", slices.Equal(have.Subjects, want.Subjects), have.Subjects, want.Subjects},
		{"retention", have.Retention == want.Retention, have.Retention, want.Retention},
		{"discard", have.Discard == want.Discard, have.Discard, want.Discard},
		{"discard_new_per_subject", !have.DiscardNewPerSubject, true, false},
		{"storage", have.Storage == want.Storage, have.Storage, want.Storage},
		{"num_replicas (\"daysheet prepare\" raises it)", have.Replicas >= want.Replicas, have.Replicas, want.Replicas},
		{"deny_delete", have.DenyDelete, false, true},
		{"deny_purge", have.DenyPurge, false, true},
		{"allow_rollup_hdrs", !have.AllowRollup, true, false},
		{"allow_msg_ttl", !have.AllowMsgTTL, true, false},
		{"allow_direct", have.AllowDirect, false, true},
		{"persist_mode", have.PersistMode == jetstream.DefaultPersistMode, have.PersistMode, jetstream.DefaultPersistMode},
		{"no_ack", !have.NoAck, true, false},
		{"sealed", !have.Sealed, true, false},
		{"max_age", have.MaxAge == 0, have.MaxAge, 0},
		{"max_msgs", have.MaxMsgs <= 0, have.MaxMsgs, -1},
		{"max_msgs_per_subject", have.MaxMsgsPerSubject <= 0, have.MaxMsgsPerSubject, -1},
		{"max_msg_size", have.MaxMsgSize <= 0 || have.MaxMsgSize >= want.MaxMsgSize, have.MaxMsgSize, want.MaxMsgSize},
		{"duplicate_window", have.Duplicates >= want.Duplicates, have.Duplicates, want.Duplicates},
		{"mirror", have.Mirror == nil, "set", "none"},
		{"sources", len(have.Sources) == 0, "set", "none"},
		{"subject_transform", have.SubjectTransform == nil, "set", "none"},
		{"first_seq", have.FirstSeq <= 1, have.FirstSeq, 1},
	} {
		if !setting.sound {
			return fmt.Errorf("%s is %v, the ledger needs %v", setting.name, setting.have, setting.want)
		}
	}
	return nil
}
