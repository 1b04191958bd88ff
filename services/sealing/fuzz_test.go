package sealing

import (
	"encoding/base64"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"daysheet/events"
)

// FuzzKey reads whatever stands in the file of a key, and opens whatever comes as a sealed
// value with a key that is sound: neither is taken for what it is not, and an error never
// repeats what may be a secret.
func FuzzKey(f *testing.F) {
	sound := string(encodeKey(make([]byte, keyBytes)))
	for _, seed := range []string{sound, keyHead, "", sound + sound, strings.TrimSuffix(sound, "\n"), keyHead + "AAAA", "\ufeff" + sound,
		base64.StdEncoding.EncodeToString(make([]byte, 60))} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		folder := t.TempDir()
		k, err := OpenKeys(folder)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.Mkdir(filepath.Join(folder, "north"), 0o700); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(folder, "north", "c-1")
		p := Place{Firm: "north", Customer: "c-1", Job: "firm", Event: "e-1", Part: "customer"}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		sealed, err := k.Seal(p, "invented")
		var lost *LostError
		if err != nil && (!errors.As(err, &lost) || len(text) > 8 && strings.Contains(err.Error(), text)) {
			t.Fatalf("sealed with %v", err)
		}
		var back string
		if err == nil && (k.Open(p, sealed, &back) != nil || back != "invented") {
			t.Fatalf("sealed with the key %q, and opened as %q", text, back)
		}
		if err := os.WriteFile(path, []byte(sound), 0o600); err != nil {
			t.Fatal(err)
		}
		made := events.Sealed{Algorithm: events.SealedAES256GCM, Key: nameOf(make([]byte, keyBytes)), Box: text}
		if err := k.Open(p, made, &back); !errors.As(err, new(*MovedError)) {
			t.Fatalf("a value that nobody sealed is opened with %v", err)
		}
	})
}
