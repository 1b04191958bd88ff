package httpd

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"

	"daysheet/events"
)

// How passwords are hashed: Argon2id (RFC 9106) with 19 MiB and two passes, as the OWASP
// Password Storage Cheat Sheet has it at least. Each hash says how it was made, so that
// another cost can be used for new ones.
const (
	argonMemoryKiB = 19 << 10
	argonPasses    = 2
	argonThreads   = 1
	argonSalt      = 16
	argonBytes     = 32
)

// Bounds of a password in characters. NIST SP 800-63B asks for a length and for nothing
// else: no signs that must be in it, and no change after a time.
const (
	passwordMin = 12
	passwordMax = 256
)

// checkPassword refuses what anybody would try first.
func checkPassword(name, password string) error {
	n := utf8.RuneCountInString(password)
	switch {
	case !utf8.ValidString(password) || n < passwordMin || n > passwordMax:
		return events.Refuse("password", nil, "%d to %d characters; several words are easy to keep in mind", passwordMin,
			passwordMax)
	case strings.Contains(strings.ToLower(password), strings.ToLower(name)):
		return events.Refuse("password", nil, "it must not contain the name")
	case strings.Count(password, password[:1]) == len(password):
		return events.Refuse("password", nil, "not one character over and over")
	}
	return nil
}

// hashPassword returns the hash of a password with a new salt, in the PHC string format.
func hashPassword(password string) string {
	salt := make([]byte, argonSalt)
	_, _ = rand.Read(salt) // cannot fail: the program is stopped where there is no randomness
	sum := argon2.IDKey([]byte(password), salt, argonPasses, argonMemoryKiB, argonThreads, argonBytes)
	encode := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemoryKiB, argonPasses, argonThreads,
		encode(salt), encode(sum))
}

// matchesPassword reports whether the hash is that of the password. A hash that cannot be
// read, or that would cost more than a server can bear, matches none.
func matchesPassword(hash, password string) bool {
	var version, memory, passes, threads int
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[1] != "argon2id" {
		return false
	}
	_, err := fmt.Sscanf(parts[2]+" "+parts[3], "v=%d m=%d,t=%d,p=%d", &version, &memory, &passes, &threads)
	salt, wrongSalt := base64.RawStdEncoding.DecodeString(parts[4])
	sum, wrongSum := base64.RawStdEncoding.DecodeString(parts[5])
	const memoryMost, passesMost, threadsMost = 256 << 10, 10, 16
	if err != nil || wrongSalt != nil || wrongSum != nil || version != argon2.Version || len(sum) < 16 || len(sum) > 64 ||
		memory < 8 || memory > memoryMost || passes < 1 || passes > passesMost || threads < 1 || threads > threadsMost {
		return false
	}
	given := argon2.IDKey([]byte(password), salt, uint32(passes), uint32(memory), uint8(threads), uint32(len(sum)))
	return subtle.ConstantTimeCompare(given, sum) == 1
}
