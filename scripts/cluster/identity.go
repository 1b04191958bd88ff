package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nkeys"
)

// identity is the house's own authority, and the certificates and keys of those
// that it knows. The authority's key is kept in memory alone, so that nobody can
// issue more later.
type identity struct {
	folder    string
	authority *x509.Certificate
	key       *ecdsa.PrivateKey
	hosts     []string // names that the nodes are reached under
	until     time.Time
	users     map[string]string // role of a user -> public half of its nkey
}

// users are those of deploy/nats/users.conf, by the variable that names them.
func users() map[string]string {
	return map[string]string{"writer": "LEDGER_WRITER", "reader": "LEDGER_READER", "whole": "LEDGER_WHOLE",
		"operator": "LEDGER_OPERATOR"}
}

// newIdentity writes certificates and keys into a folder. They are good until the
// moment given.
func newIdentity(folder string, hosts []string, until time.Time) (*identity, error) {
	i := &identity{folder: folder, hosts: hosts, until: until, users: map[string]string{}}
	var err error
	if i.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		return nil, err
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "the house's own authority"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: i.until, IsCA: true,
		KeyUsage: x509.KeyUsageCertSign, BasicConstraintsValid: true,
	}
	raw, err := x509.CreateCertificate(rand.Reader, template, template, &i.key.PublicKey, i.key)
	if err != nil {
		return nil, err
	}
	if i.authority, err = x509.ParseCertificate(raw); err != nil {
		return nil, err
	}
	if err := writePEM(i.file("ca.pem"), "CERTIFICATE", raw); err != nil {
		return nil, err
	}
	both := []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}
	err = errors.Join(i.issue("node", 2, both), i.issue("client", 3, both[1:]))
	for user := range users() {
		err = errors.Join(err, i.addUser(user))
	}
	return i, err
}

func (i *identity) file(name string) string { return filepath.Join(i.folder, name) }

// issue makes a certificate with its key.
func (i *identity) issue(name string, serial int64, usage []x509.ExtKeyUsage) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: name}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: i.until, KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: usage,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: append([]string{"localhost"}, i.hosts...),
	}
	raw, err := x509.CreateCertificate(rand.Reader, template, i.authority, &key.PublicKey, i.key)
	if err != nil {
		return err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	return errors.Join(writePEM(i.file(name+".pem"), "CERTIFICATE", raw), writePEM(i.file(name+".key"), "PRIVATE KEY",
		private))
}

// addUser makes an nkey: its seed in a file, its public half for the servers.
func (i *identity) addUser(user string) error {
	pair, err := nkeys.CreateUser()
	if err != nil {
		return fmt.Errorf("make nkey of %s: %w", user, err)
	}
	seed, err := pair.Seed()
	if err != nil {
		return fmt.Errorf("make nkey of %s: %w", user, err)
	}
	if i.users[user], err = pair.PublicKey(); err != nil {
		return fmt.Errorf("make nkey of %s: %w", user, err)
	}
	return os.WriteFile(i.file(user+".nk"), seed, 0o600)
}

// flags are how a daysheet shows who it is.
func (i *identity) flags(user string) []string {
	return []string{"--nats-ca", i.file("ca.pem"), "--nats-cert", i.file("client.pem"), "--nats-key", i.file("client.key"),
		"--nats-nkey", i.file(user + ".nk"), "--nats-inbox", "_INBOX_" + user}
}

func writePEM(file, kind string, raw []byte) error {
	return os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: raw}), 0o600)
}
