// Package wiretest makes what tests of links need: certificates, listeners, and addresses at
// which nobody listens.
package wiretest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A CA signs certificates that last for an hour.
type CA struct {
	// File holds the CA's own certificate in PEM.
	File string

	t    testing.TB
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// NewCA makes a CA whose files live as long as the test.
func NewCA(t testing.TB) *CA {
	t.Helper()
	ca := &CA{t: t, dir: t.TempDir(), key: newKey(t)}
	template := &x509.Certificate{
		SerialNumber: serial(t), Subject: pkix.Name{CommonName: "Larch test CA"},
		NotBefore: time.Now().Add(-time.Minute), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &ca.key.PublicKey, ca.key)
	if err != nil {
		t.Fatal(err)
	}
	if ca.cert, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	ca.File = ca.write("ca.pem", "CERTIFICATE", der)
	return ca
}

// Issue returns the files of a certificate for name, a host name or an address,
// good for servers and clients, that begins and ends at the given distances
// from now.
func (ca *CA) Issue(name string, begins, ends time.Duration) (certificate, key string) {
	ca.t.Helper()
	k := newKey(ca.t)
	template := &x509.Certificate{
		SerialNumber: serial(ca.t), Subject: pkix.Name{CommonName: name},
		NotBefore: time.Now().Add(begins), NotAfter: time.Now().Add(ends),
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	if ip := net.ParseIP(name); ip != nil {
		template.IPAddresses = []net.IP{ip}
	} else {
		template.DNSNames = []string{name}
	}
	der, err := x509.CreateCertificate(rand.Reader, template, ca.cert, &k.PublicKey, ca.key)
	if err != nil {
		ca.t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		ca.t.Fatal(err)
	}
	base := serial(ca.t).String()
	return ca.write(base+".pem", "CERTIFICATE", der), ca.write(base+".key", "PRIVATE KEY", private)
}

// Leaf is Issue for a certificate that is valid now.
func (ca *CA) Leaf(name string) (certificate, key string) {
	ca.t.Helper()
	return ca.Issue(name, -time.Minute, time.Hour)
}

// Renew puts another certificate for name, and its key, in the place of two files.
func (ca *CA) Renew(name, certificate, key string) {
	ca.t.Helper()
	newCertificate, newKey := ca.Leaf(name)
	for from, to := range map[string]string{newKey: key, newCertificate: certificate} {
		if err := os.Rename(from, to); err != nil {
			ca.t.Fatal(err)
		}
	}
}

func (ca *CA) write(name, kind string, der []byte) string {
	ca.t.Helper()
	path := filepath.Join(ca.dir, name)
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		ca.t.Fatal(err)
	}
	return path
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func serial(t testing.TB) *big.Int {
	t.Helper()
	n, err := rand.Int(rand.Reader, big.NewInt(1<<60))
	if err != nil {
		t.Fatal(err)
	}
	return n
}
