package photos

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"daysheet/events"
)

// Info is what is known of a photo from its own bytes.
type Info struct {
	Digest string `json:"photo" doc:"SHA-256 of the photo: its name"`
	Type   string `json:"type" enum:"image/jpeg,image/png,image/webp" doc:"Media type, by its content"`
	Bytes  int64  `json:"bytes" doc:"Size of the file"`
	Width  int    `json:"width" doc:"Pixels from left to right, as it is shown"`
	Height int    `json:"height" doc:"Pixels from top to bottom, as it is shown"`
}

// Limits of what is taken. The zero value of each is its default.
type Limits struct {
	Bytes     int64 // of one photo; 8 MiB
	FirmBytes int64 // of all photos of a firm; 20 GiB
}

// The defaults of [Limits].
const (
	BytesMax     = 8 << 20
	FirmBytesMax = 20 << 30
)

// ErrDamaged means that a photo that was taken is no picture any more.
var ErrDamaged = errors.New("the photo is damaged")

// Folder keeps photos in a folder: firm, the first two digits of the digest, the
// digest. Several processes may share it. All methods are safe for concurrent use.
type Folder struct {
	root    string
	limits  Limits
	decoder slot

	mu       sync.Mutex
	accounts map[string]*account // by firm
}

// NewFolder returns the photos in a folder, which need not exist yet.
func NewFolder(root string, limits Limits) *Folder {
	if limits.Bytes == 0 {
		limits.Bytes = BytesMax
	}
	if limits.FirmBytes == 0 {
		limits.FirmBytes = FirmBytesMax
	}
	return &Folder{root: root, limits: limits, decoder: newSlot(), accounts: map[string]*account{}}
}

// Root returns the folder.
func (f *Folder) Root() string { return f.root }

// BytesMax returns how many bytes a photo may have.
func (f *Folder) BytesMax() int64 { return f.limits.Bytes }

// Open returns a photo of the firm to read; the caller closes it. A photo that is
// not there is an [events.Error] with the code NotFound, whoever else may have it.
func (f *Folder) Open(_ context.Context, firm, digest string) (io.ReadSeekCloser, Info, error) {
	path, err := f.path(firm, digest)
	if err != nil {
		return nil, Info{}, err
	}
	file, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, Info{}, &events.Error{Code: events.NotFound, Field: "photo", Value: digest,
			Rule: "the firm has no photo of this name"}
	}
	if err != nil {
		return nil, Info{}, fmt.Errorf("open photo: %w", err)
	}
	info, err := describe(file, digest)
	if err != nil {
		return nil, Info{}, errors.Join(fmt.Errorf("read photo %s of firm %s: %w", digest, firm, err), file.Close())
	}
	return file, info, nil
}

// Stat says what a photo of the firm is. It fails as [Folder.Open] does.
func (f *Folder) Stat(ctx context.Context, firm, digest string) (Info, error) {
	file, info, err := f.Open(ctx, firm, digest)
	if err != nil {
		return Info{}, err
	}
	return info, file.Close()
}

// Each calls visit with the path of every file in the folders of the firms, until it
// fails. The path is relative: firm, two digits, digest, if nobody put anything else
// there.
func (f *Folder) Each(ctx context.Context, visit func(path string) error) error {
	if _, err := os.Stat(f.root); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return filepath.WalkDir(f.root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return fmt.Errorf("walk over photos: %w", err)
		case ctx.Err() != nil:
			return fmt.Errorf("walk over photos: %w", ctx.Err())
		case d.IsDir() && d.Name() == incoming:
			return fs.SkipDir
		case d.IsDir():
			return nil
		}
		relative, err := filepath.Rel(f.root, path)
		if err != nil {
			return fmt.Errorf("walk over photos: %w", err)
		}
		return visit(relative)
	})
}

// path returns where a photo is kept. Nothing in it can lead out of the firm's folder.
func (f *Folder) path(firm, digest string) (string, error) {
	if !events.ValidToken(firm) {
		return "", events.Refuse("firm", firm, events.TokenRule)
	}
	if !validDigest(digest) {
		return "", events.Refuse("photo", digest, "the SHA-256 of the photo as 64 of 0-9 and a-f")
	}
	return filepath.Join(f.root, firm, digest[:2], digest), nil
}

func validDigest(digest string) bool {
	return len(digest) == 64 && strings.Trim(digest, "0123456789abcdef") == ""
}

// headMost is how much of a photo is read to tell its size; notes of a camera make the
// beginning longer, up to headLong; else it is read whole.
const headMost, headLong = 8 << 10, 128 << 10

// describe tells what an open photo is, and leaves it at its start.
func describe(file *os.File, digest string) (Info, error) {
	stat, err := file.Stat()
	if err != nil {
		return Info{}, err
	}
	info := Info{Digest: digest, Bytes: stat.Size()}
	for _, most := range []int64{headMost, headLong, info.Bytes} {
		head, readErr := io.ReadAll(io.NewSectionReader(file, 0, most))
		if readErr != nil {
			return Info{}, readErr
		}
		var l look
		if l, err = glance(head); err == nil {
			info.Type, info.Width, info.Height = l.kind.media, l.width, l.height
			return info, nil
		}
	}
	return Info{}, fmt.Errorf("%w: %s", ErrDamaged, err)
}

// Nowhere is used where a ledger has no folder for photos. Every method says so.
type Nowhere struct{}

func (Nowhere) refusal() error {
	return &events.Error{Code: events.Unavailable, Field: "photos",
		Rule: "this process has no folder for photos: give --photos, the folder that all processes of the ledger share"}
}

// Put refuses.
func (n Nowhere) Put(context.Context, string, string, io.Reader) (Info, bool, error) {
	return Info{}, false, n.refusal()
}

// Open refuses.
func (n Nowhere) Open(context.Context, string, string) (io.ReadSeekCloser, Info, error) {
	return nil, Info{}, n.refusal()
}

// Stat refuses.
func (n Nowhere) Stat(context.Context, string, string) (Info, error) { return Info{}, n.refusal() }

// slot lets one at a time decode: a picture in memory is many times its file.
type slot chan struct{}

func newSlot() slot { return make(slot, 1) }

func (s slot) take(ctx context.Context) error {
	select {
	case s <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("wait for room to decode a photo: %w", ctx.Err())
	}
}

func (s slot) leave() { <-s }

// Sweep removes what a process that was killed left half written. What another
// process is writing stays. It is called at start by a process that takes photos.
func (f *Folder) Sweep(logger *slog.Logger) error {
	left, err := os.ReadDir(filepath.Join(f.root, incoming))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look for half written photos: %w", err)
	}
	removed := 0
	for _, entry := range left {
		gone, err := removeAbandoned(filepath.Join(f.root, incoming, entry.Name()))
		if err != nil {
			return fmt.Errorf("remove a half written photo: %w", err)
		}
		if gone {
			removed++
		}
	}
	if removed > 0 {
		logger.Info("half written photos removed; whoever sent them sends them again", "files", removed)
	}
	return nil
}
