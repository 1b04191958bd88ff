package eventlog

import (
	"log/slog"
	"strings"
	"time"

	"daysheet/events"
)

// Config says where the log is and how large it may grow. Exactly one of Dir and
// URL must be given; every other field has a default.
type Config struct {
	// Dir is the folder of the embedded server. It is made if it is missing, and
	// belongs to one process at a time.
	Dir string

	// URL is the address of an external server, or several with commas between.
	URL string

	// CAFile, CertFile and KeyFile are PEM files for TLS to an external server:
	// whom to trust, and who we are. CertFile and KeyFile go together. Default to
	// the system's trust and no certificate of our own.
	CAFile, CertFile, KeyFile string

	// NKeyFile holds the seed of the nkey that we sign in with, only with URL.
	// Defaults to no sign-in.
	NKeyFile string

	// InboxPrefix begins the subjects that answers come back on, only with URL. A
	// server that keeps users apart lets each hear one prefix alone. Defaults to
	// _INBOX.
	InboxPrefix string

	// Replicas is the number of servers that keep each partition: 1, 3 or 5.
	// More than 1 needs an external cluster. [Open] refuses streams that are kept
	// by fewer; [Prepare] raises them. Defaults to 1.
	Replicas int

	// MaxBytes is the most that one partition may hold, from 1 MiB to 1 TiB. At
	// the limit new commits are refused; nothing is dropped. It can be raised
	// later, in an external log by [Prepare], and a lower value than the log was
	// made with is ignored. Defaults to 4 GiB, some millions of commits.
	MaxBytes int64

	// CachedJobs is the number of jobs whose folds are kept in memory between
	// submissions, about 50 kB for a job of 200 events. Defaults to 250 in an embedded
	// log, which reads such a job anew in a millisecond or two, and to 1,000 in an
	// external one.
	CachedJobs int

	// RequestTimeout is how long one request to the server may take before its
	// outcome counts as unknown. Defaults to 5 s.
	RequestTimeout time.Duration

	// Now is the clock that stamps commits. Defaults to [time.Now].
	Now func() time.Time

	// Logger hears what the server has to say and which outages were survived.
	// Defaults to silence.
	Logger *slog.Logger

	// syncLater leaves it to the caller to bring the embedded log to disk. Only a
	// repair does, whose log is none before that.
	syncLater bool
}

const (
	maxBytesLeast   = int64(1) << 20
	maxBytesDefault = int64(4) << 30
	maxBytesMost    = int64(1) << 40
)

// withDefaults returns the configuration with every field filled in, or the
// first that makes no sense.
func (c Config) withDefaults() (Config, error) {
	fill(&c.Replicas, 1)
	fill(&c.MaxBytes, maxBytesDefault)
	if c.Dir != "" {
		fill(&c.CachedJobs, 250)
	}
	fill(&c.CachedJobs, 1000)
	fill(&c.RequestTimeout, 5*time.Second)
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	return c, c.check()
}

// fill sets what is zero.
func fill[T comparable](field *T, value T) {
	var zero T
	if *field == zero {
		*field = value
	}
}

// readTimeout is how long one question may take. It is asked again at little cost,
// and one that was asked while there was no leader is never answered.
func (c Config) readTimeout() time.Duration { return min(c.RequestTimeout, readMost) }

const readMost = 2 * time.Second

func (c Config) check() error {
	external := c.CAFile + c.CertFile + c.KeyFile + c.NKeyFile + c.InboxPrefix
	switch {
	case (c.Dir == "") == (c.URL == ""):
		return events.Refuse("Dir", c.Dir,
			"give either a folder for the embedded log or the URL of a server (URL is %q)", c.URL)
	case c.Dir != "" && external != "":
		return events.Refuse("URL", c.URL, "certificates, keys and inboxes need the URL of a server")
	case (c.CertFile == "") != (c.KeyFile == ""):
		return events.Refuse("CertFile", c.CertFile, "a certificate and its key go together (KeyFile is %q)", c.KeyFile)
	case strings.ContainsAny(c.InboxPrefix, "*> ") || strings.HasPrefix(c.InboxPrefix, ".") ||
		strings.HasSuffix(c.InboxPrefix, "."):
		return events.Refuse("InboxPrefix", c.InboxPrefix, "a subject without wildcards, such as _INBOX_writer")
	case c.Replicas != 1 && c.Replicas != 3 && c.Replicas != 5:
		return events.Refuse("Replicas", c.Replicas, "use 1, 3 or 5")
	case c.Dir != "" && c.Replicas != 1:
		return events.Refuse("Replicas", c.Replicas, "the embedded log is one server: use 1")
	case c.MaxBytes < maxBytesLeast || c.MaxBytes > maxBytesMost:
		return events.Refuse("MaxBytes", c.MaxBytes, "from %d to %d", maxBytesLeast, maxBytesMost)
	case c.CachedJobs < 1:
		return events.Refuse("CachedJobs", c.CachedJobs, "at least 1")
	case c.RequestTimeout < 0:
		return events.Refuse("RequestTimeout", c.RequestTimeout, "a positive duration")
	}
	return nil
}
