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
		// Explicitly without limits: no message may ever leave.
		MaxMsgs: -1, MaxMsgsPerSubject: -1, MaxConsumers: -1, MaxAge: 0,
		Compression: jetstream.NoCompression,
	}
}

// openStreams returns the stream of each partition, made or verified.
func openStreams(
	ctx context.Context, js jetstream.JetStream, cfg Config, inside *embedded,
) ([Partitions]jetstream.Stream, error) {
	var streams [Partitions]jetstream.Stream
	var failures [Partitions]error
	var all sync.WaitGroup
	for partition := range uint8(Partitions) {
		all.Go(func() {
			failures[partition] = patiently(ctx, func() error {
				var err error
				streams[partition], err = openStream(ctx, js, partition, cfg, inside)
				return settle(err)
			})
		})
	}
	all.Wait()
	return streams, errors.Join(failures[:]...)
}

func openStream(
	ctx context.Context, js jetstream.JetStream, partition uint8, cfg Config, inside *embedded,
) (jetstream.Stream, error) {
	want := streamConfig(partition, cfg)
	ctx, cancel := context.WithTimeout(ctx, cfg.RequestTimeout)
	defer cancel()
	stream, err := js.Stream(ctx, want.Name)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		if err := stranded(inside, want.Name); err != nil {
			return nil, err
		}
		stream, err = js.CreateStream(ctx, want)
		if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
			stream, err = js.Stream(ctx, want.Name) // another process was faster
		}
	}
	if err != nil {
		return nil, fmt.Errorf("open stream %s: %w", want.Name, err)
	}
	have := stream.CachedInfo().Config
	if err := verify(have, want); err != nil {
		return nil, fmt.Errorf("stream %s: %w", want.Name, err)
	}
	if have.MaxBytes >= want.MaxBytes {
		return stream, nil
	}
	have.MaxBytes = want.MaxBytes
	if stream, err = js.UpdateStream(ctx, have); err != nil {
		return nil, fmt.Errorf("raise max_bytes of stream %s: %w", want.Name, err)
	}
	return stream, nil
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
		{"num_replicas", have.Replicas >= want.Replicas, have.Replicas, want.Replicas},
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
