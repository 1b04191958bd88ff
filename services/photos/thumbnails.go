package photos

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"golang.org/x/image/draw"

	"daysheet/events"
)

// widths returns the widths that thumbnails come in, in pixels.
func widths() []int { return []int{160, 320, 640} }

// quality is what thumbnails are written with, of 100.
const quality = 80

// Thumbnails makes small pictures of photos and keeps them in a folder that can be
// thrown away. All methods are safe for concurrent use.
type Thumbnails struct {
	store   Store
	root    string
	logger  *slog.Logger
	decoder slot
}

// NewThumbnails returns thumbnails of the photos in store. root need not exist.
func NewThumbnails(store Store, root string, logger *slog.Logger) *Thumbnails {
	return &Thumbnails{store: store, root: root, logger: logger, decoder: newSlot()}
}

// Make returns a photo of the firm as a JPEG of the width, one of widths, or of its
// own width where it is narrower. It fails where [Store].Open does.
func (t *Thumbnails) Make(ctx context.Context, firm, digest string, width int) ([]byte, error) {
	if !slices.Contains(widths(), width) {
		return nil, events.Refuse("width", width, "use one of 160, 320, 640")
	}
	// Asked first, so that the names that follow are sound.
	file, info, err := t.store.Open(ctx, firm, digest)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	path := filepath.Join(t.root, firm, digest[:2], digest+"-"+strconv.Itoa(width)+".jpg")
	if kept, err := os.ReadFile(path); err == nil {
		return kept, nil
	}
	if err := t.decoder.take(ctx); err != nil {
		return nil, err
	}
	defer t.decoder.leave()
	if kept, err := os.ReadFile(path); err == nil { // another request made it meanwhile
		return kept, nil
	}
	raw, err := io.ReadAll(io.LimitReader(file, info.Bytes))
	if err != nil {
		return nil, fmt.Errorf("read photo: %w", err)
	}
	made, err := shrink(raw, width)
	if err != nil {
		return nil, fmt.Errorf("make thumbnail of photo %s of firm %s: %w", digest, firm, err)
	}
	if err := keep(path, made); err != nil {
		t.logger.Warn("a thumbnail was not kept and will be made again", "error", err)
	}
	return made, nil
}

// keep writes a thumbnail beside its place and moves it there, so that none is read
// half written, also after a power cut.
func keep(path string, made []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	file, err := os.CreateTemp(filepath.Dir(path), "new-*")
	if err != nil {
		return err
	}
	_, err = file.Write(made)
	if err == nil {
		err = file.Sync()
	}
	err = errors.Join(err, file.Close())
	if err == nil {
		err = os.Rename(file.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(file.Name()))
	}
	return nil
}

// shrink decodes a photo and makes it as wide as it is to be shown.
func shrink(raw []byte, width int) ([]byte, error) {
	l, img, err := examine(raw)
	if err != nil {
		// The photo was taken when it was sent: it is the server's fault that it is not what it was.
		return nil, fmt.Errorf("%w: %s", ErrDamaged, err)
	}
	w, h := fit(l.width, l.height, width)
	if l.orientation >= 5 {
		w, h = h, w
	}
	small := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(small, small.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.CatmullRom.Scale(small, small.Bounds(), img, img.Bounds(), draw.Over, nil)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, turn(small, l.orientation), &jpeg.Options{Quality: quality}); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// ThumbnailSize returns how large a thumbnail of the width comes out.
func ThumbnailSize(info Info, width int) (wide, high int) { return fit(info.Width, info.Height, width) }

// fit returns the size of a picture of w by h that is made width wide, and no larger
// than it is. What would be more than four times as high as wide is made narrower.
func fit(w, h, width int) (wide, high int) {
	const highest = 4
	wide = min(width, w)
	high = h * wide / max(1, w)
	if high > highest*width {
		wide, high = wide*highest*width/high, highest*width
	}
	return max(1, wide), max(1, high)
}

// turn turns a picture as Exif says (CIPA DC-008, tag 0x0112).
func turn(from *image.RGBA, orientation int) *image.RGBA {
	if orientation == 1 {
		return from
	}
	w, h := from.Rect.Dx(), from.Rect.Dy()
	to := image.NewRGBA(image.Rect(0, 0, w, h))
	if orientation >= 5 {
		to = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range to.Rect.Dy() {
		for x := range to.Rect.Dx() {
			to.SetRGBA(x, y, from.RGBAAt(source(orientation, x, y, w, h)))
		}
	}
	return to
}

// source returns which point of a stored picture, w by h, is shown at x and y.
func source(orientation, x, y, w, h int) (int, int) {
	switch orientation {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return y, h - 1 - x
	case 7:
		return w - 1 - y, h - 1 - x
	case 8:
		return w - 1 - y, x
	}
	return x, y
}
