package eventlog

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// authority signs certificates for one test.
type authority struct {
	dir         string
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{dir: t.TempDir()}
	a.certificate, a.key = a.issue(t, "ca", &x509.Certificate{IsCA: true, KeyUsage: x509.KeyUsageCertSign})
	return a
}

// issue makes a certificate and writes <name>.pem and <name>.key.
func (a *authority) issue(t *testing.T, name string, c *x509.Certificate) (*x509.Certificate, *ecdsa.PrivateKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c.SerialNumber, c.BasicConstraintsValid = big.NewInt(time.Now().UnixNano()), true
	c.NotBefore, c.NotAfter = time.Now().Add(-time.Hour), time.Now().Add(time.Hour)
	c.IPAddresses = []net.IP{net.IPv4(127, 0, 0, 1)}
	signer, signerKey := a.certificate, a.key
	if signer == nil {
		signer, signerKey = c, key
	}
	der, err := x509.CreateCertificate(rand.Reader, c, signer, &key.PublicKey, signerKey)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	a.write(t, name+".pem", pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
	a.write(t, name+".key", pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: keyDER}))
	made, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return made, key
}

func (a *authority) path(name string) string { return filepath.Join(a.dir, name) }

func (a *authority) write(t *testing.T, name string, content []byte) {
	t.Helper()
	if err := os.WriteFile(a.path(name), content, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestIdentity signs in to a server that asks for a certificate and an nkey.
func TestIdentity(t *testing.T) {
	a := newAuthority(t)
	a.issue(t, "server", &x509.Certificate{ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}})
	a.issue(t, "client", &x509.Certificate{ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}})
	user, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	public, err := user.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := user.Seed()
	if err != nil {
		t.Fatal(err)
	}
	a.write(t, "user.nk", seed)
	pair, err := tls.LoadX509KeyPair(a.path("server.pem"), a.path("server.key"))
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(a.certificate)
	e := startExternal(t)
	e.stop()
	e.options.TLSConfig = &tls.Config{
		Certificates: []tls.Certificate{pair}, ClientCAs: pool, ClientAuth: tls.RequireAndVerifyClientCert,
	}
	e.options.TLSTimeout = 30
	e.options.Nkeys = []*server.NkeyUser{{Nkey: public}}
	e.start(t)

	cfg := Config{URL: e.url(), CAFile: a.path("ca.pem"), CertFile: a.path("client.pem"), KeyFile: a.path("client.key"),
		NKeyFile: a.path("user.nk")}
	l := open(t, cfg)
	record(t, l, testFirm, testJob, opening(testJob))

	unsigned := cfg
	unsigned.NKeyFile = ""
	_, err = Open(t.Context(), unsigned)
	wantText(t, err, "Authorization")
	untrusting := cfg
	untrusting.CAFile = ""
	_, err = Open(t.Context(), untrusting)
	wantText(t, err, "certificate")
	missing := cfg
	missing.NKeyFile = a.path("nobody.nk")
	_, err = Open(t.Context(), missing)
	wantText(t, err, "read nkey file", "nobody.nk")
}
