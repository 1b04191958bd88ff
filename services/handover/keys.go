package handover

import (
	"crypto/ed25519"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"daysheet/events"
	"daysheet/services/listfile"
)

// Keys is the folder of the keys that firms sign with: one file for each firm, an
// Ed25519 key in PKCS #8 (RFC 8410) as PEM, which only the user that runs the program
// can read. A key is made when a firm first signs. Several processes may share the
// folder. All methods are safe for concurrent use.
//
// A key that is lost cannot be made again: papers that it sealed are then checked
// with the public key that their holder kept. So the folder belongs into backups.
type Keys struct{ folder string }

// NewKeys returns the keys in a folder, which need not exist yet.
func NewKeys(folder string) *Keys { return &Keys{folder} }

const keyEnding = ".pem"

func (k *Keys) path(firm string) (string, error) {
	if !events.ValidToken(firm) {
		return "", events.Refuse("firm", firm, events.TokenRule)
	}
	return filepath.Join(k.folder, firm+keyEnding), nil
}

// Private returns the key of a firm, and makes one where there is none.
func (k *Keys) Private(firm string) (ed25519.PrivateKey, error) {
	path, err := k.path(firm)
	if err != nil {
		return nil, err
	}
	key, err := readKey(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	if err := k.makeKey(path); err != nil {
		return nil, fmt.Errorf("make the firm's signing key: %w", err)
	}
	return readKey(path)
}

// Public returns the public key of a firm. It is an [events.Error] with the code
// NotFound where the firm never signed.
func (k *Keys) Public(firm string) (ed25519.PublicKey, error) {
	path, err := k.path(firm)
	if err != nil {
		return nil, err
	}
	key, err := readKey(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &events.Error{Code: events.NotFound, Field: "firm", Value: firm, Rule: "no such firm has signed anything"}
	}
	if err != nil {
		return nil, err
	}
	return key.Public().(ed25519.PublicKey), nil
}

func readKey(path string) (ed25519.PrivateKey, error) {
	raw, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read signing key: %w", err)
	}
	block, _ := pem.Decode(raw)
	if block == nil {
		return nil, fmt.Errorf("read signing key %s: it is no PEM", path)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("read signing key %s: %w", path, err)
	}
	key, ok := parsed.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("read signing key %s: it is no Ed25519 key", path)
	}
	return key, nil
}

// makeKey makes a key so that it is there whole or not at all, also over a power cut,
// and so that the first of several processes wins.
func (k *Keys) makeKey(path string) error {
	if err := os.MkdirAll(k.folder, 0o700); err != nil {
		return err
	}
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return err
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	return listfile.PutNew(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
}

// publicPEM writes a public key as PEM (RFC 8410), as OpenSSL reads it.
func publicPEM(key ed25519.PublicKey) ([]byte, error) {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return nil, fmt.Errorf("write public key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}), nil
}

// ParsePublicPEM reads what publicPEM wrote, and nothing else.
func ParsePublicPEM(raw []byte) (ed25519.PublicKey, error) {
	block, rest := pem.Decode(raw)
	if block == nil || block.Type != "PUBLIC KEY" || len(rest) > 0 {
		return nil, errors.New("read public key: it is no PEM of a public key")
	}
	parsed, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("read public key: %w", err)
	}
	key, ok := parsed.(ed25519.PublicKey)
	if !ok {
		return nil, errors.New("read public key: it is no Ed25519 key")
	}
	return key, nil
}

// fingerprintOf returns the SHA-256 of a public key as it stands in its certificate
// form (SubjectPublicKeyInfo, DER), in hexadecimal.
func fingerprintOf(key ed25519.PublicKey) (string, error) {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return "", fmt.Errorf("write public key: %w", err)
	}
	sum := sha256.Sum256(der)
	return hex.EncodeToString(sum[:]), nil
}

// secretOf derives the secret of the check codes of a firm from its key.
func secretOf(key ed25519.PrivateKey) []byte {
	mac := hmac.New(sha256.New, key.Seed())
	mac.Write([]byte("daysheet check code 1"))
	return mac.Sum(nil)
}
