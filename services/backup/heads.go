package backup

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"daysheet/events"
)

// head is where the chain of a job ends.
type head struct {
	Firm    string `json:"firm"`
	Job     string `json:"job"`
	Version uint64 `json:"version"`
	Hash    string `json:"hash"`
}

// heads holds the ends of the chains, by firm/job.
type heads map[string]head

// next proves that a commit is the next of its job. Where the chains before are not
// known, a job may begin anywhere.
func (h heads) next(s events.Stored, known bool) (*events.Commit, error) {
	c, err := events.DecodeCommit(s.Raw)
	if err != nil {
		return nil, fmt.Errorf("sequence %d: %w", s.Sequence, err)
	}
	name := c.Firm + "/" + c.Job
	before, met := h[name]
	if (met || known) && (c.Version != before.Version+1 || c.Previous != before.Hash) {
		return nil, fmt.Errorf("sequence %d: commit %d of job %s does not follow commit %d: the chain is broken",
			s.Sequence, c.Version, name, before.Version)
	}
	h[name] = head{c.Firm, c.Job, c.Version, events.Hash(s.Raw)}
	return c, nil
}

// encode writes them in the order of their names, one on a line.
func (h heads) encode() ([]byte, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	for _, name := range slices.Sorted(maps.Keys(h)) {
		if err := e.Encode(h[name]); err != nil {
			return nil, fmt.Errorf("write the ends of chains: %w", err)
		}
	}
	return out.Bytes(), nil
}

// lineMost bounds a line of a list.
const lineMost = 4096

func readHeads(e *entry) (heads, error) {
	h := heads{}
	return h, e.lines(lineMost, func(line []byte) error {
		var one head
		if err := json.Unmarshal(line, &one); err != nil {
			return damaged("%s: %w", e.name, err)
		}
		name := one.Firm + "/" + one.Job
		if _, twice := h[name]; twice || !events.ValidToken(one.Firm) || !events.ValidToken(one.Job) ||
			!validDigest(one.Hash) || one.Version == 0 {
			return damaged("%s: %s is no end of a chain, or comes twice", e.name, line)
		}
		h[name] = one
		return nil
	})
}

// photoSet holds names of photos, as <firm>/<sha256>.
type photoSet map[string]bool

// encode writes them in their order, one on a line.
func (p photoSet) encode() []byte {
	var out bytes.Buffer
	for _, name := range slices.Sorted(maps.Keys(p)) {
		out.WriteString(name + "\n")
	}
	return out.Bytes()
}

func readPhotoSet(e *entry) (photoSet, error) {
	p := photoSet{}
	return p, e.lines(lineMost, func(line []byte) error {
		if !validPhoto(string(line)) || p[string(line)] {
			return damaged("%s: %q is no name of a photo, or comes twice", e.name, line)
		}
		p[string(line)] = true
		return nil
	})
}
