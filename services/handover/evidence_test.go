package handover

import (
	"archive/tar"
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
)

// proof is a ledger with one small job, its evidence file and its report.
type proof struct {
	ledger   *ledger
	bench    *bench
	photos   album
	evidence []byte
	pdf      []byte
	key      ed25519.PublicKey
}

func newProof(t testing.TB) *proof {
	t.Helper()
	l := newLedger(t, "invented")
	l.record(events.FirmJob, events.FirmSettingsChanged, "2026-01-02", &events.Settings{Name: "Gable & Son (invented)",
		Currency: "EUR", TimeZone: "UTC", JobTypes: []events.JobType{{JobType: "flat", Name: "Flat"}},
		Grades: []events.Grade{{Grade: "painter"}}})
	l.record("job-1", events.JobOpened, "2026-03-01", &events.Opening{JobType: "flat", Title: "Flat, two rooms"})
	p := &proof{ledger: l, photos: album{}}
	seen := p.photos.draw(t, 1, 24, 16)
	l.record("job-1", events.ConditionRecorded, "2026-03-02", &events.Condition{Location: "Hall", Finding: "Sound",
		Photos: []string{seen, events.Hash([]byte("never sent"))}})
	l.record("job-1", events.PhotoAttached, "2026-03-03", &events.Photo{Photo: p.photos.draw(t, 2, 20, 20),
		Caption: "Later"})
	p.bench = newBench(t, l, p.photos)
	p.evidence = p.bench.mustGet(l.firm, "/v1/jobs/job-1/evidence")
	p.pdf = p.bench.mustGet(l.firm, "/jobs/job-1/snags.pdf")
	var err error
	p.key, err = p.bench.keys.Public(l.firm)
	must(t, err)
	t.Logf("evidence of %d bytes, PDF of %d", len(p.evidence), len(p.pdf))
	return p
}

func (p *proof) check(raw []byte) (Checked, error) {
	return Check(bytes.NewReader(raw), int64(len(raw)), func(string) (ed25519.PublicKey, error) { return p.key, nil })
}

// TestEvidenceIsProved: an evidence file holds everything, and says what is missing.
func TestEvidenceIsProved(t *testing.T) {
	p := newProof(t)
	got, err := p.check(p.evidence)
	must(t, err)
	last := p.ledger.jobs["job-1"][2]
	if !got.Evidence || got.Commits != 3 || got.Photos != 2 || got.Missing != 1 || got.Head != events.Hash(last.Raw) ||
		got.Position != last.Sequence || got.Job != "job-1" {
		t.Errorf("checked as %+v", got)
	}
	if !bytes.Equal(p.evidence, p.bench.mustGet(p.ledger.firm, "/v1/jobs/job-1/evidence")) {
		t.Error("the evidence of the same position differs")
	}
	var names []string
	r := tar.NewReader(bytes.NewReader(p.evidence))
	for {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		must(t, err)
		names = append(names, h.Name)
	}
	want := "README.txt evidence.json key.pem report.pdf commits/000001.json commits/000002.json commits/000003.json " +
		"photos/"
	if !strings.HasPrefix(strings.Join(names, " "), want) || len(names) != 11 {
		t.Errorf("the files are %v", names)
	}
	if got := p.bench.get("other", "/v1/jobs/job-1/evidence").Code; got != 404 {
		t.Errorf("another firm gets %d", got)
	}
}

