package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"filippo.io/age"
	"github.com/prometheus/client_golang/prometheus"

	"daysheet/events"
	"daysheet/services/backup"
)

// ScheduleFlags say how a server backs its ledger up by itself.
type ScheduleFlags struct {
	BackupTo         string        `help:"Folder in which the server keeps archives of the ledger: a whole one every week, and between them such as hold only what is new. One process of a ledger does that." type:"existingdir" placeholder:"FOLDER" env:"DAYSHEET_BACKUP_TO"`
	BackupEvery      time.Duration `help:"Time between two archives." default:"24h" env:"DAYSHEET_BACKUP_EVERY"`
	BackupKeep       int           `help:"How many whole archives are kept, each with those that go on from it; 0 for all." default:"5" env:"DAYSHEET_BACKUP_KEEP"`
	BackupKeysTo     string        `help:"Folder of the archives of the keys of customers; better another than that of --backup-to, which is used if it is not given." type:"existingdir" placeholder:"FOLDER" env:"DAYSHEET_BACKUP_KEYS_TO"`
	BackupRecipients string        `help:"File of the age public keys, one on a line, for whom the archives are encrypted." type:"existingfile" placeholder:"FILE" env:"DAYSHEET_BACKUP_RECIPIENTS"`
}

// schedule backs a ledger up until it is stopped.
type schedule struct {
	ScheduleFlags
	g          *Globals
	nats       NATSFlags
	photos     PhotoFlags
	recipients []age.Recipient
	logger     *slog.Logger
}

// retryAfter is when a backup that failed is tried again, where the next is not due before.
const retryAfter = time.Hour

// check refuses what cannot work before anything is served.
func (s *schedule) check() (err error) {
	if s.BackupTo == "" {
		if s.BackupKeysTo+s.BackupRecipients != "" {
			return events.Refuse("backup-to", "", "name the folder of the archives, or leave the other --backup flags out")
		}
		return nil
	}
	if s.BackupEvery <= 0 {
		return events.Refuse("backup-every", s.BackupEvery, "a time such as 24h")
	}
	if s.BackupKeep < 0 {
		return events.Refuse("backup-keep", s.BackupKeep, "a number of whole archives, or 0 for all")
	}
	s.recipients, err = backup.ParseRecipients(nil, s.BackupRecipients)
	return err
}

// run makes each archive when it is due. A server that was not running when one was, makes
// it when it starts.
func (s *schedule) run(ctx context.Context) {
	if s.BackupTo == "" {
		return
	}
	wait := time.Duration(0)
	if status, err := backup.ReadStatus(filepath.Join(s.g.Data, stateFolder)); err == nil {
		wait = s.dueIn(status.Last, time.Now())
	}
	for {
		timer := time.NewTimer(max(wait, 0))
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
		wait = s.BackupEvery
		w, err := s.once(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			wait = min(wait, retryAfter)
			s.logger.Error("backup failed; it is tried again", "in", wait, "reason", err)
		default:
			s.logger.Info("backed up", "file", w.File, "commits", w.Commits, "photos", w.Photos, "bytes", w.Bytes)
		}
		for _, name := range w.Lacking {
			s.logger.Error("a photo could not be read, or is damaged, and is not in the archive", "photo", name)
		}
	}
}

// dueIn returns how long after the last archive, which is zero if none was made, the next
// is due. One that was made in the future was made while the clock was wrong, and holds
// nothing up.
func (s *schedule) dueIn(last, now time.Time) time.Duration {
	if last.IsZero() {
		return 0
	}
	return min(last.Add(s.BackupEvery).Sub(now), s.BackupEvery)
}

// once makes one archive.
func (s *schedule) once(ctx context.Context) (w backup.Written, err error) {
	source, closing, err := openSource(ctx, s.g, s.nats, s.photos)
	if err != nil {
		return w, err
	}
	defer func() { err = errors.Join(err, closing()) }()
	return schemeOf(s.g, s.BackupTo, s.BackupKeysTo, s.BackupKeep, source,
		backup.Options{Program: build().Version, Recipients: s.recipients, Now: time.Now()}).Run(ctx)
}

// backups tells how backups of a ledger went, whoever made them.
type backups struct {
	state        string
	last, failed *prometheus.Desc
}

func newBackups(g *Globals) *backups {
	return &backups{
		state: filepath.Join(g.Data, stateFolder),
		last: prometheus.NewDesc("ledger_backup_last_timestamp_seconds",
			"When the last good backup into a folder was made; 0 if none was.", nil, nil),
		failed: prometheus.NewDesc("ledger_backup_failed",
			"1 if a backup failed after the last good one.", nil, nil),
	}
}

// Describe implements [prometheus.Collector].
func (b *backups) Describe(to chan<- *prometheus.Desc) {
	to <- b.last
	to <- b.failed
}

// Collect implements [prometheus.Collector].
func (b *backups) Collect(to chan<- prometheus.Metric) {
	status, err := backup.ReadStatus(b.state)
	last, failed := 0.0, 0.0
	if !status.Last.IsZero() {
		last = float64(status.Last.Unix())
	}
	if err != nil || !status.Failed.IsZero() {
		failed = 1
	}
	to <- prometheus.MustNewConstMetric(b.last, prometheus.GaugeValue, last)
	to <- prometheus.MustNewConstMetric(b.failed, prometheus.GaugeValue, failed)
}

// times returns when the last good backup was made, and when one failed since.
func (b *backups) times() (last, failed time.Time, err error) {
	status, err := backup.ReadStatus(b.state)
	return status.Last, status.Failed, err
}

// note says it to whoever asks whether the server is ready, which does not depend on it.
func (b *backups) note() string {
	last, failed, err := b.times()
	text := "none was made yet"
	switch {
	case err != nil:
		return "how backups went cannot be read"
	case !last.IsZero():
		text = "last made at " + last.Format(time.RFC3339)
	}
	if !failed.IsZero() {
		text += fmt.Sprintf("; one failed at %s", failed.Format(time.RFC3339))
	}
	return text
}
