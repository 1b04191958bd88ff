package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strings"
)

// bitsLog flips a bit of the log while nothing is served.
func bitsLog(ctx context.Context, t *trial) error {
	return t.rot(ctx, func() error {
		path, size, err := largest(filepath.Join(t.folder, "log"), ".blk")
		if err != nil {
			return err
		}
		if err := t.flip(path, size, 1); err != nil {
			return err
		}
		return t.mended(ctx)
	})
}

// mended requires that verify sees the damage of the log, that serving it is refused with
// what to do, and that a repair brings everything back.
func (t *trial) mended(ctx context.Context) error {
	if err := t.damaged(ctx); err != nil {
		return err
	}
	if err := t.refused(ctx, []string{"daysheet repair"}, "serve", "--listen", "127.0.0.1:0"); err != nil {
		return err
	}
	if text, err := t.command(ctx, "repair"); err != nil {
		return fmt.Errorf("repair: %w\n%s", err, text)
	}
	return t.sound(ctx)
}

// bitsServing flips a bit of the log under a server that has it open, goes on recording,
// and ends the server in good order or kills it.
func bitsServing(ctx context.Context, t *trial) error {
	for range t.harness.times {
		s, err := t.serve(ctx)
		if err != nil {
			return err
		}
		err = t.under(ctx, s.at(t), func(ctx context.Context) error {
			if err := t.load.More(ctx, 300+t.random.IntN(300)); err != nil {
				return err
			}
			path, size, err := largest(filepath.Join(t.folder, "log"), ".blk")
			if err != nil {
				return err
			}
			if err := t.flip(path, size, 1); err != nil {
				return err
			}
			return t.load.More(ctx, 100+t.random.IntN(200))
		})
		if err := errors.Join(err, s.end(), t.mended(ctx)); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// storeBits is how many bits of the store are flipped: a file of facts has free
// blocks, in which a bit means nothing.
const storeBits = 16

// bitsStore flips bits of the facts. The program must see it, and a rebuild makes
// them again from the log.
func bitsStore(ctx context.Context, t *trial) error {
	return t.rot(ctx, func() error {
		path, size, err := largest(t.folder, ".duckdb")
		if err != nil {
			return err
		}
		if err := t.flip(path, size, storeBits); err != nil {
			return err
		}
		if err := t.damaged(ctx); err != nil {
			return err
		}
		t.message = t.found
		if text, err := t.command(ctx, "rebuild"); err != nil {
			return fmt.Errorf("rebuild: %w\n%s", err, text)
		}
		return t.sound(ctx)
	})
}

// bitsPhoto flips a bit of a photo, which the ledger has only once. It must be named,
// and whoever took it can send it again.
func bitsPhoto(ctx context.Context, t *trial) error {
	return t.rot(ctx, func() error {
		photo, err := photoOf(t.random)
		if err != nil {
			return err
		}
		if err := t.send(ctx, photo); err != nil {
			return err
		}
		name := fmt.Sprintf("%x", sha256.Sum256(photo))
		path, size, err := largest(filepath.Join(t.folder, "photos"), name)
		if err != nil {
			return err
		}
		if err := t.flip(path, size, 1); err != nil {
			return err
		}
		if err := t.damaged(ctx); err != nil {
			return err
		}
		if t.message = t.found; !strings.Contains(t.message, name) {
			return fmt.Errorf("verify does not name the photo %s: %s", name, t.message)
		}
		if err := t.send(ctx, photo); err != nil {
			return fmt.Errorf("send the photo again: %w", err)
		}
		return t.sound(ctx)
	})
}

// use serves some hundred events under load and ends the program in good order.
func (t *trial) use(ctx context.Context) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	err = t.under(ctx, s.at(t), func(ctx context.Context) error { return t.load.More(ctx, 300+t.random.IntN(300)) })
	return errors.Join(err, s.end())
}

// rot serves under load, ends the program in good order, and does the damage.
func (t *trial) rot(ctx context.Context, damage func() error) error {
	for range t.harness.times {
		if err := t.use(ctx); err != nil {
			return err
		}
		if err := damage(); err != nil {
			return err
		}
		t.times++
	}
	return nil
}

// flip turns bits of a file over, at random places before its end, whoever writes to it.
func (t *trial) flip(path string, size int64, bits int) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	for range bits {
		at, one := t.random.Int64N(size), make([]byte, 1)
		if _, err = file.ReadAt(one, at); err != nil {
			break
		}
		one[0] ^= 1 << t.random.IntN(8)
		if _, err = file.WriteAt(one, at); err != nil {
			break
		}
	}
	return errors.Join(err, file.Close())
}

// photoOf makes an invented photo that is like no other.
func photoOf(random *rand.Rand) ([]byte, error) {
	img := image.NewGray(image.Rect(0, 0, 64, 64))
	for i := range img.Pix {
		img.Pix[i] = byte(random.UintN(256))
	}
	var raw bytes.Buffer
	if err := jpeg.Encode(&raw, img, nil); err != nil {
		return nil, fmt.Errorf("make a photo: %w", err)
	}
	return raw.Bytes(), nil
}

// send serves, puts the photo, and ends the program.
func (t *trial) send(ctx context.Context, photo []byte) error {
	s, err := t.serve(ctx)
	if err != nil {
		return err
	}
	return errors.Join(s.put(ctx, t.token, photo), s.end())
}

func (s *running) put(ctx context.Context, token string, photo []byte) error {
	at := fmt.Sprintf("%s/v1/photos/%x", s.base, sha256.Sum256(photo))
	r, err := http.NewRequestWithContext(ctx, http.MethodPut, at, bytes.NewReader(photo))
	if err != nil {
		return err
	}
	r.Header.Set("Authorization", "Bearer "+token)
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return fmt.Errorf("put photo: %w", err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if answer.StatusCode/100 != 2 {
		return errors.Join(fmt.Errorf("put photo: status %d: %s", answer.StatusCode, text), err)
	}
	return err
}