// TestTampering is the matrix: each byte of each file, flipped, left out or doubled,
// and each exchange that whoever has the files could make.
func TestTampering(t *testing.T) {
	p := newProof(t)
	for name, raw := range map[string][]byte{"evidence": p.evidence, "PDF": p.pdf} {
		_, err := p.check(raw)
		must(t, err)
		// Within a PDF every byte is one of a signed message, so that some of them stand for
		// all, but for those of the stamp, and of the head and foot that readers begin at. The
		// zeros between files are compared with zeros.
		start, end := bytes.Index(raw, []byte("%PDF-")), bytes.LastIndex(raw, []byte("%%EOF"))
		stamp := bytes.Index(raw, []byte(stampMark))
		for i := range raw {
			filling := i > 0 && raw[i] == 0 && raw[i-1] == 0 // between the files of the archive
			within := filling || i > start+1000 && i < end-1000 && (i < stamp-100 || i > stamp+stampMost)
			if within && i%11 != 0 {
				continue
			}
			was := raw[i]
			raw[i] ^= byte(1 + i%255)
			_, err := p.check(raw)
			raw[i] = was
			if err == nil {
				t.Fatalf("%s: byte %d was changed and nobody saw it", name, i)
			}
		}
		for _, cut := range []int{0, 1, 512, len(raw) / 2, len(raw) - 1} {
			if _, err := p.check(raw[:cut]); err == nil {
				t.Errorf("%s: the first %d bytes alone are taken for the file", name, cut)
			}
		}
		for _, more := range []string{"\x00", "\n", strings.Repeat("\x00", 512), string(raw)} {
			if _, err := p.check(append(bytes.Clone(raw), more...)); err == nil {
				t.Errorf("%s: %d bytes more are not seen", name, len(more))
			}
		}
	}
}

// TestTamperingWithTheLedger changes what the papers were made of.
func TestTamperingWithTheLedger(t *testing.T) {
	for name, tamper := range map[string]func(*testing.T, *proof){
		"an event altered": func(_ *testing.T, p *proof) {
			s := &p.ledger.jobs["job-1"][1]
			s.Raw = bytes.Replace(s.Raw, []byte("Sound"), []byte("Bound"), 1)
		},
		"the last event altered": func(_ *testing.T, p *proof) {
			s := &p.ledger.jobs["job-1"][2]
			s.Raw = bytes.Replace(s.Raw, []byte("Later"), []byte("Lates"), 1)
		},
		"an event left out": func(_ *testing.T, p *proof) {
			p.ledger.jobs["job-1"] = append(p.ledger.jobs["job-1"][:1:1], p.ledger.jobs["job-1"][2])
		},
		"the end cut off": func(_ *testing.T, p *proof) { p.ledger.jobs["job-1"] = p.ledger.jobs["job-1"][:2] },
	} {
		t.Run(name, func(t *testing.T) {
			p := newProof(t)
			s, err := readSealed(p.pdf)
			must(t, err)
			d := &desk{Deps: Deps{Frame: newFrame(t), Commits: p.ledger.commits, Keys: p.bench.keys, Photos: p.photos}}
			english := englishWords(d.Frame)
			if v, _, err := d.compare(t.Context(), english, wanted{firm: s.Firm, job: s.Job, kind: s.Kind, asOf: s.Position},
				s.Head); err != nil || v.State != same {
				t.Fatalf("before: %+v, %v", v, err)
			}
			tamper(t, p)
			v, _, err := d.compare(t.Context(), english, wanted{firm: s.Firm, job: s.Job, kind: s.Kind, asOf: s.Position}, s.Head)
			if err == nil && v.State == same {
				t.Error("nobody saw it")
			}
		})
	}
}

// TestTamperingWithPhotos: a photo that is damaged where it is kept is not passed on.
func TestTamperingWithPhotos(t *testing.T) {
	p := newProof(t)
	for digest, raw := range p.photos {
		for i := range raw {
			bad := bytes.Clone(raw)
			bad[i] ^= 0x40
			p.photos[digest] = bad
			d := &desk{Deps: Deps{Photos: p.photos}}
			if why, err := d.flaw(t.Context(), "invented", digest); err != nil || !strings.Contains(why, "damaged") {
				t.Fatalf("byte %d of a photo was changed, and it is said %q (%v)", i, why, err)
			}
			if i%97 == 0 { // each makes an evidence file
				got, err := p.check(p.bench.mustGet(p.ledger.firm, "/v1/jobs/job-1/evidence"))
				must(t, err)
				if got.Photos != 1 || got.Missing != 2 {
					t.Fatalf("byte %d of a photo was changed, and the evidence has %d photos", i, got.Photos)
				}
			}
		}
		p.photos[digest] = raw
	}
}

