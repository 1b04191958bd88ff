package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"daysheet/services/dataformat"
	"daysheet/services/sealing"
)

// archiveKeys writes the archive of the keys of customers, and returns how many it holds.
// Who is erased has none.
func archiveKeys(ctx context.Context, to io.Writer, p Places, o Options) (keys int, err error) {
	erased, err := erasedIn(p.Keys)
	if err != nil {
		return 0, fmt.Errorf("back up keys: %w", err)
	}
	m := Manifest{Opening: Opening{Backup: version, Kind: Keys, Data: dataformat.Current, Program: o.Program,
		Made: o.Now.UTC().Truncate(time.Millisecond)}, Lacking: []string{}}
	out, err := newPacker(to, m.Opening, o.Recipients)
	if err != nil {
		return 0, err
	}
	err = eachKey(p.Keys, func(firm, customer, path string) error {
		if slices.ContainsFunc(erased, isOf(firm, customer)) {
			return ctx.Err()
		}
		content, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil // erased just now
		}
		if err == nil {
			err = sealing.CheckKey(customer, content)
		}
		if err != nil {
			return err
		}
		m.Keys++
		return errors.Join(out.bytes(keysPrefix+firm+"/"+customer, content), ctx.Err())
	})
	if err != nil {
		return 0, fmt.Errorf("back up keys: %w", err)
	}
	if erased, err = erasedIn(p.Keys); err == nil { // with whom was erased meanwhile
		err = out.value(nameErased, erased)
	}
	if err == nil {
		_, err = out.close(&m)
	}
	if err != nil {
		return 0, fmt.Errorf("back up keys: %w", err)
	}
	return m.Keys, nil
}

func isOf(firm, customer string) func(sealing.Erasure) bool {
	return func(e sealing.Erasure) bool { return e.Firm == firm && e.Customer == customer }
}

// eachKey visits the files of keys in a folder in the order of their names.
func eachKey(folder string, visit func(firm, customer, path string) error) error {
	firms, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, firm := range firms {
		if !firm.IsDir() {
			continue
		}
		customers, err := os.ReadDir(filepath.Join(folder, firm.Name()))
		if err != nil {
			return err
		}
		for _, c := range customers {
			if !validKey(firm.Name() + "/" + c.Name()) {
				continue
			}
			if err := visit(firm.Name(), c.Name(), filepath.Join(folder, firm.Name(), c.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}
