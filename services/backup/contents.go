package backup

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"daysheet/events"
	"daysheet/services/sealing"
)

// addPhotos adds the photos that the earlier archive does not know.
func (m *making) addPhotos(ctx context.Context) error {
	if m.source.Photos == nil {
		return nil
	}
	return m.source.Photos(ctx, func(path string) error {
		at := strings.Split(filepath.ToSlash(path), "/")
		name := at[0] + "/" + at[len(at)-1]
		if len(at) != 3 || !validPhoto(name) || at[1] != at[2][:2] || m.photos[name] {
			return nil // what somebody else put there, or what is known
		}
		err := m.addPhoto(filepath.Join(m.source.PhotosFolder, path), name)
		var lacking *lackingError
		if errors.As(err, &lacking) {
			m.manifest.Lacking = append(m.manifest.Lacking, name)
			return nil
		}
		return err
	})
}

// lackingError says that a photo cannot be read, or is not what its name says.
type lackingError struct{ error }

func (m *making) addPhoto(path, name string) error {
	file, err := os.Open(path)
	if err != nil {
		return &lackingError{err}
	}
	defer file.Close()
	digest, size, err := digestOf(file)
	if err != nil {
		return &lackingError{err}
	}
	if !strings.HasSuffix(name, "/"+digest) || size > photoMost {
		return &lackingError{fmt.Errorf("photo %s is damaged", name)}
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("read photo %s: %w", name, err)
	}
	if err := m.part(photosPrefix+name, size, file); err != nil {
		return err
	}
	if got := m.parts[len(m.parts)-1].SHA256; got != digest {
		return fmt.Errorf("photo %s changed while it was read", name)
	}
	m.photos[name] = true
	m.manifest.Photos++
	return nil
}

// readAccess reads the files of access that are there.
func (p Places) readAccess() (map[string]string, error) {
	contents := map[string]string{}
	for _, f := range p.access() {
		content, err := os.ReadFile(f.path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("read who has access: %w", err)
		}
		contents[f.name] = string(content)
	}
	return contents, nil
}

// addAccess adds who has access, and the keys that firms sign with.
func (m *making) addAccess(context.Context) error {
	for _, f := range m.source.access() {
		if content, there := m.access[f.name]; there {
			if err := m.bytes(accessPrefix+f.name, []byte(content)); err != nil {
				return err
			}
		}
	}
	entries, err := os.ReadDir(m.source.Signing)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("list signing keys: %w", err)
	}
	for _, e := range entries {
		if validSigning(e.Name()) {
			if err := m.addFile(signPrefix+e.Name(), filepath.Join(m.source.Signing, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// addFile adds a small file, if it is there.
func (m *making) addFile(name, path string) error {
	content, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("read %s: %w", name, err)
	}
	return m.bytes(name, content)
}

// addLists adds erasures, the ends of chains and the names of photos.
func (m *making) addLists(context.Context) error {
	erased, err := erasedIn(m.source.Keys)
	if err == nil {
		err = m.value(nameErased, erased)
	}
	if err != nil {
		return err
	}
	return m.addKnown(m.heads, m.photos, &m.manifest)
}

// addKnown adds what the next archive has to know.
func (p *packer) addKnown(h heads, photos photoSet, m *Manifest) error {
	raw, err := h.encode()
	if err == nil {
		err = p.bytes(nameHeads, raw)
	}
	if err != nil {
		return err
	}
	m.Jobs = len(h)
	return p.bytes(namePhotos, photos.encode())
}

// digestOf hashes what is left of a file.
func digestOf(file io.Reader) (digest string, size int64, err error) {
	sum := sha256.New()
	size, err = io.Copy(sum, file)
	return hex.EncodeToString(sum.Sum(nil)), size, err
}

// erasedIn returns the erasures that a folder of keys knows of.
func erasedIn(folder string) ([]sealing.Erasure, error) {
	list, err := sealing.ErasedIn(folder)
	if list == nil {
		list = []sealing.Erasure{}
	}
	return list, err
}

func readErased(e *entry) (list []sealing.Erasure, err error) {
	raw, err := e.read()
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(raw, &list); err != nil {
		return nil, damaged("%s: %w", e.name, err)
	}
	for _, one := range list {
		if !events.ValidToken(one.Firm) || !events.ValidToken(one.Customer) || !one.Day.Valid() {
			return nil, damaged("%s: %+v is no erasure", e.name, one)
		}
	}
	return list, nil
}