// TestAnotherKeyProvesNothing: whoever signs everything anew with a key of his own is
// found out by the firm's key.
func TestAnotherKeyProvesNothing(t *testing.T) {
	p, forger := newProof(t), newProof(t)
	for _, raw := range [][]byte{forger.evidence, forger.pdf} {
		if _, err := forger.check(raw); err != nil {
			t.Fatal(err)
		}
		var tampered *ChangedError
		if _, err := p.check(raw); !errors.As(err, &tampered) {
			t.Errorf("signed with another key: %v", err)
		}
	}
	if _, err := p.check([]byte("%PDF-1.7 of somebody else")); !errors.Is(err, errUnknownFile) {
		t.Errorf("a PDF of somebody else: %v", err)
	}
	if _, err := p.check(bytes.Repeat([]byte{0}, 2048)); !errors.Is(err, errUnknownFile) {
		t.Errorf("an empty archive: %v", err)
	}
}

// TestReadmeIsTrue runs the commands of the README of an evidence file as they stand
// there: a file that nobody touched passes, and each kind of tampering is found by the
// block that is to find it.
func TestReadmeIsTrue(t *testing.T) {
	p := newProof(t)
	for name, c := range map[string]struct {
		tamper func(folder string)
		fails  int // number of the block that finds it; 0 for none
	}{
		"untouched": {func(string) {}, 0},
		"a photo":   {func(folder string) { flip(t, filepath.Join(folder, "photos", firstIn(t, folder, "photos"))) }, 1},
		"a commit":  {func(folder string) { flip(t, filepath.Join(folder, "commits", "000002.json")) }, 1},
		"the sums":  {func(folder string) { flip(t, filepath.Join(folder, "SHA256SUMS.sig")) }, 2},
		"a commit and its sum": {func(folder string) {
			flip(t, filepath.Join(folder, "commits", "000002.json"))
			sumAgain(t, folder)
		}, 2},
	} {
		t.Run(name, func(t *testing.T) {
			folder := unpack(t, p.evidence)
			blocks := commandsOf(t, filepath.Join(folder, "README.txt"), t.TempDir())
			c.tamper(folder)
			for i, block := range blocks {
				cmd := exec.Command("bash", "-e", "-o", "pipefail", "-c", block)
				cmd.Dir = folder
				out, err := cmd.CombinedOutput()
				failed := err != nil || strings.Contains(string(out), "broken")
				if c.fails == i+1 {
					if !failed {
						t.Errorf("block %d does not find it: %s", i+1, out)
					}
					return
				}
				if failed {
					t.Fatalf("block %d: %v: %s\n%s", i+1, err, out, block)
				}
				if i == 2 {
					key, err := p.bench.keys.Public(p.ledger.firm)
					must(t, err)
					if want, err := fingerprintOf(key); err != nil || !strings.HasPrefix(string(out), want) {
						t.Errorf("the hash of the key is %s, want %s", out, want)
					}
				}
			}
		})
	}
}

// unpack unpacks an archive as tar does.
func unpack(t *testing.T, raw []byte) string {
	t.Helper()
	folder := t.TempDir()
	cmd := exec.Command("tar", "xf", "-")
	cmd.Dir, cmd.Stdin = folder, bytes.NewReader(raw)
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Fatalf("tar: %v: %s", err, out)
	}
	return folder
}

// commandsOf returns the indented blocks of the README, with their own folder for
// what they write.
func commandsOf(t *testing.T, readme, folder string) (blocks []string) {
	t.Helper()
	raw, err := os.ReadFile(readme)
	must(t, err)
	for part := range strings.SplitSeq(string(raw), "\n\n") {
		if strings.HasPrefix(part, "    ") {
			blocks = append(blocks, strings.ReplaceAll(part, "/tmp/", folder+"/"))
		}
	}
	if len(blocks) != 5 {
		t.Fatalf("the README has %d blocks of commands", len(blocks))
	}
	return blocks
}

