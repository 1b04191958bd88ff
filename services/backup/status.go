package backup

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"daysheet/services/listfile"
)

// Status is how backups of a ledger went, by whatever process they were made. The zero
// value is that none was made yet.
type Status struct {
	Last   time.Time `json:"last"` // when the last good one was made; zero: never
	File   string    `json:"file"` // of that one, without its folder
	Bytes  int64     `json:"bytes"`
	Failed time.Time `json:"failed"` // when one failed since; zero: none did
	Reason string    `json:"reason"` // why
}

// ReadStatus reads how backups went. state is the folder of [Scheme.State].
func ReadStatus(state string) (s Status, err error) {
	raw, err := os.ReadFile(filepath.Join(state, statusFile))
	if errors.Is(err, fs.ErrNotExist) {
		return Status{}, nil
	}
	if err == nil {
		err = json.Unmarshal(raw, &s)
	}
	if err != nil {
		return Status{}, fmt.Errorf("read how backups went: %w", err)
	}
	return s, nil
}

// note writes down how a backup went.
func (s Scheme) note(w Written, failed error) error {
	now, err := ReadStatus(s.State)
	if err != nil {
		now = Status{} // damaged: begin anew
	}
	if failed != nil {
		now.Failed, now.Reason = s.Now.UTC(), firstLine(failed)
	} else {
		now = Status{Last: s.Now.UTC(), File: filepath.Base(w.File), Bytes: w.Bytes}
	}
	raw, err := json.Marshal(now)
	if err == nil {
		err = listfile.Replace(filepath.Join(s.State, statusFile), append(raw, '\n'))
	}
	if err != nil {
		return fmt.Errorf("note how the backup went: %w", err)
	}
	return nil
}
