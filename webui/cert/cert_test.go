package cert

import (
	"crypto/tls"
	"crypto/x509"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"weald/ingest/tcp/wire/pair"
	"weald/ingest/tcp/wire/wiretest"
)

var asked = []string{"weald.larch.example", "10.0.0.5", "fd00::5"}

// root is what a client trusts that has been given the CA's file.
func root(t *testing.T, dir string) *x509.CertPool {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, CAFile))
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(b) {
		t.Fatal("the CA's file holds no certificate")
	}
	return pool
}

func made(t *testing.T, now time.Time) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "tls")
	if new, err := Renew(dir, asked, now, Life, false); err != nil || !new {
		t.Fatal(new, err)
	}
	return dir
}

func leaf(t *testing.T, dir string) *x509.Certificate {
	t.Helper()
	c, err := pair.Read(filepath.Join(dir, File), filepath.Join(dir, KeyFile))
	if err != nil {
		t.Fatal(err)
	}
	return c.Leaf
}

// What is made is good for clients that trust the CA, under every name and for no
// other; the verifier is that of the standard library.
func TestMadeIsTrusted(t *testing.T) {
	now := time.Now()
	dir := made(t, now)
	c, pool := leaf(t, dir), root(t, dir)
	for _, name := range append([]string{"localhost", "127.0.0.1", "::1"}, asked...) {
		if _, err := c.Verify(x509.VerifyOptions{Roots: pool, DNSName: name, CurrentTime: now}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, name := range []string{"elsewhere.example", "10.0.0.6"} {
		if _, err := c.Verify(x509.VerifyOptions{Roots: pool, DNSName: name, CurrentTime: now}); err == nil {
			t.Errorf("it is good for %s", name)
		}
	}
	if life := c.NotAfter.Sub(c.NotBefore); life > LongestLife {
		t.Errorf("it lasts for %v", life)
	}
	for file, want := range map[string]os.FileMode{CAKey: 0o600, KeyFile: 0o600, CAFile: 0o644, File: 0o644} {
		if info, err := os.Stat(filepath.Join(dir, file)); err != nil || info.Mode().Perm() != want {
			t.Errorf("%s: %v %v, want mode %o", file, info.Mode(), err, want)
		}
	}
	if info, _ := os.Stat(dir); info.Mode().Perm() != 0o700 {
		t.Errorf("the folder has mode %v", info.Mode())
	}
}

// Who has stolen the CA's key can pretend to be the daemon, and nobody else.
func TestCAVouchesForItsNamesOnly(t *testing.T) {
	now := time.Now()
	dir := made(t, now)
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"bank.example", "larch.example", "192.0.2.1", "fd00::6"} {
		if err := a.Issue([]string{name}, now, Life); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("it signs for %s: %v", name, err)
		}
		a.forged(t, name, now)
		if _, err := leaf(t, dir).Verify(x509.VerifyOptions{Roots: root(t, dir), DNSName: name, CurrentTime: now}); err == nil {
			t.Errorf("a client takes what the stolen key signs for %s", name)
		}
	}
	if err := a.Issue([]string{"screen.weald.larch.example"}, now, Life); err != nil {
		t.Errorf("below its name: %v", err)
	}
}

// What is made for another machine is good for a server and for a client, each verified by
// the standard library, and its folder has no key of the CA.
func TestMadeForAnotherMachine(t *testing.T) {
	now := time.Now()
	dir := made(t, now)
	a, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "log-1")
	if err := a.IssuePeer(other, []string{"log-1.weald.larch.example"}, now, Life); err != nil {
		t.Fatal(err)
	}
	for _, use := range []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth} {
		if _, err := leaf(t, other).Verify(x509.VerifyOptions{Roots: root(t, other), DNSName: "log-1.weald.larch.example", CurrentTime: now, KeyUsages: []x509.ExtKeyUsage{use}}); err != nil {
			t.Errorf("use %d: %v", use, err)
		}
	}
	if _, err := leaf(t, dir).Verify(x509.VerifyOptions{Roots: root(t, dir), CurrentTime: now, KeyUsages: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}}); err == nil {
		t.Error("the certificate of the pages is good for a client")
	}
	files, err := filepath.Glob(filepath.Join(other, "*"))
	if err != nil || len(files) != 3 {
		t.Errorf("%v: %q", err, files)
	}
}

// forged signs whatever is asked, as a thief would.
func (a *Authority) forged(t *testing.T, name string, now time.Time) {
	t.Helper()
	wide := *a.cert
	wide.PermittedDNSDomains, wide.PermittedIPRanges = []string{name}, nil
	if ip := net.ParseIP(name); ip != nil {
		wide.PermittedDNSDomains, wide.PermittedIPRanges = nil, single([]net.IP{ip})
	}
	wide.PermittedDNSDomains = append(wide.PermittedDNSDomains, "localhost")
	wide.PermittedIPRanges = append(wide.PermittedIPRanges, single([]net.IP{net.ParseIP("127.0.0.1"), net.ParseIP("::1")})...)
	thief := &Authority{dir: a.dir, cert: &wide, key: a.key}
	if err := thief.Issue([]string{name}, now, Life); err != nil {
		t.Fatal(err)
	}
}

// The CA's key that others may use is not used.
func TestKeyOfTheCAIsClosed(t *testing.T) {
	dir := made(t, time.Now())
	if err := os.Chmod(filepath.Join(dir, CAKey), 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := Renew(dir, asked, time.Now(), Life, true); err == nil || !strings.Contains(err.Error(), "mode 0640") {
		t.Errorf("it signs: %v", err)
	}
}

// The versions that a server takes, with clients of the standard library.
func TestVersions(t *testing.T) {
	dir := made(t, time.Now())
	l := serve(t, keeper(t, Options{Dir: dir, Names: asked, Now: time.Now}))
	for _, c := range []struct{ most, want uint16 }{{tls.VersionTLS11, 0}, {tls.VersionTLS12, tls.VersionTLS12}, {tls.VersionTLS13, tls.VersionTLS13}} {
		conn, err := tls.Dial("tcp", l, &tls.Config{RootCAs: root(t, dir), MinVersion: tls.VersionTLS10, MaxVersion: c.most})
		switch {
		case err != nil && c.want != 0:
			t.Errorf("up to %s: %v", tls.VersionName(c.most), err)
		case err == nil:
			if got := conn.ConnectionState().Version; got != c.want {
				t.Errorf("up to %s: %s", tls.VersionName(c.most), tls.VersionName(got))
			}
			conn.Close()
		}
	}
	weak := &tls.Config{RootCAs: root(t, dir), MaxVersion: tls.VersionTLS12, CipherSuites: []uint16{tls.TLS_ECDHE_ECDSA_WITH_AES_128_CBC_SHA}}
	if conn, err := tls.Dial("tcp", l, weak); err == nil {
		conn.Close()
		t.Error("it takes a cipher without authenticated encryption")
	}
}

// serve answers every connection with its own bytes.
func serve(t *testing.T, k *Keeper) string {
	t.Helper()
	raw := wiretest.Listen(t)
	l := tls.NewListener(raw, k.Config())
	srv := &http.Server{ErrorLog: log.New(io.Discard, "", 0), Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { io.Copy(w, r.Body) })}
	done := make(chan struct{})
	go func() { defer close(done); srv.Serve(l) }()
	t.Cleanup(func() { srv.Close(); <-done })
	return raw.Addr().String()
}