func firstIn(t *testing.T, folder, name string) string {
	t.Helper()
	files, err := os.ReadDir(filepath.Join(folder, name))
	must(t, err)
	return files[0].Name()
}

func flip(t *testing.T, path string) {
	t.Helper()
	raw, err := os.ReadFile(path)
	must(t, err)
	raw[len(raw)/2] ^= 1
	must(t, os.Chmod(path, 0o600))
	must(t, os.WriteFile(path, raw, 0o600))
}

func sumAgain(t *testing.T, folder string) {
	t.Helper()
	cmd := exec.Command("bash", "-c", "chmod u+w SHA256SUMS; sha256sum README.txt evidence.json key.pem report.pdf "+
		"commits/* photos/* > SHA256SUMS")
	cmd.Dir = folder
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
}

// TestSignaturesAreThoseOfRFC8032 holds what we sign with against section 7.1 of the
// RFC, tests 1 to 3.
func TestSignaturesAreThoseOfRFC8032(t *testing.T) {
	for i, v := range []struct{ secret, public, message, signature string }{
		{"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
			"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
			"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"},
		{"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
			"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
			"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"},
		{"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
			"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
			"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"},
	} {
		secret, public, message, signature := unhex(t, v.secret), unhex(t, v.public), unhex(t, v.message), unhex(t,
			v.signature)
		key := ed25519.NewKeyFromSeed(secret)
		if !bytes.Equal(key.Public().(ed25519.PublicKey), public) || !bytes.Equal(ed25519.Sign(key, message), signature) {
			t.Errorf("test %d of the RFC does not hold", i+1)
		}
		raw, err := publicPEM(public)
		must(t, err)
		if again, err := ParsePublicPEM(raw); err != nil || !again.Equal(ed25519.PublicKey(public)) {
			t.Errorf("test %d: the key is read as %x: %v", i+1, again, err)
		}
	}
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	raw, err := hex.DecodeString(s)
	must(t, err)
	return raw
}

// TestManifestIsCanonical: the manifest is in the form of RFC 8785, members sorted and
// nothing between them. (The vectors of the RFC are in package events.)
func TestManifestIsCanonical(t *testing.T) {
	p := newProof(t)
	r := tar.NewReader(bytes.NewReader(p.evidence))
	for {
		h, err := r.Next()
		must(t, err)
		if h.Name != nameManifest {
			continue
		}
		raw, err := io.ReadAll(r)
		must(t, err)
		again, err := events.Canonical(raw)
		must(t, err)
		if !bytes.Equal(raw, again) || !bytes.HasPrefix(raw, []byte(`{"commits":3,"evidence":1,"firm":"invented","head":"`)) {
			t.Errorf("the manifest is %s", raw)
		}
		return
	}
}

// TestKeysAreMadeOnce: by the first of many who ask, readable by nobody else, and kept.
func TestKeysAreMadeOnce(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "signing")
	made := make(chan string, 8)
	for range cap(made) {
		go func() {
			key, err := NewKeys(folder).Private("invented")
			made <- fmt.Sprint(key, err)
		}()
	}
	first := <-made
	for range cap(made) - 1 {
		if other := <-made; other != first {
			t.Error("two keys were made")
		}
	}
	files, err := os.ReadDir(folder)
	must(t, err)
	if len(files) != 1 {
		t.Errorf("%d files in the folder of keys", len(files))
	}
	for path, want := range map[string]os.FileMode{folder: 0o700, filepath.Join(folder, "invented.pem"): 0o600} {
		stat, err := os.Stat(path)
		must(t, err)
		if got := stat.Mode().Perm(); got != want {
			t.Errorf("%s has the mode %o", path, got)
		}
	}
	if _, err := NewKeys(folder).Private("../other"); err == nil {
		t.Error("a key outside of the folder is made")
	}
	must(t, os.WriteFile(filepath.Join(folder, "broken.pem"), []byte("no key"), 0o600))
	if _, err := NewKeys(folder).Private("broken"); err == nil {
		t.Error("what is no key is taken for one, or replaced")
	}
}
