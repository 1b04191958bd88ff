package backup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
)

// version is that of the format of archives. Since version 2 they hold changes of access
// that wait to be recorded.
const version = 2

// Kind is what an archive holds.
type Kind string

// The kinds.
const (
	Ledger Kind = "ledger" // everything but the keys of customers
	Keys   Kind = "keys"   // the keys of customers
	index  Kind = "index"  // what the next archive must know of a ledger's: no part of a backup
)

// Parent is the archive that another goes on from.
type Parent struct {
	Name string    `json:"name"` // its name by content
	Made time.Time `json:"made"`
}

// End is where a partition of the log ends. The zero value is that of an empty one.
type End struct {
	Sequence uint64 `json:"sequence"`
	Hash     string `json:"hash"` // of the commit there
}

// Opening is the first part of an archive.
type Opening struct {
	Backup  int                      `json:"backup"` // version of the format
	Kind    Kind                     `json:"kind"`
	Data    int                      `json:"data_format"` // of the data folder
	Program string                   `json:"program"`     // version of the program that wrote it
	Made    time.Time                `json:"made"`
	Parent  *Parent                  `json:"parent,omitempty"` // none: the archive is whole
	From    [eventlog.Partitions]End `json:"from"`             // where the parent ends
}

// Part is one file in an archive.
type Part struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// Manifest is the last part of an archive.
type Manifest struct {
	Opening
	Ends    [eventlog.Partitions]End `json:"ends"`
	Commits uint64                   `json:"commits"` // in this archive
	Photos  int                      `json:"photos"`  // in this archive
	Keys    int                      `json:"keys"`    // in this archive
	Jobs    int                      `json:"jobs"`    // whose chains the ledger has
	Lacking []string                 `json:"lacking"` // photos that could not be read or were damaged, as <firm>/<sha256>
	Parts   []Part                   `json:"parts"`
}

// Names of parts.
const (
	nameOpening  = "backup.json"
	logPrefix    = "log/"
	photosPrefix = "photos/"
	accessPrefix = "access/"
	signPrefix   = "signing/"
	keysPrefix   = "keys/"
	nameErased   = "erased.json"
	nameHeads    = "heads.jsonl"
	namePhotos   = "photos.txt"
	nameManifest = "manifest.json"
)

// The files of access, in their order.
const (
	tokensName  = "tokens.json"
	peopleName  = "people.json"
	linksName   = "links.json"
	changesName = "access-changes.json"
)

// Bounds of what is read, so that an archive cannot take all memory or disk.
const (
	segmentBytes = 4 << 20   // of commits, after which another part begins
	segmentMost  = 8 << 20   // with the commit that went over
	smallMost    = 64 << 20  // access, keys, the opening, erasures
	listMost     = 512 << 20 // heads, photos and manifest
	photoMost    = 1 << 30
)

// most returns how many bytes a part of the name may have; 0 where no part has it.
func most(name string) int64 {
	folder, rest, nested := strings.Cut(name, "/")
	switch {
	case name == nameOpening, name == nameErased:
		return smallMost
	case name == nameHeads, name == namePhotos, name == nameManifest:
		return listMost
	case !nested:
		return 0
	case folder == "log" && validSegment(rest):
		return segmentMost
	case folder == "photos" && validPhoto(rest):
		return photoMost
	case folder == "access" && slices.Contains([]string{tokensName, peopleName, linksName, changesName}, rest):
		return smallMost
	case folder == "signing" && validSigning(rest):
		return smallMost
	case folder == "keys" && validKey(rest):
		return smallMost
	}
	return 0
}

func segmentName(partition uint8, sequence uint64) string {
	return fmt.Sprintf("%s%02d/%020d", logPrefix, partition, sequence)
}

// readSegment takes the name of a part of the log apart.
func readSegment(name string) (partition uint8, sequence uint64, ok bool) {
	first, second, _ := strings.Cut(strings.TrimPrefix(name, logPrefix), "/")
	p, err := strconv.ParseUint(first, 10, 8)
	if err != nil || p >= eventlog.Partitions {
		return 0, 0, false
	}
	sequence, err = strconv.ParseUint(second, 10, 64)
	return uint8(p), sequence, err == nil && segmentName(uint8(p), sequence) == name
}

func validSegment(rest string) bool {
	_, _, ok := readSegment(logPrefix + rest)
	return ok
}

func validPhoto(rest string) bool {
	firm, digest, _ := strings.Cut(rest, "/")
	return events.ValidToken(firm) && validDigest(digest)
}

func validDigest(digest string) bool {
	return len(digest) == 64 && strings.Trim(digest, "0123456789abcdef") == ""
}

func validSigning(rest string) bool {
	firm, ok := strings.CutSuffix(rest, ".pem")
	return ok && events.ValidToken(firm)
}

func validKey(rest string) bool {
	firm, customer, _ := strings.Cut(rest, "/")
	return events.ValidToken(firm) && events.ValidToken(customer)
}
