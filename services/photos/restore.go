package photos

import (
	"context"
	"encoding/hex"
	"errors"
	"io"

	"daysheet/events"
)

// Restore keeps a photo of the firm that was taken before, and so is not examined again.
// It refuses bytes that have not the digest. When it returns without an error, the photo
// is on disk.
func (f *Folder) Restore(ctx context.Context, firm, digest string, body io.Reader) (err error) {
	path, err := f.path(firm, digest)
	if err != nil {
		return err
	}
	d, err := f.newDraft(ctx)
	if err != nil {
		return writeError(err)
	}
	defer func() { err = errors.Join(err, d.discard()) }()
	if err := d.fill(body, f.limits.Bytes); err != nil {
		return err
	}
	if got := hex.EncodeToString(d.sum.Sum(nil)); got != digest {
		return events.Refuse("photo", digest, "the name is not the SHA-256 of the bytes, which is %s", got)
	}
	_, err = f.settle(firm, digest, path, d)
	return writeError(err)
}
